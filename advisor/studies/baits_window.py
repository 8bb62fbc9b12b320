"""On which frames a bait works: how late the reply may come, and how late the answer may start."""

from __future__ import annotations

from collections.abc import Callable

from msgspec.structs import replace

from advisor.facts import Pair, Situation
from advisor.facts.outcome import outcome_of
from advisor.studies.baits_model import FrameWindow
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side

__all__ = ["arrivals", "my_delays"]

MOST = 60
LANDS = ("hit", "counter_hit")


def arrivals(situation: Situation, pair: Pair) -> FrameWindow | None:
    """The frames on which the reply may arrive and is caught: its own first, and on as it is started later.

    Where nothing touches these are the frames of the reply's first active frame.
    """
    me, them = pair.me, pair.them
    if me is None or them is None or not them.option.hits or them.option.hits[0].first_active is None:
        return None
    late = _run(situation, pair, lambda frames: (me, replace(them, delay=frames)))
    at = them.begins + them.option.hits[0].first_active
    if pair.exchange is not None and pair.exchange.by == "them" and pair.exchange.frame is not None:
        at = pair.exchange.frame
    return FrameWindow(first=at, last=at + late)


def my_delays(situation: Situation, pair: Pair) -> FrameWindow | None:
    """The frames by which my answer may be started late and still catches."""
    me, them = pair.me, pair.them
    if me is None or them is None:
        return None
    return FrameWindow(first=0, last=_run(situation, pair, lambda frames: (replace(me, delay=frames), them)))


def _run(situation: Situation, pair: Pair, sides: Callable[[int], tuple[Side, Side]]) -> int:
    """The last of the frames 0, 1, 2 and so on for which it ends as the pair does; at most ``MOST``."""
    last = 0
    while last < MOST:
        me, them = sides(last + 1)
        later = meet(
            situation.pack.conventions, me, them, situation.distance, nearest=situation.nearest,
            farthest=situation.farthest,
        )
        if not _alike(situation, pair.exchange, later, me, them):
            break
        last += 1
    return last


def _alike(situation: Situation, first: Exchange | None, later: Exchange, me: Side, them: Side) -> bool:
    if first is None or not later.decided or later.by != first.by:
        return False
    if later.by == "none":
        return outcome_of(situation, me, them, later).i_can_punish is True
    return later.effect == first.effect or (later.effect in LANDS and first.effect in LANDS)
