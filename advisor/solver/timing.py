"""The chance to hit a window of a few frames.

A player aims at a window of w frames with normally distributed error; its standard deviation sigma is the
timing spread. Aimed at the middle: P = 2 Phi((w/2) / sigma) - 1.
"""

from __future__ import annotations

import math

from advisor.solver.quantities import positive_number

__all__ = ["success"]


def success(window: float, spread: float, aim_off: float = 0.0) -> float:
    """The chance to hit a window: Phi((w/2 - o) / sigma) - Phi((-w/2 - o) / sigma) for an aim off its middle by o.

    With an aim in the middle that is ``2 Phi((w/2) / sigma) - 1``, or ``erf(w / (2 sigma sqrt 2))``. Without
    spread it is 1 inside the window, 1/2 on its edge, 0 outside. Units: all three alike, frames as a rule.
    Errors: QuestionError for a window or spread below 0 or a number that is not finite.
    """
    half = positive_number(window, "the window", zero=True) / 2
    sigma = positive_number(spread, "the spread", zero=True) * math.sqrt(2)
    off = positive_number(abs(aim_off), "the aim's distance from the middle", zero=True)
    if not half:
        return 0.0
    if not sigma:
        return 1.0 if off < half else 0.5 * (off == half)
    if not off:
        return math.erf(half / sigma)
    # Of two tails on one side the difference is taken, so that a tiny chance keeps its digits.
    return (math.erfc((off - half) / sigma) - math.erfc((off + half) / sigma)) / 2
