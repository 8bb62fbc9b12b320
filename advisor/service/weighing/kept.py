"""Answers that are kept: those that nobody asked for go first; the same, asked many times at once, is weighed once.

A key holds all that an answer hangs on, so nothing has to be thrown away when trials or data change: the old answers
are not asked for any more, and go as others come.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Hashable
from typing import Generic, Literal, NamedTuple, TypeVar

__all__ = ["Found", "Kept", "Recent"]

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")
ENTRY = 512
"""Bytes that an entry costs beside its value, about."""


class Recent(Generic[K, V]):
    """Values by key, as many as fit into ``room`` bytes."""

    def __init__(self, room: int) -> None:
        self.room = room
        self.held = 0
        self._values: OrderedDict[K, tuple[V, int]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: K) -> V | None:
        """The value of a key, which counts as used; None when there is none."""
        found = self._values.get(key)
        if found is None:
            return None
        self._values.move_to_end(key)
        return found[0]

    def put(self, key: K, value: V, size: int) -> None:
        """Keep a value of ``size`` bytes, unless it is larger than all the room."""
        cost = size + ENTRY
        if cost > self.room:
            return
        before = self._values.pop(key, None)
        self.held += cost - (before[1] if before else 0)
        self._values[key] = (value, cost)
        while self.held > self.room:
            self.held -= self._values.popitem(last=False)[1][1]


class Found(NamedTuple, Generic[V]):
    """A value, and whether it was kept, made just now, or made for somebody who asked a moment before."""

    value: V
    how: Literal["hit", "miss", "shared"]


class Kept(Generic[K, V]):
    """Values made at most once at a time; ``size`` says how many bytes one has, None that it is not to be kept.

    ``hits``, ``misses`` and ``shared`` count how values were found.
    """

    def __init__(self, room: int, size: Callable[[V], int | None]) -> None:
        self.recent: Recent[K, V] = Recent(room)
        self._size = size
        self._making: dict[K, asyncio.Task[V]] = {}
        self.hits = self.misses = self.shared = 0

    async def get(self, key: K, make: Callable[[], Awaitable[V]]) -> Found[V]:
        """The value of the key, made when it is not there. Errors: those of ``make``, for all who wait for it."""
        found = self.recent.get(key)
        if found is not None:
            self.hits += 1
            return Found(found, "hit")
        task = self._making.get(key)
        # One that was left behind in a loop that ended is never done.
        if task is None or task.get_loop() is not asyncio.get_running_loop():
            self.misses += 1
            task = self._making[key] = asyncio.ensure_future(self._make(key, make))
            # Who asked first may go; the others still wait for the same.
            return Found(await asyncio.shield(task), "miss")
        self.shared += 1
        return Found(await asyncio.shield(task), "shared")

    async def _make(self, key: K, make: Callable[[], Awaitable[V]]) -> V:
        try:
            value = await make()
            size = self._size(value)
            if size is not None:
                self.recent.put(key, value, size)
            return value
        finally:
            self._making.pop(key, None)
