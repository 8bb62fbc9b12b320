"""How far to lean towards a read: the mix that earns most against it while its worst case stays in bounds.

The linear program is

    most  x . (A q)   with   (x A)_j >= lower - loss for every j,  sum(x) = 1,  x >= 0,

with ``lower`` what my equilibrium mix guarantees. A loss of 0 leaves the equilibrium mixes (and the one
of them that earns most), a loss as large as the best response's exposure leaves all of the game.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from advisor.solver.floored import FlooredMix
from advisor.solver.matrix import Equilibrium, game_matrix
from advisor.solver.mixes import Array, mix_of
from advisor.solver.quantities import positive_number, whole_number
from advisor.solver.reads import best_response, equilibrium_of

__all__ = ["Lean", "frontier", "lean"]

MOST_STEPS = 1000


class Lean(Struct, frozen=True, kw_only=True):
    """A mix of mine that leans towards a read. Units: payoffs, but ``rows``, shares that sum to 1.

    ``loss`` is what was allowed; ``earns`` is what the mix earns against the read, ``gain`` that over the
    game's value; ``worst`` what it earns at worst and ``gives_up`` = value - worst (never below 0).
    """

    rows: tuple[float, ...]
    loss: float
    earns: float
    gain: float
    worst: float
    gives_up: float


def lean(payoff: object, mix: Sequence[float], loss: float, equilibrium: Equilibrium | None = None) -> Lean:
    """The mix that earns most against ``mix`` among those whose worst case is at least value - ``loss``.

    Shape: payoff m x n, mix n weights. Units: ``loss`` in payoffs, 0 or more.
    The worst case holds to 1e-9 of the largest absolute payoff.
    Errors: NotSolvable for a matrix that is no game, QuestionError for a mix or loss that is none.
    """
    matrix = game_matrix(payoff)
    q = mix_of(mix, matrix.shape[1], "their mix")
    allowed = positive_number(loss, "the loss allowed", zero=True)
    solved = equilibrium_of(matrix, equilibrium)
    return _Leaning(matrix, q, solved).at(allowed)


def frontier(
    payoff: object, mix: Sequence[float], steps: int = 20, equilibrium: Equilibrium | None = None
) -> list[Lean]:
    """What each allowed loss buys: leans at ``steps`` + 1 losses from 0 to the best response's exposure.

    Earnings rise with the loss and ever more slowly (they are concave in it); the last earns what
    the best response does. Shape, units and errors: as ``lean``; ``steps`` from 1 to 1000.
    """
    parts = whole_number(steps, "the number of steps", 1, MOST_STEPS)
    matrix = game_matrix(payoff)
    q = mix_of(mix, matrix.shape[1], "their mix")
    solved = equilibrium_of(matrix, equilibrium)
    leaning = _Leaning(matrix, q, solved)
    furthest = best_response(matrix, q.tolist(), solved).exposure
    return [leaning.at(furthest * step / parts) for step in range(parts + 1)]


class _Leaning:
    """One game and read, for any number of losses."""

    def __init__(self, matrix: Array, q: Array, solved: Equilibrium) -> None:
        self.matrix, self.earned, self.solved = matrix, matrix @ q, solved
        self.mixes = FlooredMix(matrix, self.earned)

    def at(self, loss: float) -> Lean:
        return self._kept(self.mixes.best(self.solved.lower - loss), loss)

    def _kept(self, rows: Array, loss: float) -> Lean:
        """The mix measured; the equilibrium mix where rounding made it earn less than that."""
        safe = np.array(self.solved.rows)
        if rows @ self.earned < safe @ self.earned:
            rows = safe
        earns, worst = float(rows @ self.earned), float((rows @ self.matrix).min())
        return Lean(
            rows=tuple(rows.tolist()), loss=loss, earns=earns, gain=earns - self.solved.value, worst=worst,
            gives_up=max(0.0, self.solved.value - worst),
        )  # fmt: skip
