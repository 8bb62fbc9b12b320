"""Replayed interactions over several servers, with a Redis server that also goes away."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from advisor.service.bot.signed import WINDOW, Seen
from tests.faults.redis_servers import redis_server

pytestmark = pytest.mark.full


def test_what_one_server_saw_no_other_takes_and_a_lost_redis_does_not_stop_the_bot(tmp_path: Path) -> None:
    with redis_server(tmp_path) as redis:

        async def run() -> None:
            one, other = Seen(redis.url), Seen(redis.url)
            apart = Seen()
            assert await one.first(b"a" * 64, 100, 100)
            assert not await other.first(b"a" * 64, 100, 100)
            assert await apart.first(b"a" * 64, 100, 100), "without Redis each process knows its own"
            assert await other.first(b"b" * 64, 100, 100)
            lives = [redis.client.ttl(key) for key in redis.client.scan_iter("advisor:bot:seen:*")]
            assert len(lives) == 2 and all(2 * WINDOW - 5 < life <= 2 * WINDOW + 1 for life in lives)
            redis.kill()
            assert await one.first(b"c" * 64, 100, 100)
            assert not await one.first(b"c" * 64, 100, 100)
            redis.start()
            assert await one.first(b"d" * 64, 100, 100)
            assert not await other.first(b"d" * 64, 100, 100)
            await asyncio.gather(one.close(), other.close())

        asyncio.run(run())
