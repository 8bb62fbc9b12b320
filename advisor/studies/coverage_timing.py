"""Timings over several replies: which delay covers most at once, how wide that is, and the chance to hit it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import Struct

from advisor.solver.timing import success
from advisor.studies.weighing import FrameRun, runs_of

__all__ = ["Timing", "best_timing", "longest", "success_of"]


class Timing(Struct, frozen=True, kw_only=True):
    """The replies covered by one and the same delay, and the delays that do so."""

    covers: tuple[str, ...]
    windows: tuple[FrameRun, ...]

    @property
    def width(self) -> int:
        """Frames of the longest run."""
        return longest(self.windows)

    @property
    def aim(self) -> int | None:
        """The delay in the middle of the longest run, the earlier of two."""
        if not self.windows:
            return None
        run = max(self.windows, key=lambda r: r.width)
        return (run.first + run.last) // 2


def longest(runs: Sequence[FrameRun]) -> int:
    """Frames of the longest run; 0 when there is none."""
    return max((run.width for run in runs), default=0)


def success_of(width: int, spread: float | None) -> float | None:
    """Chance to hit a window of ``width`` frames aimed at its middle: ``2 Phi((w/2) / spread) - 1``.

    ``spread`` is the standard deviation of the player's timing in frames; None gives None.
    """
    return None if spread is None else success(width, spread)


def best_timing(covered: Mapping[str, Sequence[FrameRun]]) -> Timing:
    """The delay that covers most replies at once; of equals the one with the longest run.

    ``covered`` has the delays that cover each reply. The windows hold every delay that covers all of the
    replies named, so the timing is empty when nothing is covered anywhere.
    """
    at: dict[int, set[str]] = {}
    for reply, runs in covered.items():
        for run in runs:
            for delay in range(run.first, run.last + 1):
                at.setdefault(delay, set()).add(reply)
    if not at:
        return Timing(covers=(), windows=())
    most = max(len(replies) for replies in at.values())
    found = []
    for replies in {frozenset(r) for r in at.values() if len(r) == most}:
        windows = tuple(runs_of(delay for delay, there in at.items() if replies <= there))
        order = tuple(reply for reply in covered if reply in replies)
        found.append(Timing(covers=order, windows=windows))
    return min(found, key=lambda t: (-t.width, t.windows[0].first, t.covers))
