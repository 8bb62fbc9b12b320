"""Who watches a channel: a bounded queue of what is still to be sent to them."""

from __future__ import annotations

import asyncio
from typing import Literal

from advisor.service.live.events import Entry, Frame, Mark

__all__ = ["Ending", "Subscriber"]

Ending = Literal["gone", "slow", "stopping"]


class Subscriber:
    """One stream. It is written to without waiting; whoever serves it takes what there is.

    ``first`` are the events to begin with, ``begin`` the place that they lead up to. ``over`` is done once the stream
    has to end, with the reason.
    """

    def __init__(self, channel: str, room: int) -> None:
        self.channel = channel
        self.first: tuple[Entry, ...] = ()
        self.begin: Mark | None = None
        self.over: asyncio.Future[Ending] = asyncio.get_running_loop().create_future()
        self._room = room
        self._queue: list[Frame] = []
        self._wake: asyncio.Future[None] | None = None

    @property
    def idle(self) -> bool:
        """Nothing waits for it."""
        return not self._queue

    def start(self, first: tuple[Entry, ...], begin: Mark) -> None:
        """Begin with these events; what came meanwhile and is among them is not sent twice."""
        self.first, self.begin = first, begin
        self._queue = [frame for frame in self._queue if not begin.covers(frame.mark)]

    def put(self, frame: Frame) -> bool:
        """Let an event wait to be sent; False when there is no room for it."""
        if self.over.done() or (self.begin is not None and self.begin.covers(frame.mark)):
            return True
        if len(self._queue) >= self._room:
            return False
        self._queue.append(frame)
        self._stir()
        return True

    def end(self, why: Ending) -> None:
        """End the stream: what waits for one that is slow is dropped, it can be had again by its place."""
        if not self.over.done():
            self.over.set_result(why)
            if why == "slow":
                self._queue.clear()
            self._stir()

    def _stir(self) -> None:
        if self._wake is not None and not self._wake.done():
            self._wake.set_result(None)

    async def take(self) -> list[Frame]:
        """What is to be sent; waits for it. Empty once the stream is over."""
        while not self._queue and not self.over.done():
            self._wake = asyncio.get_running_loop().create_future()
            await self._wake
        taken, self._queue = self._queue, []
        return taken
