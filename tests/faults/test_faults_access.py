"""Rates over several servers and a Redis that goes away; keys in PostgreSQL; the real server and its proxy."""

from __future__ import annotations

import asyncio
import logging
import os
import socket
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
import pytest

from advisor.service.access.keys import make_key
from advisor.service.access.rates import Limit, Rates
from advisor.service.access.redis_rates import RedisRates
from advisor.service.access.store import KeyStore, hour
from tests.faults.redis_servers import PLAIN, RedisServer, redis_server, service
from tests.notebook_faults.postgres import server as postgres

pytestmark = pytest.mark.full


@pytest.fixture
def store(tmp_path: Path) -> Iterator[RedisServer]:
    with redis_server(tmp_path) as server:
        yield server


def test_redis_counts_as_memory_does(store: RedisServer) -> None:
    """The same requests at the same times, by the clock of Redis: what is allowed differs by a request at most."""

    async def walk(quota: int, count: int, pause: float) -> list[Any]:
        limit, memory = Limit("key", f"a{quota}", quota), Rates()
        rates = RedisRates(store.url, Rates())
        out = []
        for _ in range(count):
            out.append((await rates.take(limit), memory.take(limit)))
            await asyncio.sleep(pause)
        await rates.close()
        return out

    for quota, count, pause in ((5, 20, 0.0), (1, 3, 0.0), (601, 700, 0.0), (7, 9, 0.0), (1_200, 40, 0.02)):
        found = asyncio.run(walk(quota, count, pause))
        # Two clocks: where a request falls on the moment at which one more is allowed, the other may be one ahead.
        assert sum(one.allowed != other.allowed for one, other in found) <= 2, quota
        assert all(abs(one.left - other.left) <= 1 and abs(one.wait - other.wait) <= 1 for one, other in found)
    assert sum(one.allowed for one, _ in asyncio.run(walk(3, 10, 0.0))) == 3
    names = store.client.keys("*")
    assert names and all(0 < store.client.pttl(name) <= 60_100 for name in names)


def test_several_servers_count_together_exactly(store: RedisServer) -> None:
    quota = 50
    given: Any = {"redis": store.url, "access": "open", "proxies": "127.0.0.1", "rate_address": quota}
    with service(**given) as one, service(**given) as other, ThreadPoolExecutor(8) as threads:

        def ask(i: int) -> int:
            url = (one, other)[i % 2].url
            headers = {"x-forwarded-for": "203.0.113.9"}
            return httpx.get(f"{url}/v1/packs", headers=headers, timeout=20).status_code

        began = time.monotonic()
        found = Counter(threads.map(ask, range(160)))
        more = int((time.monotonic() - began) * quota / 60) + 1
        assert found[200] + found[429] == 160
        assert quota <= found[200] <= quota + more


def test_each_server_counts_for_itself_while_redis_is_away(
    store: RedisServer, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    from advisor.service.access import redis_rates

    monkeypatch.setattr(redis_rates, "AGAIN", 0.3)
    limit = Limit("key", "a", 4)

    async def walk() -> list[Any]:
        rates = RedisRates(store.url, Rates())
        before = [(await rates.take(limit)).allowed for _ in range(5)]
        store.kill()
        away = []
        began = time.monotonic()
        while time.monotonic() - began < 1:
            away.append((await rates.take(limit)).allowed)
            await asyncio.sleep(0.01)
        store.start()
        await asyncio.sleep(0.4)
        back = [(await rates.take(limit)).allowed for _ in range(5)]
        await rates.close()
        return [before, sum(away), len(away) > 20, back]

    with caplog.at_level(logging.INFO, "advisor.service"):
        yes_yes = [True] * 4 + [False]
        assert asyncio.run(walk()) == [yes_yes, 4, True, yes_yes]
    assert [record.levelname for record in caplog.records] == ["ERROR", "INFO"]


def test_a_real_server_believes_only_its_proxies(tmp_path: Path) -> None:
    """The server below has ideas of its own about forwarded addresses, which have to be off."""
    told = {"x-forwarded-for": "203.0.113.9", "x-forwarded-proto": "https"}
    with service(rate_address=1, access="open") as plain:
        got = [httpx.get(f"{plain.url}/v1/packs", headers=told) for _ in range(3)]
        assert {one.status_code for one in got} == {200}
        assert "ratelimit" not in got[0].headers and "strict-transport-security" not in got[0].headers
    with service(proxies="127.0.0.1", rate_address=1, access="open") as behind:
        got = [httpx.get(f"{behind.url}/v1/packs", headers=told) for _ in range(2)]
        assert [one.status_code for one in got] == [200, 429]
        assert "strict-transport-security" in got[0].headers
        assert httpx.get(f"{behind.url}/v1/packs").status_code == 200


def test_a_key_holds_on_a_real_server_until_it_is_revoked(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    keys = KeyStore(url)
    key = keys.add("a", ("read",))
    with service(host="0.0.0.0", notebook=url) as server:
        address = f"http://127.0.0.1:{server.port}/v1/packs"
        headers = {"authorization": f"Bearer {key.text}"}
        assert httpx.get(address).status_code == 401
        assert httpx.get(address, headers=headers).status_code == 200
        keys.revoke(key.record.id)
        began = time.monotonic()
        while httpx.get(address, headers=headers).status_code == 200:
            time.sleep(0.05)
            assert time.monotonic() - began < 8
        assert time.monotonic() - began < 5.5
    keys.close()


def test_a_server_that_others_can_reach_does_not_start_without_a_key(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environ = {**PLAIN, "ADVISOR_NOTEBOOK": f"sqlite:///{tmp_path / 'none.sqlite'}", "ADVISOR_HOST": "0.0.0.0"}
    done = subprocess.run(
        [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", str(port)], env=environ, capture_output=True,
        text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2 and "advisor keys add" in done.stderr and "ADVISOR_ACCESS=open" in done.stderr
    assert not os.listdir(tmp_path)


def test_keys_live_in_postgresql_too() -> None:
    with postgres() as url:
        keys = KeyStore(url)
        made = [keys.add(f"key {i}", ("read", "live"), days=1) for i in range(3)]
        keys.use(made[0].record.id, hour())
        keys.revoke(made[1].record.id)
        found = keys.listed()
        assert [one.name for one in found] == ["key 0", "key 1", "key 2"]
        assert found[0].used == hour() and found[1].revoked and not found[2].revoked
        assert keys.find(made[2].record.id) == made[2].record
        assert keys.find(make_key()[0]) is None
        keys.close()
