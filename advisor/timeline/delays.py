"""How the outcome of an exchange changes when one side delays its option: a list of delay intervals.

Equal to calling ``meet`` at every delay, but worked out over windows: where the struck side can be
touched is a list of runs, laid under the sliding active window once for all delays. What that does not
cover (armour, most unknown properties) goes to ``meet``, only at delays where something can change.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import msgspec
from msgspec import Struct

from advisor.pack.model import Conventions
from advisor.timeline.body import NOTHING
from advisor.timeline.exchange import SAME_FRAME, Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.timeline.sliding import Away, Piece, beside, endless_side, my_touches, perhaps_stepped, their_touches
from advisor.timeline.touching import Touch

__all__ = ["DelayWindow", "delay_windows"]


class DelayWindow(Struct, frozen=True, kw_only=True):
    """Delays ``first`` to ``last`` (both included) of my option that end alike.

    ``by`` and ``effect`` are as in ``Exchange``; ``unknown`` when ``missing`` properties would decide.
    ``frame`` is the common frame of the deciding contact at delay ``first``, None without one or when it is
    unknown. ``phase``, ``posture``, ``breakable`` are of the struck side at delay ``first``, ``held`` says
    that it is not yet free then.

    Units: frames.
    """

    first: int
    last: int
    by: str
    effect: str
    frame: int | None = None
    missing: frozenset[str] = NOTHING
    phase: str | None = None
    posture: str | None = None
    breakable: bool | None = None
    held: bool = False

    @property
    def width(self) -> int:
        return self.last - self.first + 1


Ending = tuple[int, int, str, str, int | None, frozenset[str], Touch | None]
"""First and last delay, by, effect, frame of contact at the first, what is missing, the deciding touch."""


def delay_windows(
    conventions: Conventions,
    me: Side,
    them: Side,
    distance: int | None,
    most: int,
    *,
    nearest: int = 0,
    farthest: int | None = None,
    fine: bool = False,
) -> list[DelayWindow]:
    """The outcome over my delays 0 to ``most`` as intervals in order, without holes.

    Neighbours differ in ``by``, ``effect`` or ``missing``; with ``fine`` also where the struck side's phase,
    posture, ``breakable`` or ``held`` changes. The delay takes the place of that of ``me``.

    Units: frames; ``distance``, ``nearest`` and ``farthest`` in micro-units, as for ``meet``.
    """
    away = (distance, nearest, farthest)
    alone = not them.option.hits
    mine = my_touches(conventions, me, them, away, most, alone=alone)
    if mine is None and alone:
        mine = perhaps_stepped(conventions, me, them, away, most)
    endless = endless_side(me) if mine is not None and not alone else None
    theirs = their_touches(conventions, endless or me, them, away, most) if mine is not None else None
    if mine is None or theirs is None:
        return _windows(_by_meeting(conventions, me, them, away, 0, most), fine)
    if endless is not None:
        return _windows(_perhaps_over(conventions, me, them, away, mine, theirs, most), fine)
    if not theirs:
        return _windows(_unanswered(mine, most), fine)
    return _windows(_compared(conventions, mine, theirs, most), fine)


def _windows(endings: Iterable[Ending], fine: bool) -> list[DelayWindow]:
    """Neighbours that end alike made one window."""
    out: list[DelayWindow] = []
    first = last = -1
    by = effect = ""
    frame: int | None = None
    missing = NOTHING
    touch: Touch | None = None
    for ending in endings:
        if ending[2] == by and ending[3] == effect and ending[5] == missing and (not fine or ending[6] == touch):
            last = ending[1]
            continue
        if by:
            out.append(_window(first, last, by, effect, frame, missing, touch))
        first, last, by, effect, frame, missing, touch = ending
    out.append(_window(first, last, by, effect, frame, missing, touch))
    return out


def _window(
    first: int, last: int, by: str, effect: str, frame: int | None, missing: frozenset[str], touch: Touch | None
) -> DelayWindow:
    if touch is None:
        breakable = None if by == "unknown" else False
        return DelayWindow(
            first=first, last=last, by=by, effect=effect, frame=frame, missing=missing, breakable=breakable
        )  # fmt: skip
    return DelayWindow(
        first=first, last=last, by=by, effect=effect, frame=frame, missing=missing,
        phase=touch.phase, posture=touch.posture, breakable=touch.breakable, held=touch.held,
    )  # fmt: skip


def _unanswered(mine: list[Piece], most: int) -> Iterator[Ending]:
    """The outcome when nothing of theirs can touch."""
    at = 0
    for first, last, frame, slope, touch, needs, sure in mine:
        if first > at:
            yield at, first - 1, "none", "none", None, NOTHING, None
        at = last + 1
        if needs:
            yield first, last, "unknown", "unknown", None, needs, None
        else:
            yield first, last, "me", touch.effect, frame + slope * first if sure else None, NOTHING, touch
    if at <= most:
        yield at, most, "none", "none", None, NOTHING, None


def _compared(
    conventions: Conventions, mine: list[Piece], theirs: list[Piece], most: int
) -> Iterator[Ending]:
    """Both sides' contacts over the delays against each other."""
    for lo, hi, a, b in beside(mine, theirs, most):
        yield from _beside(conventions, a, b, lo, hi)


