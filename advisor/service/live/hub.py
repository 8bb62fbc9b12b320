"""Live channels: a state goes to a named channel, who watches the channel gets it.

An event is made into bytes once. Handing it out never waits for anybody: it is put into the queues in batches, with
the loop given free in between, and who has no room left is dropped and may come back with the id it got last.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterable
from contextlib import aclosing, suppress
from weakref import WeakValueDictionary

from litestar.channels.backends.base import ChannelsBackend
from redis.exceptions import RedisError

from advisor.errors import AdvisorError
from advisor.service.live.events import HEARTBEAT, Entry, Frame, Mark, cleared
from advisor.service.live.log import Snapshot
from advisor.service.live.rooms import Room, instead, keeper
from advisor.service.live.subscriber import Subscriber
from advisor.service.settings import Settings

__all__ = ["Hub"]

BATCH = 16
"""Subscribers that are handed an event before the loop sees to others."""
TICK = 1.0
"""Seconds between two looks at what has expired, and at whether anything was missed."""
AGAIN = 0.25
"""Seconds before a delivery that broke off is taken up again."""
_log = logging.getLogger("advisor.service")


class Hub:
    """All channels of a server. Its methods belong to the loop that ``start`` ran in.

    ``dropped`` counts subscribers that were too slow, ``events`` what was handed to this server's subscribers.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.dropped = self.events = self.subscribers = 0
        self._rooms: dict[str, Room] = {}
        self._turns: WeakValueDictionary[str, asyncio.Lock] = WeakValueDictionary()
        self._seen: Mark | None = None
        self._handing = asyncio.Lock()
        self._closed = False
        self._tasks: list[asyncio.Task[None]] = []
        self._backend: ChannelsBackend | None = None
        self._keeper = keeper(settings)

    @property
    def rooms(self) -> int:
        """Channels that somebody watches on this server."""
        return len(self._rooms)

    async def start(self) -> None:
        """Deliver from now on; a store that does not answer yet is asked again and again."""
        self._closed, self._handing, self._seen = False, asyncio.Lock(), None
        self._keeper = keeper(self.settings)
        self._backend = await self._keeper.start()
        await self._backend.on_startup()
        self._tasks = [asyncio.create_task(work()) for work in (self._deliver, self._tick, self._beat)]

    def close(self) -> None:
        """End all streams, and take no new ones: what a server has to do before it waits for its connections."""
        self._closed = True
        for room in self._rooms.values():
            for member in room.members:
                member.end("stopping")

    async def stop(self) -> None:
        """End everything."""
        self.close()
        tasks, self._tasks = self._tasks, []
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        backend, self._backend = self._backend, None
        with suppress(RedisError, OSError):
            if backend is not None:
                await backend.on_shutdown()
            await self._keeper.stop()

    def turn(self, channel: str) -> asyncio.Lock:
        """Held while a state of the channel is weighed, so that states come out as they came in."""
        return self._turns.setdefault(channel, asyncio.Lock())

    async def publish(self, channel: str, payload: bytes, only: Mark | None = None) -> Entry | None:
        """Make a state the current one. Errors: ``AdvisorError`` ``channels-full``, ``channels-unavailable``."""
        return await self._keeper.append(channel, "advice", payload, only)

    async def clear(self, channel: str) -> Entry:
        """Take the state away. Errors: ``AdvisorError`` ``channel-empty``, ``channels-unavailable``."""
        while True:
            current = await self.current(channel)
            if (entry := await self._keeper.append(channel, "clear", cleared("cleared"), current.mark)) is not None:
                return entry

    async def current(self, channel: str) -> Entry:
        """The state that counts. Errors: ``AdvisorError`` ``channel-empty``, ``channels-unavailable``."""
        last = (await self._look(channel, None)).last
        if last is None or last.kind != "advice":
            help = f"submit one with `POST /v1/live/{channel}`"
            raise AdvisorError("channel-empty", f"channel `{channel}` shows nothing now", help=help)
        return last

    async def withdraw(self, entry: Entry) -> None:
        """Take away a state that cannot be answered any more, if it is still the newest."""
        await self._keeper.append(entry.channel, "clear", cleared("unanswerable"), entry.mark)

    async def shown(self) -> list[tuple[str, int, int]]:
        """Channels with a state: name, when it came (milliseconds), subscribers here; by name."""
        found = await self._keeper.shown()
        rooms = self._rooms
        return sorted((name, at, len(rooms[name].members) if name in rooms else 0) for name, at in found)

    async def join(self, channel: str, after: Mark | None, known: bool) -> Subscriber:
        """Watch a channel, from the place ``after`` if that is known, else from its current state.

        ``known`` says that something was seen before, which has to be cleared if nothing is shown now.
        Errors: ``AdvisorError`` ``subscribers-full``, ``channels-unavailable``.
        """
        if self._closed:
            raise AdvisorError("channels-unavailable", "the service is stopping", help="connect again in a moment")
        if self.subscribers >= self.settings.subscribers:
            said = f"all {self.settings.subscribers} places for subscribers are taken"
            raise AdvisorError("subscribers-full", said, help="try again later, or raise `ADVISOR_SUBSCRIBERS`")
        member = Subscriber(channel, self.settings.channel_queue)
        # First in, then look: what comes in between waits in the queue, and nothing falls into a gap.
        room = self._rooms.setdefault(channel, Room(channel))
        room.members.add(member)
        self.subscribers += 1
        try:
            seen = await self._look(channel, after)
        except BaseException:
            self.leave(member)
            raise
        last = seen.last
        member.start(seen.missed if seen.missed is not None else instead(channel, seen, known), seen.head)
        if room.told is None:
            room.told = seen.head
            room.showing = last is not None and last.kind == "advice"
            room.due = self._due(seen.now - last.at if last else 0)
        return member

    def leave(self, member: Subscriber) -> None:
        """Watch no longer."""
        member.end("gone")
        room = self._rooms.get(member.channel)
        if room is not None and member in room.members:
            room.members.discard(member)
            self.subscribers -= 1
            if not room.members:
                del self._rooms[member.channel]

    def _due(self, age: int) -> float:
        return asyncio.get_running_loop().time() + self.settings.channel_seconds - age / 1000

    async def _look(self, channel: str, after: Mark | None) -> Snapshot:
        """A channel as it is, once a state that is too old to count has been cleared."""
        while True:
            seen = await self._keeper.read(channel, after)
            last = seen.last
            if last is None or last.kind != "advice" or seen.now - last.at < self.settings.channel_seconds * 1000:
                return seen
            await self._keeper.append(channel, "clear", cleared("expired"), last.mark)

    async def _deliver(self) -> None:
        """Hand out what comes, as long as the service runs."""
        backend, lost = self._backend, False
        assert backend is not None
        while True:
            try:
                await backend.subscribe([self._keeper.topic])
                await self._catch_up()
                if lost:
                    _log.info("the store of the channels answers again")
                lost = False
                async with aclosing(backend.stream_events()) as events:
                    async for _, data in events:
                        await self._take(Entry.unpacked(data))
            except (RedisError, OSError, AdvisorError) as error:
                if not lost:
                    _log.error("live channels are not delivered: %s", error)
                lost = True
                await asyncio.sleep(AGAIN)

    async def _take(self, entry: Entry) -> None:
        seen = self._seen
        if seen is None or entry.mark != Mark(seen.epoch, seen.n + 1):
            await self._catch_up()
        async with self._handing:
            self._reach(entry.mark)
            if (room := self._rooms.get(entry.channel)) is not None:
                await self._hand_out(room, entry)

    def _reach(self, mark: Mark) -> None:
        if self._seen is None or not self._seen.covers(mark):
            self._seen = mark

    async def _catch_up(self) -> None:
        """Hand out what was missed while the store did not deliver, or what there is instead of a lost history."""
        async with self._handing:
            head = await self._keeper.head()
            if head == self._seen:
                return
            for room in list(self._rooms.values()):
                if room.told is not None:
                    seen = await self._look(room.channel, room.told)
                    missed = seen.missed
                    for entry in missed if missed is not None else instead(room.channel, seen, room.showing):
                        await self._hand_out(room, entry)
            self._reach(head)

    async def _hand_out(self, room: Room, entry: Entry) -> None:
        """Give an event to all of a room, each event once."""
        if room.told is not None and room.told.covers(entry.mark):
            return
        room.told = entry.mark
        room.showing = entry.kind == "advice"
        room.due = self._due(0)
        await self._give(tuple(room.members), Frame(entry))

    async def _give(self, members: Iterable[Subscriber], frame: Frame) -> None:
        for i, member in enumerate(members, 1):
            if frame is HEARTBEAT:
                # Who has something else to get needs no sign of life.
                _ = member.idle and member.put(frame)
            elif member.put(frame):
                self.events += 1
            else:
                self.dropped += 1
                member.end("slow")
            if i % BATCH == 0:
                await asyncio.sleep(0)

    async def _tick(self) -> None:
        """Clear what has expired, and see whether anything was missed that nothing has followed since."""
        while True:
            await asyncio.sleep(TICK)
            with suppress(AdvisorError):
                now = asyncio.get_running_loop().time()
                for room in list(self._rooms.values()):
                    if room.showing and room.told is not None and room.due <= now:
                        room.due = now + TICK
                        await self._look(room.channel, None)
                before = self._seen
                head = await self._keeper.head()
                # What is under way to us comes within a tick.
                await asyncio.sleep(TICK if before is None or not before.covers(head) else 0)
                if self._seen == before and head != before:
                    await self._catch_up()

    async def _beat(self) -> None:
        """Signs of life, to those who have nothing else to get."""
        while True:
            await asyncio.sleep(self.settings.heartbeat)
            await self._give([member for room in self._rooms.values() for member in room.members], HEARTBEAT)
