"""Which frames meet which wake-up option, as bits of whole numbers.

Bit ``n`` of a number stands for "when the action begins after ``n`` frames of the moment". One number
answers a question for every ``n`` at once, so that a search over thousands of states asks once for each
(action, reply, distance). What these tables leave out (several hits against armour, say) goes to
``meet`` frame by frame; both give the same answer, which the tests hold them to.
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import pairwise
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from advisor.pack.model import Conventions, Hit, Move
from advisor.timeline.body import Body
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER

__all__ = ["Actor", "Met", "Target", "lacks", "lands", "met", "shifted"]

LANDS = ("hit", "counter_hit")


class Met(Struct, frozen=True):
    """An action against a reply at one distance, over every ``n``.

    ``covers``: it hits them, or its parry catches them, while the reply runs; ``late``: the same when
    the frames before are spent standing, so that a reply that touches in them is not covered;
    ``touches``: any contact before the action is over, by either side.
    """

    covers: int
    late: int
    touches: int


class Stroke(Struct, frozen=True):
    """One active frame of an option: its own frame, the hit it belongs to, and how far it gets there."""

    frame: int
    hit: int
    gets: int


class _Blow(NamedTuple):
    """One active frame of their attack, and the beginnings that it hurts, is taken by armour, is caught, is blocked."""

    frame: int
    hit: int
    hurts: int
    taken: int
    caught: int
    blocked: int


def lacks(move: Move) -> str | None:
    """The property without which the option cannot be placed in time and space; None when all are known."""
    if move.total is None:
        return "total"
    if move.displacement is None:
        return "displacement"
    for hit in move.hits:
        for name, value in (
            ("first_active", hit.first_active), ("active", hit.active_stop), ("level", hit.level),
            ("reach", hit.reach),
        ):
            if value is None:
                return name
    return None


def _strokes(move: Move) -> tuple[Stroke, ...]:
    timeline = timeline_of(move)
    return tuple(
        Stroke(k, i, (hit.reach or 0) + timeline.moved(k))
        for i, hit in enumerate(move.hits)
        for k in range(hit.first_active or 0, hit.active_stop or 0)
    )


class Steps:
    """Frames by how far an option has moved toward the other: ``within(least)`` has those of ``least`` or more."""

    __slots__ = ("every", "least", "masks", "still")

    def __init__(self, moved: dict[int, int]) -> None:
        """``moved``: micro-units moved, by frame (the number of its bit)."""
        by: dict[int, int] = {}
        for frame, far in moved.items():
            by[far] = by.get(far, 0) | 1 << frame
        self.least = sorted(by)
        self.masks: list[int] = []
        mask = 0
        for far in reversed(self.least):
            mask |= by[far]
            self.masks.append(mask)
        self.masks.reverse()
        self.masks.append(0)

    def within(self, least: int) -> int:
        return self.masks[bisect_left(self.least, least)]


class Actor:
    """One of my options as it begins, standing and free, on the next frame."""

    __slots__ = ("conventions", "kinds", "mixed", "move", "moved", "single", "steps", "strokes", "total")

    def __init__(self, conventions: Conventions, move: Move) -> None:
        self.conventions = conventions
        self.move = move
        self.strokes = _strokes(move)
        self.total = move.total or 0
        self.single = len(move.hits) <= 1
        self.mixed = len({conventions.levels[hit.level or ""].kind for hit in move.hits}) > 1
        timeline = timeline_of(move)
        self.moved = timeline.moved(self.total)
        # Reversed frames: own frame k is bit total - k, so that a shift turns it into "begun after t - k".
        self.steps = Steps({self.total - k: timeline.moved(k) for k in range(1, self.total + 1)})
        self.kinds: dict[tuple[object, ...], tuple[int, int, int, int]] = {}

    def struck(self, hit: Hit) -> tuple[int, int, int, int]:
        """Own frames (reversed) on which ``hit`` hurts it, is taken by armour, is caught, is blocked."""
        key = (hit.level, hit.tags, hit.tracks)
        if key not in self.kinds:
            self.kinds[key] = self._work_out(hit)
        return self.kinds[key]

    def _work_out(self, hit: Hit) -> tuple[int, int, int, int]:
        side = Side(option=self.move)
        bits = dict.fromkeys(("hit", "armour", "parried", "blocked"), 0)
        cuts = sorted(k for k in {1, *timeline_of(self.move).edges, self.total + 1} if 1 <= k <= self.total + 1)
        for start, stop in pairwise(cuts):
            how = _touch(self.conventions, Body(self.conventions, side, start, "mine"), hit)
            if how != "miss":
                run = (1 << (self.total + 1 - start)) - (1 << (self.total + 1 - stop))
                bits["hit" if how == "unknown" else how] |= run
        return bits["hit"], bits["armour"], bits["parried"], bits["blocked"]


def _touch(conventions: Conventions, body: Body, hit: Hit) -> str:
    """What ``hit`` does to a body if it reaches: miss, parried, armour, blocked, hit, or unknown."""
    level = conventions.levels[hit.level or ""]
    inside = [posture in level.hits for posture, _ in body.postures()]
    evaded = [test(hit, "mine")[0] for test in (body.shielded, body.sidestepped)]
    if not any(inside) or True in evaded:
        return "miss"
    if not all(inside) or None in evaded:
        return "unknown"
    if body.where == "option":
        caught, _ = body.parries(hit, "mine")
        if caught is not False:
            return "parried" if caught else "unknown"
        window, need = body.armour(hit, "mine", ())
        if window is not False:
            return "armour" if window is not None and not need else "unknown"
    return "blocked" if body.guards()[0][0] & level.blocked_by else "hit"


class Target:
    """One reply of theirs on the moment's clock, over frames 1 to ``last``.

    What ``lacks`` names for its option has to be known.
    """

    __slots__ = (
        "armoured", "begins", "conventions", "ends", "last", "opens", "side", "steps", "strokes", "tables",
    )

    def __init__(self, conventions: Conventions, side: Side, last: int, *, ground: bool = False) -> None:
        """With ``ground`` what hits before the reply begins counts as well."""
        self.conventions = conventions
        self.side = side
        self.last = last
        self.begins = side.begins
        option = side.option
        self.opens = 1 if ground else self.begins + 1
        self.ends = min(last, self.begins + (option.total or 0))
        timeline = timeline_of(option)
        self.steps = Steps({t: timeline.moved(t - self.begins) for t in range(1, last + 1)})
        self.strokes = [(self.begins + s.frame, s) for s in _strokes(option) if self.begins + s.frame >= 1]
        self.armoured = bool(option.armour)
        self.tables: dict[tuple[object, ...], tuple[int, int]] = {}

    def touched(self, hit: Hit) -> tuple[int, int]:
        """Frames on which ``hit`` touches them, and those on which it hits while the reply runs."""
        key = (hit.level, hit.tags, hit.tracks)
        if key not in self.tables:
            self.tables[key] = self._work_out(hit)
        return self.tables[key]

    def _work_out(self, hit: Hit) -> tuple[int, int]:
        touch = clean = 0
        for start, stop in self._runs():
            how = _touch(self.conventions, Body(self.conventions, self.side, start, "theirs"), hit)
            if how == "miss":
                continue
            run = (1 << stop) - (1 << start)
            touch |= run
            if how == "hit":
                clean |= run
        return touch, clean & ((1 << (self.ends + 1)) - (1 << max(0, self.opens)))

    def _runs(self) -> list[tuple[int, int]]:
        """Runs of frames, half-open, over which nothing about them changes."""
        side = self.side
        cuts = {self.begins + edge for edge in timeline_of(side.option).edges} | {side.free_at + 1}
        if side.prior is not None:
            cuts |= {edge - side.prior_frame for edge in timeline_of(side.prior).edges}
        marks = [1, *sorted(c for c in cuts if 1 < c <= self.last), self.last + 1]
        return list(pairwise(marks))

    def reaches_me_from(self, distance: int) -> int:
        """The first frame on which it touches somebody who stands free and guards; past the end when never."""
        for t, stroke in self.strokes:
            hit = self.side.option.hits[stroke.hit]
            level = self.conventions.levels[hit.level or ""]
            if "standing" in level.hits and stroke.gets >= distance:
                return t
        return self.last + 1


def met(actor: Actor, target: Target, distance: int, most: int) -> tuple[Met, int]:
    """What the action meets, begun after 0 to ``most`` frames at ``distance`` micro-units; and the work it took."""
    found = _quick(actor, target, distance, most)
    if found is not None:
        return found, 1
    return _walked(actor, target, distance, most), most + 1


def _quick(actor: Actor, target: Target, distance: int, most: int) -> Met | None:
    """By the tables; None when these two are not that simple."""
    if target.armoured and not (actor.single and not actor.move.parry):
        return None
    if actor.mixed and target.strokes:
        return None
    inside = (1 << (most + 1)) - 1
    seen = clean = 0
    mine: list[tuple[int, int]] = []
    for stroke in actor.strokes:
        tables = target.touched(actor.move.hits[stroke.hit])
        reached = target.steps.within(distance - stroke.gets)
        if not reached:
            continue
        touch = (tables[0] & reached) >> stroke.frame
        clean |= (tables[1] & reached) >> stroke.frame & ~seen
        seen |= touch
        mine.append((stroke.frame, touch))
    if not target.strokes:
        return Met(clean & inside, clean & inside, seen & inside)
    theirs = _struck(actor, target, distance)
    if theirs is None:
        return None
    lost, caught, contact = _race(actor, target, mine, theirs)
    covers = (clean & ~lost | caught) & inside
    late = covers & ((1 << target.reaches_me_from(distance)) - 1)
    return Met(covers, late, (seen | contact) & inside)


def _struck(actor: Actor, target: Target, distance: int) -> list[_Blow] | None:
    """Each active frame of theirs; None when these two are not that simple."""
    out = []
    several = len(target.side.option.hits) > 1
    for t, stroke in target.strokes:
        kinds = actor.struck(target.side.option.hits[stroke.hit])
        if several and kinds[1]:
            return None
        reached = actor.steps.within(distance - stroke.gets)
        shift = t - actor.total
        bits = [(kind & reached) << shift if shift >= 0 else (kind & reached) >> -shift for kind in kinds]
        out.append(_Blow(t, stroke.hit, *bits))
    return out


def _race(
    actor: Actor, target: Target, mine: list[tuple[int, int]], theirs: list[_Blow]
) -> tuple[int, int, int]:
    """Beginnings on which their attack comes first, on which it is caught first, and on which it touches at all."""
    lost = caught = contact = 0
    for blow in theirs:
        t, before, same = blow.frame, 0, 0
        for frame, touch in mine:
            if t > frame:
                before |= touch & ((1 << (t - frame)) - 1)
            if t >= frame:
                same |= touch & (1 << (t - frame))
        fresh = ~contact & ~before
        caught |= blow.caught & fresh
        lost |= blow.hurts & fresh & ~(same if _i_win(actor, target, blow.hit) else 0)
        lost |= blow.blocked & fresh & ~same
        contact |= blow.hurts | blow.taken | blow.caught | blow.blocked
    return lost, caught, contact


def _i_win(actor: Actor, target: Target, number: int) -> bool:
    """Whether my attack wins when both land on one frame."""
    levels = actor.conventions.levels
    first = actor.move.hits[0].level if actor.move.hits else None
    if first is None:
        return False
    pair = (levels[first].kind, levels[target.side.option.hits[number].level or ""].kind)
    usual = "first" if pair == ("strike", "throw") else ""
    return (actor.conventions.same_frame.get(pair) or usual) == "first"


def shifted(side: Side, frames: int) -> Side:
    """The side on a clock that starts ``frames`` later."""
    return replace(side, free_at=side.free_at - frames, prior_frame=side.prior_frame + frames)


def lands(exchange: Exchange, opens: int, over: int) -> bool:
    """Whether my option gets them, by a hit or a catch, on a frame from ``opens`` to ``over``."""
    if not exchange.decided or exchange.frame is None or not opens <= exchange.frame <= over:
        return False
    return (exchange.by == "me" and exchange.effect in LANDS) or (
        exchange.by == "them" and exchange.effect == "parried"
    )


def _walked(actor: Actor, target: Target, distance: int, most: int) -> Met:
    """By ``meet``, one beginning after the other; what is not decided counts as touched and not covered."""
    covers = late = touches = 0
    over = target.begins + (target.side.option.total or FOREVER)
    for n in range(most + 1):
        them = shifted(target.side, n)
        now = meet(actor.conventions, Side(option=actor.move), them, distance)
        if lands(now, target.opens - n, over - n):
            covers |= 1 << n
        inside = not now.decided or now.armoured is None or any(f <= actor.total for _, f in now.armoured)
        if inside or (now.by != "none" and (now.frame is None or now.frame <= actor.total)):
            touches |= 1 << n
        waited = meet(actor.conventions, Side(option=actor.move, delay=n), target.side, distance)
        if lands(waited, target.opens, over):
            late |= 1 << n
    return Met(covers, late & covers, touches)

