"""The moments in the life of one option of theirs at which something of mine may answer it.

A stage is one such moment with its situation settled for one character of mine: while the option
runs (``life``), in the gap before the next hit of a string (``gap``), after it was blocked, after it
missed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Literal

import msgspec
from msgspec import Struct

from advisor.facts import Entry, Question, Ready, Situation, settle
from advisor.facts.question import Advantage, Blocked, Fighter, Held, Moment, Neutral, Whiffed
from advisor.pack.model import Hit, Move, Pack
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER, from_micro

__all__ = ["IDLE", "Asked", "Stage", "after_block", "after_whiff", "gap", "life", "touch_limit"]

IDLE = Move(
    id="stand", name="Stand", kind="movement", total=FOREVER, airborne=(), crouching=(), invulnerable=(), armour=(),
    parry=(), sidestep=(), displacement=(), counter_state=(),
)
"""An option that does nothing: what the other's attack does to somebody who merely stands there."""


class Asked(Struct, frozen=True, kw_only=True):
    """What all stages of one request share. Units: frames, ``distance`` in micro-units."""

    pack: Pack
    them: Fighter
    distance: int
    advantage: int = 0
    held: Held = "recovery"


class Stage(Struct, frozen=True, kw_only=True):
    """One moment, settled for one character of mine, and the reply of theirs that it is about.

    ``others`` are what they may do instead (go on with a string). ``shift`` is added to a distance
    of the situation to give the one at the start (or at the contact, after a block); ``beyond`` is
    the distance up to which their option would touch, so that it cannot miss from there.
    ``stands`` is what their option does to me when I merely stand; None when that means nothing here.

    Units: micro-units.
    """

    when: Literal["life", "gap", "after_block", "after_whiff"]
    step: Move
    fighter: Fighter
    situation: Situation
    theirs: Entry
    others: tuple[Entry, ...] = ()
    shift: int = 0
    beyond: int | None = None
    stands: Exchange | None = None

    def sides(self, entry: Entry) -> tuple[Side, Side] | None:
        """My option and theirs on the clock of the stage; None when a frame is unknown."""
        clock = self.situation.contact if self.when == "gap" else self.situation.free
        mine = self.situation.side(entry, True, clock)
        theirs = self.situation.side(self.theirs, False, clock)
        return None if mine is None or theirs is None else (mine, theirs)

    def ready(self, entry: Entry) -> tuple[Ready, Ready]:
        """The same two, ready for their facts."""
        return Ready(self.situation, entry, "mine"), Ready(self.situation, self.theirs, "theirs")


def _settled(
    asked: Asked, me: Fighter, moment: Moment, distance: int | None, replies: list[str] | None
) -> Situation:
    away = None if distance is None else from_micro(distance)
    return settle(
        asked.pack, Question(me=me, them=asked.them, moment=moment, distance=away, replies=replies)
    )


def _standing(stage: Stage) -> Stage:
    """The stage with what their option does to me when I do nothing."""
    sides = stage.sides(Entry(move=IDLE, key=IDLE.id, name=IDLE.name))
    if sides is None or not stage.theirs.move.hits:
        return stage
    situation = stage.situation
    found = meet(
        situation.pack.conventions, *sides, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    )
    return msgspec.structs.replace(stage, stands=found)


def life(asked: Asked, me: Fighter, move: Move) -> Stage:
    """Their option from its start, against whatever I begin at the same time or later."""
    moment: Moment = Advantage(frames=asked.advantage, held=asked.held) if asked.advantage else Neutral()
    situation = _settled(asked, me, moment, asked.distance, [move.id])
    return _standing(
        Stage(when="life", step=move, fighter=me, situation=situation, theirs=situation.replies[0])
    )


def gap(asked: Asked, me: Fighter, parent: Move, child: Move, distance: int | None) -> Iterator[Stage]:
    """Before the next hit of a string, the one before it blocked; a delayable one also at its latest."""
    moment = Blocked(attacker="them", move=parent.id)
    situation = _settled(asked, me, moment, distance, None)
    for entry in (*situation.replies, *situation.further):
        if entry.follows and entry.move is child:
            yield _standing(Stage(when="gap", step=child, fighter=me, situation=situation, theirs=entry))


def after_block(asked: Asked, me: Fighter, move: Move, distance: int | None) -> Stage | None:
    """After I blocked it: they are still held, then they guard; None when there is nothing to guard with."""
    situation = _settled(asked, me, Blocked(attacker="them", move=move.id), distance, None)
    theirs = _guard(asked.pack, situation.replies)
    if theirs is None:
        return None
    return Stage(
        when="after_block", step=move, fighter=me, situation=situation, theirs=theirs,
        others=tuple(e for e in situation.replies if e.follows), shift=-(situation.pushback or 0),
    )


def after_whiff(asked: Asked, me: Fighter, move: Move) -> Stage | None:
    """After it missed: from where I stood if it does not touch there, else from just outside its reach."""
    limit = touch_limit(move)
    start = None if limit is None else max(asked.distance, limit + 1)
    last = timeline_of(move).last_stop
    moved = None if last is None or move.displacement is None else timeline_of(move).moved(last - 1)
    now = None if start is None or moved is None else max(0, start - moved)
    situation = _settled(asked, me, Whiffed(attacker="them", move=move.id), now, None)
    theirs = _guard(asked.pack, situation.replies)
    if theirs is None:
        return None
    return Stage(
        when="after_whiff", step=move, fighter=me, situation=situation, theirs=theirs,
        shift=moved or 0, beyond=limit,
    )


def _guard(pack: Pack, replies: Sequence[Entry]) -> Entry | None:
    """The widest guard of the pack, as they hold it once they are free."""
    for entry in replies:
        if entry.move.kind == "guard":
            return entry
    guards = [m for m in pack.system.values() if m.kind == "guard"]
    if not guards:
        return None
    widest = max(guards, key=lambda m: max((len(g.guards) for g in m.guard), default=0))
    return Entry(move=widest, key=widest.id, name=widest.name)


def touch_limit(move: Move) -> int | None:
    """The greatest distance at the start at which the option still touches somebody who stands; None: unknown.

    Units: micro-units.
    """
    timeline = timeline_of(move)
    if move.displacement is None or not move.hits:
        return None
    reached = [_hit_limit(hit, timeline.moved) for hit in move.hits]
    return None if None in reached else max(r for r in reached if r is not None)


def _hit_limit(hit: Hit, moved: Callable[[int], int]) -> int | None:
    if hit.reach is None or hit.first_active is None or hit.active_stop is None:
        return None
    return hit.reach + max(moved(frame) for frame in range(hit.first_active, hit.active_stop))
