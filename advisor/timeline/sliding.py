"""First contacts over all delays at once: an active window slides along the runs on which a body can be touched.

One side delays its option. Its own window slides later over the other's runs, which stand still; the
other's window stands still while the runs of the delaying side slide under it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import msgspec

from advisor.pack.model import Conventions, Hit, Move
from advisor.timeline.body import NOTHING
from advisor.timeline.side import Side, timeline_of
from advisor.timeline.touching import ARMOURED, EVER, Run, Touch, held_runs, standing, surface_of
from advisor.units import FOREVER

__all__ = ["Away", "Piece", "beside", "endless_side", "my_touches", "perhaps_stepped", "their_touches"]


class Piece(NamedTuple):
    """On delays ``first`` to ``last`` a side touches on common frame ``at + slope * delay``.

    ``needs`` names the unknown properties without which it would miss; ``sure`` is False when they leave
    only the frame open.
    """

    first: int
    last: int
    at: int
    slope: int
    touch: Touch
    needs: frozenset[str]
    sure: bool = True


class Swing(NamedTuple):
    """An active window on own frames, the distance beyond its reach, and what its reach hangs on."""

    start: int
    stop: int
    hit: Hit
    gap: int
    needs: frozenset[str]


Away = tuple[int | None, int, int | None]


def _swings(
    conventions: Conventions, side: Side, other: Side, away: Away, by: str, hits: Sequence[Hit]
) -> list[Swing] | None:
    """The active windows of a side that can reach; None when they hang on too much."""
    distance, nearest, farthest = away
    theirs = timeline_of(other.option)
    if theirs.moves is None:
        return None
    key = (id(side.option), distance)
    kept = _SWINGS.get(key)
    if kept is not None and kept[0] is side.option and kept[1] is hits and kept[2] is conventions:
        return kept[3]
    mine = timeline_of(side.option)
    if mine.moves is None:
        return None
    still = not mine.moves and not theirs.moves
    out: list[Swing] = []
    for hit in hits:
        if hit.first_active is None or hit.active_stop is None or hit.level not in conventions.levels:
            return None
        if distance is not None and hit.reach is not None:
            if not mine.moves:
                out.append(Swing(hit.first_active, hit.active_stop, hit, distance - hit.reach, NOTHING))
                continue
            for start, stop, moved in _steps(mine.moved, hit.first_active, hit.active_stop):
                out.append(Swing(start, stop, hit, distance - moved - hit.reach, NOTHING))
            continue
        if not still and (distance is None or other.option.hits):
            return None  # which frames reach hangs on more than yes or no
        if hit.reach is not None and farthest is not None and hit.reach >= farthest:
            out.append(Swing(hit.first_active, hit.active_stop, hit, -EVER, NOTHING))
        elif hit.reach is None or hit.reach >= nearest:
            if len(hits) > 1:
                return None
            needs = {f"{by}.reach"} if hit.reach is None else set()
            needs |= {"situation.distance"} if distance is None else set()
            out.append(Swing(hit.first_active, hit.active_stop, hit, -EVER, frozenset(needs)))
    if distance is not None and all(hit.reach is not None for hit in hits):
        if len(_SWINGS) >= _KEEP:
            _SWINGS.clear()
        _SWINGS[key] = (side.option, hits, conventions, out)
    return out


_SWINGS: dict[tuple[int, int | None], tuple[Move, Sequence[Hit], Conventions, list[Swing]]] = {}
_KEEP = 20_000


def _unspent(pieces: list[Piece]) -> list[Piece] | None:
    """Without the contacts that armour takes, after which a single hit has nothing more to give.

    None when it is not sure that it takes one.
    """
    if any(piece.needs and piece.touch.effect == ARMOURED for piece in pieces):
        return None
    return [piece for piece in pieces if piece.touch.effect != ARMOURED]


def _steps(moved: Callable[[int], int], start: int, stop: int) -> Iterator[tuple[int, int, int]]:
    """Runs of own frames on which the option has moved equally far."""
    begun, far = start, moved(start)
    for own in range(start + 1, stop):
        now = moved(own)
        if now != far:
            yield begun, own, far
            begun, far = own, now
    yield begun, stop, far


def my_touches(
    conventions: Conventions,
    me: Side,
    them: Side,
    away: Away,
    most: int,
    hits: Sequence[Hit] = (),
    *,
    alone: bool = False,
) -> list[Piece] | None:
    """My first contact over my delays 0 to ``most``; None when it hangs on too much.

    ``hits`` replaces my own; ``alone`` leaves out how the frame of a contact moves within a piece.

    Units: frames.
    """
    if not me.option.hits:
        return []
    swings = _swings(conventions, me, them, away, "mine", hits or me.option.hits)
    if swings is None:
        return None
    target = standing(conventions, them)
    if them.option.armour and len(me.option.hits) > 1:
        return None
    alone = alone and len(swings) == 1
    out: list[Piece] = []
    for swing in swings:
        runs = target.runs(swing.hit, swing.gap)
        if runs is None:
            return None
        fresh = _sweeping(runs, me.free_at + swing.start, me.free_at + swing.stop, most, swing.needs, alone)
        out = _behind(out, fresh, most)
    return _unspent(out) if them.option.armour else out


def _sweeping(
    runs: tuple[Run, ...], start: int, stop: int, most: int, needs: frozenset[str], alone: bool
) -> list[Piece]:
    """First contacts of my window, ``[start, stop)`` at delay 0, with runs that stand still."""
    out: list[Piece] = []
    passed = -EVER  # the first delay at which the window has left the runs before
    for lo, hi, touch in runs:
        first = lo - stop + 1
        if first < passed:
            first = passed
        if first > most:
            break
        passed = last = hi - start
        if last <= 0:
            continue
        first, last = max(first, 0), min(last - 1, most)
        turn = lo - start  # up to this delay the window has begun before the run
        if alone:
            if first <= last:
                out.append(Piece(first, last, max(lo, start + first), 0, touch, needs))
            continue
        if first <= min(last, turn):
            out.append(Piece(first, min(last, turn), lo, 0, touch, needs))
        if max(first, turn + 1) <= last:
            out.append(Piece(max(first, turn + 1), last, start, 1, touch, needs))
    return out


def perhaps_stepped(
    conventions: Conventions, me: Side, them: Side, away: Away, most: int
) -> list[Piece] | None:
    """My first contact when it is not known to which sides my only hit tracks, and nothing of theirs answers."""
    if len(me.option.hits) != 1 or me.option.hits[0].tracks is not None or them.option.armour:
        return None
    ways = [msgspec.structs.replace(me.option.hits[0], tracks=frozenset(t)) for t in (("left", "right"), ())]
    found = [my_touches(conventions, me, them, away, most, [hit]) for hit in ways]
    if found[0] is None or found[1] is None:
        return None
    steps = [step.span for step in them.option.sidestep or ()]
    runs = surface_of(conventions, them.option).runs(ways[0], -EVER)
    if len({t.effect for lo, hi, t in runs for s in steps if lo < s.stop and s.start < hi}) > 1:
        return None
    out: list[Piece] = []
    for first, last, tracks, misses in beside(found[0], found[1], most):
        if tracks is None:
            continue
        same = misses is not None and (misses.at, misses.slope) == (tracks.at, tracks.slope)
        if same or (misses is not None and not tracks.needs and misses.touch.effect == tracks.touch.effect):
            assert misses is not None
            out.append(misses._replace(first=first, last=last, sure=same))
        else:
            out.append(tracks._replace(first=first, last=last, needs=tracks.needs | {"mine.tracking"}))
    return out


_ENDLESS: dict[int, tuple[Move, Move]] = {}


def endless_side(side: Side) -> Side | None:
    """The side as if its recovery never ended; None when it is known when it does, or when that starts.

    What touches it up to its last active frame is the same.
    """
    option = side.option
    if option.total is not None or timeline_of(option).last_stop is None:
        return None
    kept = _ENDLESS.get(id(option))
    if kept is None or kept[0] is not option:
        if len(_ENDLESS) >= _KEEP:
            _ENDLESS.clear()
        kept = _ENDLESS[id(option)] = (option, msgspec.structs.replace(option, total=FOREVER))
    return msgspec.structs.replace(side, option=kept[1])


def their_touches(
    conventions: Conventions, me: Side, them: Side, away: Away, most: int
) -> list[Piece] | None:
    """Their first contact over my delays: my runs slide under their window, which stands still."""
    if not them.option.hits:
        return []
    swings = _swings(conventions, them, me, away, "theirs", them.option.hits)
    surface = surface_of(conventions, me.option)
    if swings is None or not all(surface.plain(swing.hit) for swing in swings):
        return None
    if me.option.armour and len(them.option.hits) > 1:
        return None
    out: list[Piece] = []
    for swing in swings:
        held = held_runs(conventions, me, swing.hit, swing.gap)
        if held is None:
            return None
        start, stop = max(1, them.begins + swing.start), them.begins + swing.stop
        touched = next(((max(start, lo), touch) for lo, hi, touch in held if start < hi and lo < stop), None)
        if touched is not None:
            fresh = [Piece(0, most, touched[0], 0, touched[1], swing.needs)]
        else:
            runs = surface.runs(swing.hit, swing.gap)
            fresh = _sliding(runs, me.free_at, max(start, me.free_at + 1), stop, most, swing.needs)
        out = _behind(out, fresh, most)
    return _unspent(out) if me.option.armour else out


def _sliding(
    runs: tuple[Run, ...], free_at: int, start: int, stop: int, most: int, needs: frozenset[str]
) -> list[Piece]:
    """First contacts of the window ``[start, stop)`` with my runs, which begin the later the longer I wait."""
    out: list[Piece] = []
    if start >= stop:
        return out
    passed = EVER
    for lo, hi, touch in runs:
        first = max(start - free_at - hi + 1, 0)
        last = min(stop - free_at - lo - 1, passed, most)
        passed = start - free_at - hi
        turn = start - free_at - lo  # up to this delay the run has begun before the window
        if first <= min(last, turn):
            out.append(Piece(first, min(last, turn), start, 0, touch, needs))
        if max(first, turn + 1) <= last:
            out.append(Piece(max(first, turn + 1), last, free_at + lo, 1, touch, needs))
    return sorted(out, key=lambda piece: piece.first)


def _behind(done: list[Piece], fresh: list[Piece], most: int) -> list[Piece]:
    """The pieces of a later window on the delays on which no earlier one touches."""
    if not done:
        return fresh
    holes = list(_holes(done, most))
    out = list(done)
    for piece in fresh:
        for lo, hi in holes:
            first, last = max(piece.first, lo), min(piece.last, hi)
            if first <= last:
                out.append(piece._replace(first=first, last=last))
    return sorted(out, key=lambda piece: piece.first)


def _holes(pieces: Sequence[Piece], most: int) -> Iterator[tuple[int, int]]:
    """Delays on which no piece holds, as inclusive runs."""
    at = 0
    for piece in pieces:
        if piece.first > at:
            yield at, piece.first - 1
        at = piece.last + 1
    if at <= most:
        yield at, most


def beside(
    mine: list[Piece], theirs: list[Piece], most: int
) -> Iterator[tuple[int, int, Piece | None, Piece | None]]:
    """Runs of delays, inclusive, with the piece of either list that holds there."""
    i = j = lo = 0
    while lo <= most:
        while i < len(mine) and mine[i].last < lo:
            i += 1
        while j < len(theirs) and theirs[j].last < lo:
            j += 1
        a = mine[i] if i < len(mine) else None
        b = theirs[j] if j < len(theirs) else None
        hi = most
        if a is not None:
            if a.first <= lo:
                end = a.last
            else:
                end, a = a.first - 1, None
            if end < hi:
                hi = end
        if b is not None:
            if b.first <= lo:
                end = b.last
            else:
                end, b = b.first - 1, None
            if end < hi:
                hi = end
        yield lo, hi, a, b
        lo = hi + 1