def _beside(
    conventions: Conventions, a: Piece | None, b: Piece | None, lo: int, hi: int
) -> Sequence[Ending]:
    """The endings on delays on which both sides have one piece, or none."""
    if a is None and b is None:
        return ((lo, hi, "none", "none", None, NOTHING, None),)
    if a is None or b is None or (a.slope == b.slope and a.at != b.at):
        return (_decided(conventions, a, b, lo, hi),)
    return [_decided(conventions, a, b, first, last) for first, last in _ordered(a, b, lo, hi)]


def _perhaps_over(
    conventions: Conventions, me: Side, them: Side, away: Away, mine: list[Piece], theirs: list[Piece], most: int
) -> Iterator[Ending]:
    """The same when it is unknown how long I recover: ``theirs`` are contacts as if that never ended.

    That matters only where they touch me after my last active frame, and nothing of mine that is sure comes first.
    """
    stop = timeline_of(me.option).last_stop
    assert stop is not None
    last = max(them.begins + (hit.active_stop or 0) - 1 for hit in them.option.hits) - me.free_at - stop
    for lo, hi, a, b in beside(mine, theirs, most):
        known = last + 1
        if b is not None:
            # Their contact falls on my own frame at - free_at - delay; with a slope of 1, always on the same.
            within = b.at - me.free_at - stop
            known = min(known, within + 1) if b.slope == 0 else (lo if within < 0 else known)
        open_ = min(hi, known - 1)
        if lo <= open_:
            if a is not None and not a.needs:
                yield _decided(conventions, a, None, lo, open_)
            else:
                yield from _by_meeting(conventions, me, them, away, lo, open_)
        if max(lo, known) <= hi:
            yield from _beside(conventions, a, b, max(lo, known), hi)


def _ordered(a: Piece, b: Piece, lo: int, hi: int) -> Iterable[tuple[int, int]]:
    """The delays cut where the order of the two contacts changes."""
    if a.slope == b.slope:
        return ((lo, hi),)
    turn = (b.at - a.at) // (a.slope - b.slope)
    if turn < lo or turn > hi:
        return ((lo, hi),)
    runs = ((lo, turn - 1), (turn, turn), (turn + 1, hi))
    return [(first, last) for first, last in runs if first <= last]


def _decided(
    conventions: Conventions, a: Piece | None, b: Piece | None, first: int, last: int
) -> Ending:
    """How contacts ``a`` (mine) and ``b`` end on delays on which their order is the same."""
    by, effect, piece = _first_of(conventions, a, b, first)
    if (a is not None and a.needs) or (b is not None and b.needs):
        needs = (a.needs if a is not None else NOTHING) | (b.needs if b is not None else NOTHING)
        ours = [a, None] if a is not None and a.needs else [a]
        others = [b, None] if b is not None and b.needs else [b]
        ends = {_first_of(conventions, one, two, first)[:2] for one in ours for two in others}
        if len(ends) > 1:
            return first, last, "unknown", "unknown", None, needs, None
    if piece is not None:
        at = piece.at + piece.slope * first if piece.sure else None
        return first, last, by, effect, at, NOTHING, piece.touch
    at = None if by == "none" or a is None else a.at + a.slope * first
    return first, last, by, effect, at, NOTHING, None


