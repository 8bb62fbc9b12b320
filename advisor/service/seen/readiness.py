"""Whether the service is ready: each part that answers hang on, looked at no more than once a second."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path
from typing import Annotated, Literal

import redis.asyncio
from msgspec import Meta, Struct
from redis.exceptions import RedisError
from sqlalchemy.engine import Engine

from advisor.errors import AdvisorError
from advisor.notebook.connection import connect, read
from advisor.notebook.where import notebook_url, read_url
from advisor.service.running.served import Served
from advisor.service.settings import Settings
from advisor.service.wire import Problem

__all__ = ["Part", "Readiness", "Ready", "Unready"]

KEPT = 1.0
"""Seconds that a look is good for: probes come from many sides."""
WAIT = 2.0
"""Seconds that a part has to answer."""


class Part(Struct, frozen=True, kw_only=True):
    """One part of the service."""

    name: Annotated[Literal["workers", "library", "store", "redis"], Meta(description="Which part.")]
    state: Annotated[
        Literal["up", "unused", "down"],
        Meta(description="`unused`: it is not set, and nothing hangs on it. A store that is still to be made is up."),
    ]
    detail: Annotated[str, Meta(description="What is wrong; empty when nothing is.")] = ""


class Ready(Struct, kw_only=True):
    """Every part that is used is up."""

    status: Annotated[str, Meta(description="`ready`.")]
    parts: list[Part]


class Unready(Problem, kw_only=True, omit_defaults=True):
    """A problem with the parts of the service, so that one sees which is down."""

    parts: list[Part]


class Readiness:
    """Looks at the parts of a service; it keeps its own connections to what it looks at."""

    def __init__(self, settings: Settings, served: Served) -> None:
        self.settings, self.served = settings, served
        self._until = 0.0
        self._parts: list[Part] = []
        self._one_by_one = asyncio.Lock()
        self._engine: Engine | None = None
        self._redis: redis.asyncio.Redis | None = None

    async def parts(self) -> list[Part]:
        """The parts as they are now, or were a moment ago."""
        async with self._one_by_one:
            if time.monotonic() >= self._until:
                asked = (self._workers(), self._library(), self._store(), self._channels())
                self._parts = list(await asyncio.gather(*asked))
                self._until = time.monotonic() + KEPT
            return self._parts

    async def close(self) -> None:
        """Give the connections back."""
        if self._redis is not None:
            await self._redis.aclose()
            self._redis = None
        engine, self._engine = self._engine, None
        if engine is not None:
            await asyncio.to_thread(engine.dispose)

    async def _workers(self) -> Part:
        if self.served.up and self.served.holding.desk.up:
            return Part(name="workers", state="up")
        return Part(name="workers", state="down", detail="no worker can weigh a question")

    async def _library(self) -> Part:
        if self.served.library.shelves:
            return Part(name="library", state="up")
        return Part(name="library", state="down", detail="no pack is loaded")

    async def _store(self) -> Part:
        try:
            await asyncio.wait_for(asyncio.to_thread(self._look), WAIT)
        except TimeoutError:
            return Part(name="store", state="down", detail=f"no answer within {WAIT:.0f} s")
        except AdvisorError as error:
            return Part(name="store", state="down", detail=error.message)
        except Exception as error:
            # Drivers put addresses and passwords into their texts.
            return Part(name="store", state="down", detail=f"cannot be reached ({type(error).__name__})")
        return Part(name="store", state="up")

    def _look(self) -> None:
        """Ask the store for anything."""
        if self._engine is None:
            address = self.settings.notebook or notebook_url()
            url = read_url(address)
            if url.get_backend_name() == "sqlite" and not Path(str(url.database)).exists():
                # It is made when something is first written down.
                return
            self._engine = connect(address)
        read(self._engine, "SELECT 1")

    async def _channels(self) -> Part:
        if self.settings.redis is None:
            return Part(name="redis", state="unused")
        try:
            if self._redis is None:
                self._redis = redis.asyncio.from_url(
                    self.settings.redis, socket_timeout=WAIT, socket_connect_timeout=WAIT
                )
            await asyncio.wait_for(self._redis.ping(), WAIT)
        except (RedisError, OSError, ValueError, TimeoutError) as error:
            return Part(name="redis", state="down", detail=f"cannot be reached ({type(error).__name__})")
        return Part(name="redis", state="up")
