"""A player's timing spread from lab trials at windows of known width.

Each try aimed at the middle of a window of width w succeeds with P = 2 Phi(w / (2 sigma)) - 1, so trials
at any widths have one likelihood in sigma. It has a single peak in log sigma (log P and log(1 - P) are
both concave there), found as the zero of its slope; the interval is the likelihood-ratio one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from msgspec import Struct

from advisor.solver.intervals import Trials
from advisor.solver.mixes import Array
from advisor.solver.quantities import chance_of, positive_number, refused

__all__ = ["SpreadEstimate", "spread_from_trials"]


class SpreadEstimate(Struct, frozen=True, kw_only=True):
    """Timing spread sigma. Units: those of the windows (frames as a rule).

    ``spread`` is the likeliest; None when every try came off (``low`` is 0, ``high`` a one-sided bound) or
    none did (``low`` is a one-sided bound, ``high`` None: without end). Otherwise ``low`` to ``high`` is the
    two-sided interval. ``tries`` counts them all.
    """

    spread: float | None
    low: float
    high: float | None
    confidence: float
    tries: int


def spread_from_trials(trials: Iterable[tuple[float, int, int]], confidence: float = 0.95) -> SpreadEstimate:
    """The likeliest timing spread behind ``(window, successes, tries)`` rows, with its interval.

    The two-sided interval holds each sigma with 2 (l_max - l) <= the chi-squared quantile, 1 degree of
    freedom. One-sided bounds are exact: the sigma at which the trials as they came have the chance
    1 - confidence. Units: windows in frames, above 0; spread likewise.
    Errors: QuestionError for windows, counts or a confidence that are none, or no tries at all.
    """
    level = chance_of(confidence, "the confidence", inside=True)
    seen = _Seen(trials)
    if not seen.failures.any():
        high = seen.where(lambda s: seen.log_chance(s) - math.log(1 - level))
        return SpreadEstimate(spread=None, low=0.0, high=high, confidence=level, tries=seen.tries)
    if not seen.successes.any():
        low = seen.where(lambda s: math.log(1 - level) - seen.log_chance(s))
        return SpreadEstimate(spread=None, low=low, high=None, confidence=level, tries=seen.tries)
    best = seen.where(seen.slope)
    drop = float(_special().chdtri(1, 1 - level)) / 2
    floor = seen.log_chance(math.log(best)) - drop
    low = seen.where(lambda s: floor - seen.log_chance(s), high=math.log(best))
    high = seen.where(lambda s: seen.log_chance(s) - floor, low=math.log(best))
    return SpreadEstimate(spread=best, low=low, high=high, confidence=level, tries=seen.tries)


class _Seen:
    """The trials as arrays, and their log-likelihood as a function of s = log sigma."""

    def __init__(self, trials: Iterable[tuple[float, int, int]]) -> None:
        rows = [(positive_number(window, "the window"), Trials(k, n)) for window, k, n in trials]
        rows = [row for row in rows if row[1].tries]
        if not rows:
            raise refused("there are no tries to learn a spread from", "rows of window, successes, tries")
        self.halves: Array = np.array([window / 2 for window, _ in rows])
        self.successes: Array = np.array([float(t.successes) for _, t in rows])
        self.failures: Array = np.array([float(t.tries - t.successes) for _, t in rows])
        self.tries = sum(t.tries for _, t in rows)

    def _tails(self, s: float) -> tuple[Array, Array, Array]:
        """x = w / (2 sigma), log P, log(1 - P). Shapes: one number a row."""
        x = self.halves / math.exp(s)
        inside = np.log(np.maximum(_special().erf(x / math.sqrt(2)), 1e-300))
        return x, inside, math.log(2) + _special().log_ndtr(-x)

    def log_chance(self, s: float) -> float:
        """sum of k log P + (n - k) log(1 - P)."""
        _, inside, outside = self._tails(s)
        return float(self.successes @ inside + self.failures @ outside)

    def slope(self, s: float) -> float:
        """Its derivative: 2 x phi(x) ((n - k) / (1 - P) - k / P), summed."""
        x, inside, outside = self._tails(s)
        log_density = math.log(2) + np.log(x) - x * x / 2 - math.log(2 * math.pi) / 2
        return float(self.failures @ np.exp(log_density - outside) - self.successes @ np.exp(log_density - inside))

    def where(self, falls: Callable[[float], float], low: float | None = None, high: float | None = None) -> float:
        """The sigma at which a function that falls with s crosses zero, between ``low`` and ``high`` (in s).

        An end that is left out is looked for, outwards from the windows' own scale.
        """
        from scipy.optimize import brentq

        start, stop = math.log(self.halves.min()), math.log(self.halves.max())
        start = low if low is not None else start if high is None else min(start, high)
        stop = high if high is not None else max(start, stop)
        while low is None and falls(start) < 0:
            start -= 1.0
        while high is None and falls(stop) > 0:
            stop += 1.0
        return math.exp(brentq(falls, start, stop, xtol=1e-13))


def _special() -> Any:
    from scipy import special

    return special
