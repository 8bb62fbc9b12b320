"""Whether an interaction comes from the platform: its Ed25519 signature (RFC 8032), its age, and that it is new."""

from __future__ import annotations

import hashlib
import heapq
import logging
import os
import re
import time
from collections.abc import Callable

import redis.asyncio as redis
from nacl.exceptions import BadSignatureError
from nacl.signing import VerifyKey
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError, RedisError

from advisor.errors import AdvisorError, QuestionError

__all__ = ["WINDOW", "Seen", "Signed", "public_key", "verify"]

WINDOW = 300
"""Seconds by which the time of an interaction may differ from ours, either way."""
MOST = 100_000
"""Signatures that are remembered, about 15 MB."""
REDIS_SECONDS = 0.5
"""Most seconds to wait for Redis: the platform waits three for the answer."""
_log = logging.getLogger("advisor.service")


def public_key(text: str) -> bytes:
    """The key from hexadecimal. Errors: ``QuestionError``."""
    if not re.fullmatch(r"[0-9a-fA-F]{64}", text):
        raise QuestionError(
            "value-invalid", f"`ADVISOR_DISCORD_PUBLIC_KEY` is `{text}`",
            help="the 64 hexadecimal digits that the application's page shows",
        )  # fmt: skip
    return bytes.fromhex(text)


def verify(key: bytes, message: bytes, signature: bytes) -> bool:
    """Whether the signature (64 bytes) of the message is by the owner of the key (32 bytes): RFC 8032, 5.1.7."""
    if len(key) != 32 or len(signature) != 64:
        return False
    try:
        VerifyKey(key).verify(message, signature)
    except BadSignatureError:
        return False
    return True


class Seen:
    """Signatures of late, so that none counts twice: in this process, and over all servers by Redis where it is set.

    Memory is bounded: when it is full the oldest are forgotten, and whatever is not newer than those is refused.
    While Redis cannot be reached only this process is watched over, which is logged.
    """

    def __init__(self, address: str | None = None, *, most: int = MOST) -> None:
        self._redis = None
        if address:
            # A second try, as a connection may have been lost long since.
            self._redis = redis.from_url(
                address, socket_timeout=REDIS_SECONDS, socket_connect_timeout=REDIS_SECONDS,
                retry=Retry(NoBackoff(), 1), retry_on_error=[ConnectionError],
            )  # fmt: skip
        self._most = most
        self._known: set[bytes] = set()
        self._order: list[tuple[int, bytes]] = []
        self._floor = 0

    async def first(self, signature: bytes, stamp: int, now: float) -> bool:
        """Whether this is the first time; ``stamp`` is the interaction's time, both in seconds since 1970."""
        if not self._first_here(signature, stamp, now):
            return False
        if self._redis is None:
            return True
        name = f"advisor:bot:seen:{hashlib.blake2b(signature, digest_size=16).hexdigest()}"
        try:
            # A time ahead of ours stays valid for two windows. The mark tells our own first try from another's.
            mark = os.urandom(16)
            if await self._redis.set(name, mark, nx=True, ex=2 * WINDOW + 1):
                return True
            return bool(await self._redis.get(name) == mark)
        except (RedisError, OSError) as error:
            _log.warning("redis does not answer, replayed interactions are refused by this server only: %s", error)
            return True

    def _first_here(self, signature: bytes, stamp: int, now: float) -> bool:
        while self._order and self._order[0][0] < now - WINDOW:
            self._known.discard(heapq.heappop(self._order)[1])
        if signature in self._known or stamp <= self._floor:
            return False
        self._known.add(signature)
        heapq.heappush(self._order, (stamp, signature))
        if len(self._order) > self._most:
            self._floor, oldest = heapq.heappop(self._order)
            self._known.discard(oldest)
        return True

    async def close(self) -> None:
        """Let go of the connections."""
        if self._redis is not None:
            await self._redis.aclose()


class Signed:
    """The check of every interaction; ``clock`` gives seconds since 1970."""

    def __init__(self, key: bytes, seen: Seen, *, clock: Callable[[], float] = time.time) -> None:
        self._key = key
        self._seen = seen
        self._clock = clock

    async def check(self, signature: str | None, stamp: str | None, body: bytes) -> None:
        """Errors: ``AdvisorError`` ``signature-invalid`` for one that is missing, misshapen, forged, old or used."""
        if signature is None or not re.fullmatch(r"[0-9a-fA-F]{128}", signature):
            raise _refused("`X-Signature-Ed25519` has to be 128 hexadecimal digits")
        if stamp is None or not re.fullmatch(r"[0-9]{1,12}", stamp):
            raise _refused("`X-Signature-Timestamp` has to be seconds since 1970")
        raw, now = bytes.fromhex(signature), self._clock()
        # Only what is signed may cost memory, so the signature comes before the rest.
        if not verify(self._key, stamp.encode("ascii") + body, raw):
            raise _refused("the signature is not by the application's key")
        if abs(now - int(stamp)) > WINDOW:
            raise _refused(f"the interaction is more than {WINDOW} seconds old")
        if not await self._seen.first(raw, int(stamp), now):
            raise _refused("the interaction was sent before")


def _refused(said: str) -> AdvisorError:
    return AdvisorError("signature-invalid", said, help="interactions are signed by the platform")
