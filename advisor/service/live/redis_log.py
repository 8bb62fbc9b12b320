"""The history of the channels in Redis, for several servers: one script counts, keeps and publishes an event.

Redis may come back from a snapshot that is older than what was sent, and would then give the same counts twice. So
the count belongs to one run of Redis: after a restart the epoch is new, and what was kept before is not looked at.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from litestar.channels.backends.base import ChannelsBackend
from litestar.channels.backends.redis import RedisChannelsPubSubBackend
from redis.asyncio import Redis
from redis.exceptions import RedisError

from advisor.service.live.events import Entry, Kind, Mark
from advisor.service.live.log import SLACK, Snapshot, channels_full, new_epoch
from advisor.service.settings import Settings
from advisor.service.stored import away, connect, script

__all__ = ["RedisLog"]

PREFIX = "advisor:live"
FULL = b"full"
_COUNT = script(__package__, "redis_count")
_APPEND, _READ, _SHOWN = (_COUNT + script(__package__, f"redis_{name}") for name in ("append", "read", "shown"))


class RedisLog:
    """Keeps the events of all servers in Redis. Errors of every call: ``AdvisorError`` ``channels-unavailable``."""

    def __init__(self, settings: Settings) -> None:
        assert settings.redis is not None
        self._settings = settings
        self._address = settings.redis
        self._redis: Redis = connect(settings.redis)
        # Publishing knows no databases; two services on one Redis are kept apart by theirs.
        database = self._redis.connection_pool.connection_kwargs.get("db", 0)
        self.topic = f"{PREFIX}:{database}"
        self._append, self._read, self._shown = map(self._redis.register_script, (_APPEND, _READ, _SHOWN))

    async def start(self) -> ChannelsBackend:
        """See ``Log``."""
        # The number is seconds here, whatever its name says.
        return RedisChannelsPubSubBackend(redis=self._redis, stream_sleep_no_subscriptions=1)

    async def stop(self) -> None:
        """See ``Log``."""
        await self._redis.aclose()

    async def append(self, channel: str, kind: Kind, payload: bytes, only: Mark | None = None) -> Entry | None:
        """See ``Log``."""
        settings = self._settings
        given = await self._run(
            self._append,
            [*_KEYS, f"{PREFIX}:log:{channel}", self.topic],
            [
                new_epoch(), channel, kind, payload, only.epoch if only else "", only.n if only else 0,
                settings.channel_history + 1, settings.channels, settings.channel_seconds + SLACK,
            ],
        )  # fmt: skip
        if given == FULL:
            raise channels_full(settings.channels)
        return Entry.unpacked(given) if given else None

    async def read(self, channel: str, after: Mark | None) -> Snapshot:
        """See ``Log``."""
        epoch, n, now, last, whole, missed = await self._run(
            self._read,
            [*_KEYS, f"{PREFIX}:log:{channel}"],
            [new_epoch(), after.epoch if after else "", after.n if after else 0],
        )
        return Snapshot(
            Mark(epoch.decode(), n), now, Entry.unpacked(last) if last else None,
            tuple(map(Entry.unpacked, missed)) if whole else None,
        )  # fmt: skip

    async def shown(self) -> list[tuple[str, int]]:
        """See ``Log``."""
        _, _, found = await self._run(self._shown, _KEYS, [new_epoch(), 1])
        return [(found[i].decode(), int(float(found[i + 1]))) for i in range(0, len(found), 2)]

    async def head(self) -> Mark:
        """See ``Log``."""
        epoch, n, _ = await self._run(self._shown, _KEYS, [new_epoch(), 0])
        return Mark(epoch.decode(), n)

    async def _run(self, script: Callable[..., Awaitable[Any]], keys: list[str], given: list[Any]) -> Any:
        try:
            return await script(keys=keys, args=given)
        except (RedisError, OSError) as error:
            raise away("channels-unavailable", "channels", self._address) from error


_KEYS = [f"{PREFIX}:count", f"{PREFIX}:shown", f"{PREFIX}:cleared"]
