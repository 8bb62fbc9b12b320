"""At which success rates the advice changes: one option's chance p runs from 0 to 1, the others keep theirs.

Against a fixed mix of theirs every option earns something linear in p, so orders change at exact crossings.
In equilibrium the option belongs to every optimal mix exactly where

    g(p) = least r(p) . y  over the optimal mixes y of theirs in the game without the option  >  its value,

r(p) = p A_i + (1 - p) M_i. g is concave and piecewise linear, so that is one interval of p, and Newton's
method on g, each step a linear program, ends on its edges in finitely many steps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from advisor.errors import Fault
from advisor.solver.execution import executed, missed_matrix
from advisor.solver.floored import FlooredMix
from advisor.solver.matrix import game_matrix, solve
from advisor.solver.mixes import SAME, Array, chances_of, mix_of
from advisor.solver.quantities import positive_number, whole_number

__all__ = ["Flip", "belongs", "flips"]

SAMPLES = 32
"""Equal steps of p between which the search for changes of the support begins."""

PRESENT = 1e-7
"""An option with a smaller share of the mix is not counted as part of it."""


class Flip(Struct, frozen=True, kw_only=True):
    """A success rate at which the order changes. Units: ``chance`` a probability; options by index.

    ``below`` are the options that lead below that chance, ``above`` those that lead above it: against a
    fixed mix the one of a pair that earns more, in equilibrium the options of my mix. ``leads`` says
    that what is best overall changes there (in equilibrium always).
    """

    chance: float
    below: tuple[int, ...]
    above: tuple[int, ...]
    leads: bool = True


def flips(
    payoff: object,
    missed: object,
    chances: Sequence[float] | float,
    option: int,
    *,
    columns: Sequence[float] | None = None,
    tolerance: float = 1e-6,
) -> list[Flip]:
    """The success rates of ``option`` strictly between 0 and 1 at which my ranking flips, in rising order.

    With ``columns`` (a mix of theirs): each crossing of the option with another, exact. Without: each
    change of the options in my equilibrium mix, to ``tolerance`` in p, by halving between samples a
    thirty-second apart (what comes and goes within one sample is passed over; ``belongs`` is exact for the
    option itself). Where the mix is not unique, the support is that of the one found.
    Shape: payoff and ``missed`` as for ``executed``; ``chances`` m probabilities or one, that of ``option``
    is not used. Errors: as ``executed``; QuestionError for an option or mix that is none.
    """
    varied = _Varied(payoff, missed, chances, option)
    if columns is not None:
        return varied.crossings(mix_of(columns, varied.base.shape[1], "their mix"))
    return varied.changes(max(1e-12, positive_number(tolerance, "the tolerance")))


def belongs(
    payoff: object, missed: object, chances: Sequence[float] | float, option: int
) -> tuple[float, float] | None:
    """The success rates between which every equilibrium mix of mine uses ``option``; None when there are none.

    Outside of them the game is worth no less without it. Exact but for rounding; the ends are those of an
    open interval, cut to 0 and 1. Shape, units and errors: as ``flips``.
    """
    varied = _Varied(payoff, missed, chances, option)
    others = np.delete(varied.at(0.0), varied.option, axis=0)
    if not len(others):
        return 0.0, 1.0
    without = solve(others)
    size = max(float(np.abs(row).max()) for row in (varied.missed, varied.hit, others)) or 1.0
    edge = SAME * size

    def over(p: float) -> tuple[float, float]:
        """g(p) - value and a slope of it."""
        row = varied.row(p)
        # Their mix that concedes no more than the value without it, and least to the option.
        y = FlooredMix(-others.T, -row).best(-without.upper)
        rise = varied.hit - varied.missed
        return float(row @ y) - without.value, float(rise @ y)

    low, high = _edge(over, 0.0, edge), _edge(over, 1.0, edge)
    return (low, high) if low is not None and high is not None and low < high else None


def _edge(over: Callable[[float], tuple[float, float]], start: float, edge: float) -> float | None:
    """From an end of [0, 1] inwards to where a concave function rises above ``edge``; None when it never does."""
    p, inwards = start, 1.0 if start == 0.0 else -1.0
    for _ in range(200):
        height, slope = over(p)
        if height > edge:
            # A tangent never undershoots a concave function, so only the start can be above.
            return p
        if slope * inwards <= 0:
            return None
        ahead = p + inwards * max(abs((edge - height) / slope), 1e-15)
        if not 0 <= ahead <= 1:
            return None
        if abs(ahead - p) <= 1e-12:
            return ahead
        p = ahead
    raise Fault("fault", "the success rate at which an option enters the mix was not found")


class _Varied:
    """The game as a function of one option's success rate."""

    def __init__(self, payoff: object, missed: object, chances: Sequence[float] | float, option: int) -> None:
        matrix = game_matrix(payoff)
        size = matrix.shape[0]
        worth = missed_matrix(missed, matrix)
        self.option = whole_number(option, "the option", 0, size - 1)
        self.base = executed(matrix, chances_of(chances, size, "the chance that an option comes off"), worth)
        self.missed, self.hit = worth[self.option], matrix[self.option]

    def row(self, p: float) -> Array:
        """What the option is worth against each of theirs."""
        return np.asarray(p * self.hit + (1 - p) * self.missed)

    def at(self, p: float) -> Array:
        """The game at success rate ``p``."""
        game = self.base.copy()
        game[self.option] = self.row(p)
        return game

    def crossings(self, q: Array) -> list[Flip]:
        """Where p A_i q + (1 - p) M_i q equals what another option earns against q."""
        earned = self.base @ q
        missed, hit = float(self.missed @ q), float(self.hit @ q)
        rivals = [k for k in range(len(earned)) if k != self.option]
        if hit == missed or not rivals:
            return []
        top = max(earned[k] for k in rivals)
        found = []
        for k in rivals:
            p = (float(earned[k]) - missed) / (hit - missed)
            pair = ((k,), (self.option,)) if hit > missed else ((self.option,), (k,))
            if 0 < p < 1:
                found.append(Flip(chance=p, below=pair[0], above=pair[1], leads=bool(earned[k] == top)))
        return sorted(found, key=lambda flip: (flip.chance, flip.below, flip.above))

    def support(self, p: float) -> tuple[int, ...]:
        """The options of my equilibrium mix at ``p``."""
        return tuple(np.flatnonzero(np.array(solve(self.at(p)).rows) > PRESENT).tolist())

    def changes(self, tolerance: float) -> list[Flip]:
        """Changes of the support, each bracketed to ``tolerance``."""
        # Off the ends and off round fractions, where payoffs of few digits tie.
        marks = [0.5 * tolerance, *((k + 0.0137) / SAMPLES for k in range(SAMPLES)), 1 - 0.5 * tolerance]
        seen = [(p, self.support(p)) for p in marks]
        found: list[Flip] = []
        for before, after in pairwise(seen):
            self._between(before, after, tolerance, found)
        return found

    def _between(
        self, low: tuple[float, tuple[int, ...]], high: tuple[float, tuple[int, ...]], tolerance: float, out: list[Flip]
    ) -> None:
        if low[1] == high[1]:
            return
        if high[0] - low[0] <= tolerance:
            out.append(Flip(chance=(low[0] + high[0]) / 2, below=low[1], above=high[1]))
            return
        p = (low[0] + high[0]) / 2
        middle = (p, self.support(p))
        self._between(low, middle, tolerance, out)
        self._between(middle, high, tolerance, out)
