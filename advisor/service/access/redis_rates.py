"""The same rates for several servers, counted in Redis by its own clock; in this process while it is away."""

from __future__ import annotations

import logging
import time

from redis.asyncio import Redis
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError, RedisError

from advisor.service.access.rates import WINDOW, Limit, Rates, Taken, taken
from advisor.service.stored import script

__all__ = ["RedisRates"]

PREFIX = "advisor:rate"
PATIENCE = 0.5
"""Seconds to wait for Redis."""
AGAIN = 5.0
"""Seconds until Redis is asked again when it did not answer."""
_log = logging.getLogger("advisor.service")
_TAKE = script(__package__, "rate")


class RedisRates:
    """Counts in the Redis server at ``address``; ``here`` counts while that does not answer."""

    def __init__(self, address: str, here: Rates) -> None:
        # A second try, as a connection may have been lost long since: at worst a request counts twice.
        self._redis: Redis = Redis.from_url(
            address, socket_timeout=PATIENCE, socket_connect_timeout=PATIENCE,
            retry=Retry(NoBackoff(), 1), retry_on_error=[ConnectionError],
        )  # fmt: skip
        self._take = self._redis.register_script(_TAKE)
        self._here = here
        self._away_until = float("-inf")
        self._told = False

    async def take(self, limit: Limit) -> Taken:
        """Count one request; one that is refused does not count."""
        if time.monotonic() < self._away_until:
            return self._here.take(limit)
        step = round(WINDOW * 1e6 / limit.quota)
        try:
            allowed, used = await self._take(
                keys=[f"{PREFIX}:{limit.who}"], args=[step, max(step, round(WINDOW * 1e6))]
            )
        except (RedisError, OSError) as error:
            self._away_until = time.monotonic() + AGAIN
            if not self._told:
                self._told = True
                _log.error("redis does not answer, each server counts rates for itself: %s", error)
            return self._here.take(limit)
        if self._told:
            self._told = False
            _log.info("redis answers again, rates are counted there")
        return taken(limit, bool(allowed), used / 1e6)

    async def close(self) -> None:
        """Let go of the connections."""
        await self._redis.aclose()
