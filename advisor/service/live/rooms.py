"""What a server knows of a channel that somebody watches on it, and who keeps the channel's history."""

from __future__ import annotations

from advisor.service.live.events import Entry, Mark, cleared
from advisor.service.live.log import Log, MemoryLog, Snapshot
from advisor.service.live.subscriber import Subscriber
from advisor.service.settings import Settings

__all__ = ["Room", "instead", "keeper"]


class Room:
    """The subscribers of one channel on this server: up to where they were told, and when their state expires."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.members: set[Subscriber] = set()
        self.told: Mark | None = None
        self.showing = False
        self.due = 0.0


def instead(channel: str, seen: Snapshot, known: bool) -> tuple[Entry, ...]:
    """What to tell instead of events that are not known: the current state, or that there is none any more."""
    last = seen.last
    if last is not None and (last.kind == "advice" or known):
        return (last,)
    return (Entry(seen.head, seen.now, "clear", channel, cleared("reset")),) if known else ()


def keeper(settings: Settings) -> Log:
    """Who keeps the histories, as the settings have it."""
    if settings.redis is None:
        return MemoryLog(settings)
    from advisor.service.live.redis_log import RedisLog  # what is not asked for is not loaded

    return RedisLog(settings)
