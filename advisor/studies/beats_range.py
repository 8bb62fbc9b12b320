"""The distances over which an exchange ends the same: it can only change where some attack just reaches."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from advisor.pack.model import Conventions, Hit
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of

__all__ = ["same_over"]

MOST_POINTS = 400


def same_over(
    conventions: Conventions, me: Side, them: Side, distance: int, same: Callable[[Exchange], bool]
) -> tuple[int | None, int | None] | None:
    """Bounds of the run of distances around ``distance`` over which ``same`` holds of the exchange.

    The lower bound is excluded, the upper included; None: no bound on that side. None instead of
    both when a reach, a movement or a frame is unknown, or ``same`` does not hold at ``distance``.

    An attack touches at a distance D on frame f when D <= reach + what both have moved by f, so with
    those sums in order the exchange is the same on each run between two of them.

    Units: micro-units.
    """
    points = _points(me, them)
    if points is None or not same(meet(conventions, me, them, distance)):
        return None
    at = next((i for i, point in enumerate(points) if point >= distance), len(points))
    low = high = at
    while high < len(points) and same(meet(conventions, me, them, _inside(points, high + 1))):
        high += 1
    while low > 0 and same(meet(conventions, me, them, points[low - 1])):
        low -= 1
    return (points[low - 1] if low else None), (points[high] if high < len(points) else None)


def _inside(points: list[int], run: int) -> int:
    """A distance of run number ``run``: its upper end, or one beyond all points."""
    return points[run] if run < len(points) else points[-1] + 1


def _points(me: Side, them: Side) -> list[int] | None:
    """Distances at which a hit of either side just reaches on some frame; None when unknown."""
    out: set[int] = set()
    for side, other in ((me, them), (them, me)):
        for hit in side.option.hits:
            found = _touches(side, other, hit)
            if found is None:
                return None
            out.update(point for point in found if point >= 0)
    return sorted(out) if len(out) <= MOST_POINTS else None


def _touches(side: Side, other: Side, hit: Hit) -> list[int] | None:
    mine, theirs = timeline_of(side.option), timeline_of(other.option)
    if None in (hit.reach, hit.first_active, hit.active_stop, mine.moves, theirs.moves):
        return None
    return list(_sums(side, other, hit))


def _sums(side: Side, other: Side, hit: Hit) -> Iterator[int]:
    assert hit.reach is not None and hit.first_active is not None and hit.active_stop is not None
    mine, theirs = timeline_of(side.option), timeline_of(other.option)
    if not mine.moves and not theirs.moves:
        yield hit.reach
        return
    for own in range(hit.first_active, hit.active_stop):
        yield hit.reach + mine.moved(own) + theirs.moved(side.begins + own - other.begins)
