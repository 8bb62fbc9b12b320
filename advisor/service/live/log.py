"""The history of the channels: what is current, what came before it, and what is told to every server.

Two keepers: the memory of one server, and Redis for several. Both deliver over a backend of Litestar's channels, on
one topic. Its plugin hands events on without ids, replays by count only and can neither drop who is slow nor say
that it did, so ids, replay and subscribers are ours (``hub.py``). Its Redis stream backend keeps no count of
events, so that the count and the publishing of two servers could cross; here one script does both.
"""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict, deque
from typing import NamedTuple, Protocol

from litestar.channels.backends.base import ChannelsBackend
from litestar.channels.backends.memory import MemoryChannelsBackend

from advisor.errors import AdvisorError
from advisor.service.live.events import Entry, Kind, Mark, cleared
from advisor.service.settings import Settings

__all__ = ["SLACK", "Log", "MemoryLog", "Snapshot", "channels_full", "new_epoch"]

SLACK = 60
"""Seconds that a history outlives its last state, so that who watches can still be told that it is over."""


class Snapshot(NamedTuple):
    """A channel as it is: ``head`` is the place reached by all channels, ``now`` the keeper's clock in milliseconds.

    ``last`` is the newest event; ``missed`` are those after the place that was asked about, or None when they are
    not known for sure.
    """

    head: Mark
    now: int
    last: Entry | None
    missed: tuple[Entry, ...] | None


class Log(Protocol):
    """Keeps and counts events. Errors of every call: ``AdvisorError`` ``channels-unavailable``."""

    @property
    def topic(self) -> str:
        """On which the backend delivers."""

    async def start(self) -> ChannelsBackend:
        """What delivers the packed events of all servers, in order."""

    async def stop(self) -> None:
        """Deliver no more."""

    async def append(self, channel: str, kind: Kind, payload: bytes, only: Mark | None = None) -> Entry | None:
        """Keep an event and deliver it; with ``only`` if that is still the newest of the channel, else None.

        Errors: ``AdvisorError`` ``channels-full``.
        """

    async def read(self, channel: str, after: Mark | None) -> Snapshot:
        """A channel as it is."""

    async def shown(self) -> list[tuple[str, int]]:
        """Channels with a state, and when it came, in milliseconds."""

    async def head(self) -> Mark:
        """The place that all channels together have reached."""


def new_epoch() -> str:
    """A name for a new history."""
    return secrets.token_hex(6)


def channels_full(count: int) -> AdvisorError:
    """There are as many channels as there may be."""
    help = "clear one with DELETE, or raise `ADVISOR_CHANNELS`"
    return AdvisorError("channels-full", f"all {count} channels are in use", help=help)


class MemoryLog:
    """Keeps the events of one server in its memory."""

    topic = "live"

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._head = Mark(new_epoch(), 0)
        # The channel written to last stands last. A channel is known whole from the place of its first event on, which
        # is one that cannot be replayed any more, or marks where the channel began.
        self._kept: OrderedDict[str, deque[Entry]] = OrderedDict()
        self._backend: MemoryChannelsBackend | None = None

    async def start(self) -> ChannelsBackend:
        """See ``Log``."""
        self._backend = MemoryChannelsBackend()
        return self._backend

    async def stop(self) -> None:
        """See ``Log``."""
        self._backend = None

    async def append(self, channel: str, kind: Kind, payload: bytes, only: Mark | None = None) -> Entry | None:
        """See ``Log``."""
        now = _now()
        kept = self._kept.get(channel)
        if only is not None and (not kept or kept[-1].mark != only):
            return None
        if kept is None:
            self._make_room(now)
            origin = Entry(self._head, now, "clear", channel, cleared("reset"))
            kept = self._kept[channel] = deque([origin], maxlen=max(1, self._settings.channel_history + 1))
        self._head = Mark(self._head.epoch, self._head.n + 1)
        entry = Entry(self._head, now, kind, channel, payload)
        kept.append(entry)
        self._kept.move_to_end(channel)
        if self._backend is not None:
            await self._backend.publish(entry.packed(), [self.topic])
        return entry

    def _make_room(self, now: int) -> None:
        """Errors: ``AdvisorError`` ``channels-full``."""
        oldest = now - (self._settings.channel_seconds + SLACK) * 1000
        while self._kept and next(iter(self._kept.values()))[-1].at <= oldest:
            self._kept.popitem(last=False)
        if len(self._kept) >= self._settings.channels:
            over = next((name for name, kept in self._kept.items() if kept[-1].kind == "clear"), None)
            if over is None:
                raise channels_full(self._settings.channels)
            del self._kept[over]

    async def read(self, channel: str, after: Mark | None) -> Snapshot:
        """See ``Log``."""
        kept = self._kept.get(channel, ())
        missed = None
        if after and kept and self._head.covers(after) and after.n >= kept[0].mark.n:
            missed = tuple(entry for entry in kept if entry.mark.n > after.n)
        return Snapshot(self._head, _now(), kept[-1] if kept else None, missed)

    async def shown(self) -> list[tuple[str, int]]:
        """See ``Log``."""
        return [(name, kept[-1].at) for name, kept in self._kept.items() if kept[-1].kind == "advice"]

    async def head(self) -> Mark:
        """See ``Log``."""
        return self._head


def _now() -> int:
    return time.time_ns() // 1_000_000