def _first_of(
    conventions: Conventions, a: Piece | None, b: Piece | None, delay: int
) -> tuple[str, str, Piece | None]:
    """Which contact decides at a delay; the same-frame rules are those of ``meet``."""
    if a is None or b is None:
        if a is not None:
            return "me", a.touch.effect, a
        return ("them", b.touch.effect, b) if b is not None else ("none", "none", None)
    ahead = b.at + b.slope * delay - a.at - a.slope * delay
    if ahead:
        return ("me", a.touch.effect, a) if ahead > 0 else ("them", b.touch.effect, b)
    one, two = a.touch.effect, b.touch.effect
    caught = (one == "parried", two == "parried")
    landed = (one in ("hit", "counter_hit"), two in ("hit", "counter_hit"))
    if all(caught) or not (any(caught) or any(landed)):
        return "both", "break", None
    if any(caught) or not all(landed):
        mine = caught[0] if any(caught) else landed[0]
        return ("me", one, a) if mine else ("them", two, b)
    kinds = (a.touch.kind, b.touch.kind)
    rule = conventions.same_frame.get(kinds) or SAME_FRAME[kinds]
    if rule in ("trade", "break"):
        return "both", rule, None
    return ("me", one, a) if rule == "first" else ("them", two, b)


def _by_meeting(
    conventions: Conventions, me: Side, them: Side, away: Away, lo: int, hi: int
) -> Iterator[Ending]:
    """The outcome by ``meet`` on delays ``lo`` to ``hi``, at each at which it can differ from the one before."""
    distance, nearest, farthest = away
    turns = _turns(me, them, lo, hi)
    for first, stop in zip(turns, [*turns[1:], hi + 1], strict=True):
        late = msgspec.structs.replace(me, delay=first)
        met = meet(conventions, late, them, distance, nearest=nearest, farthest=farthest)
        yield _met(met, me, them, first, stop - 1)


def _turns(me: Side, them: Side, lo: int, hi: int) -> list[int]:
    """Delays at which the order of any two of the events of both sides can change; ``lo`` is the first.

    The outcome hangs on the order of the edges of windows alone as long as nobody moves. Where the frame of a
    contact is not sure its latest lies one before an edge, so then the delays next to each change count too.
    """
    mine, theirs = timeline_of(me.option), timeline_of(them.option)
    if (mine.moves or theirs.moves) and None not in (mine.moves, theirs.moves):
        return list(range(lo, hi + 1))
    fixed = {1, me.free_at + 1, them.free_at + 1}
    fixed |= {them.begins + e for e in _events(them)}
    for side in (me, them):
        if side.prior is not None:
            fixed |= {e - side.prior_frame for e in timeline_of(side.prior).edges}
    moving = {me.free_at + e for e in _events(me)}
    sure = mine.moves is False and theirs.moves is False and _windows_known(me) and _windows_known(them)
    near = {f - m + k for f in fixed for m in moving for k in ((0, 1) if sure else (-1, 0, 1, 2))}
    return [lo, *sorted(d for d in near if lo < d <= hi)]


def _windows_known(side: Side) -> bool:
    return all(hit.first_active is not None and hit.active_stop is not None for hit in side.option.hits)


def _events(side: Side) -> set[int]:
    """Own frames at which something about an option begins or ends."""
    events = set(timeline_of(side.option).edges)
    for hit in side.option.hits:
        for edge in (hit.first_active, hit.active_stop):
            if edge is not None:
                events.add(edge)
        if hit.first_active is not None and hit.active_stop is None:
            events.add(hit.first_active + 1)
    return events


def _met(met: Exchange, me: Side, them: Side, first: int, last: int) -> Ending:
    struck = {"me": them, "them": me}.get(met.by)
    touch = None
    if struck is not None:
        held = met.frame is not None and met.frame <= struck.free_at
        touch = Touch(met.effect, met.phase, met.posture, met.breakable, held, "")
    return first, last, met.by, met.effect, met.frame, met.missing, touch
