"""Execution: what the chances to come off do to a game.

An option that does not come off is worth another row of the game, its miss: row i becomes
p_i A_i + (1 - p_i) M_i. The chance itself comes from the timing window and the player's spread (``success``)
or from lab trials (``advisor.solver.intervals``).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.solver.matrix import game_matrix
from advisor.solver.mixes import Array, chances_of
from advisor.solver.quantities import refused
from advisor.solver.timing import success

__all__ = ["executed", "missed_matrix", "success"]


def executed(payoff: object, chance: Sequence[float] | Array | float, missed: object) -> Array:
    """The game as it is when option i comes off with chance p_i: row i is p_i A_i + (1 - p_i) M_i.

    Shape: payoff m x n; ``chance`` m probabilities or one for all; ``missed`` m x n, or one row of n that
    every miss is worth. Returns m x n. Units: payoffs.
    Errors: NotSolvable for a payoff that is no game, QuestionError for chances or misses that do not fit.
    """
    matrix = game_matrix(payoff)
    p = chances_of(chance, matrix.shape[0], "the chance that an option comes off")[:, None]
    return np.asarray(p * matrix + (1 - p) * missed_matrix(missed, matrix))


def missed_matrix(missed: object, matrix: Array) -> Array:
    """What each option is worth when it does not come off, as m x n; a single row stands for all.

    Errors: QuestionError when it does not fit the game, NotSolvable when it holds no finite numbers.
    """
    worth = game_matrix([missed] if np.ndim(missed) == 1 else missed)  # type: ignore[arg-type]
    if worth.shape == (1, matrix.shape[1]):
        return np.repeat(worth, matrix.shape[0], axis=0)
    if worth.shape != matrix.shape:
        raise refused(
            f"the misses are {worth.shape[0]} x {worth.shape[1]}, the game {matrix.shape[0]} x {matrix.shape[1]}",
            "a row for every option, or one row for all",
        )
    return worth
