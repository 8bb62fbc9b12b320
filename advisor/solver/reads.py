"""Reads: what their habits say they will do, what is best against that, and what it costs to be wrong.

A read is a mix of their options with what is known about its uncertainty. Counts with a prior give
a Dirichlet posterior (alpha = prior strength x base mix + counts, mean alpha / sum(alpha)); stated
odds give a mix and no uncertainty. Payoffs are what I gain: rows mine, columns theirs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from advisor.solver.imhof import chance_above_zero
from advisor.solver.matrix import Equilibrium, game_matrix, solve
from advisor.solver.mixes import SAME, Array, counts_of, mix_of
from advisor.solver.quantities import chance_of, positive_number, refused, whole_number

__all__ = [
    "BestResponse",
    "Prior",
    "Read",
    "best_response",
    "chance_read_pays",
    "equilibrium_of",
    "observations_needed",
    "read_from_counts",
    "read_from_odds",
]

MOST_OBSERVATIONS = 1_000_000


class Prior(Struct, frozen=True, kw_only=True):
    """What is thought of them before anything is counted: a Dirichlet distribution.

    ``strength`` is worth so many observations (a total, 0 or more); ``base`` is the mix over which
    it is spread, as weights, for instance their equilibrium mix; left out, every option alike.
    """

    strength: float
    base: tuple[float, ...] | None = None

    def alphas(self, options: int) -> Array:
        """The prior's share of the Dirichlet parameters. Shape: ``options``. Errors: QuestionError."""
        strength = positive_number(self.strength, "the prior's strength", zero=True)
        base = self.base if self.base is not None else (1.0,) * options
        return np.asarray(strength * mix_of(base, options, "the prior's base mix"))


class Read(Struct, frozen=True, kw_only=True):
    """What they are expected to do. Units: shares that sum to 1; ``alphas`` in observations.

    ``alphas`` are the Dirichlet parameters behind the mix (its mean), or None where the odds were
    stated; ``observations`` is how many of them were counted.
    """

    mix: tuple[float, ...]
    alphas: tuple[float, ...] | None = None
    observations: int = 0


class BestResponse(Struct, frozen=True, kw_only=True):
    """What earns most against a read, and what it risks. Units: payoffs; options by index.

    ``option`` is the one of ``options`` (all that earn the same) that loses least at worst.
    ``gain`` = ``earns`` - ``value`` is what the read is worth; ``exposure`` = ``value`` - ``worst`` is
    what a wrong read costs at most, ``worst_reply`` the reply of theirs that does it;
    ``against_equilibrium`` is what the option earns when they play their equilibrium mix after all.
    """

    option: int
    options: tuple[int, ...]
    earns: float
    worst: float
    worst_reply: int
    against_equilibrium: float
    value: float
    gain: float
    exposure: float


def read_from_counts(counts: Sequence[int], prior: Prior) -> Read:
    """The posterior read: mean of Dirichlet(prior + counts).

    Shape: one count an option of theirs. Errors: QuestionError for counts that are no whole numbers
    of 0 or more, a base mix of another length, or no observation and a prior of strength 0.
    """
    counted = counts_of(counts, "the count of their options")
    alphas = prior.alphas(len(counted)) + counted
    if not alphas.sum() > 0:
        raise refused("nothing was observed and the prior has the strength 0", "a count or a prior strength above 0")
    mix = mix_of(alphas, len(alphas), "the read")
    return Read(mix=tuple(mix.tolist()), alphas=tuple(alphas.tolist()), observations=int(counted.sum()))


def read_from_odds(odds: Sequence[float]) -> Read:
    """A read as stated: probabilities or weights in any scale (3, 1 is 75 % and 25 %). Errors: QuestionError."""
    return Read(mix=tuple(mix_of(odds, len(odds), "the stated odds").tolist()))


def best_response(payoff: object, mix: Sequence[float], equilibrium: Equilibrium | None = None) -> BestResponse:
    """What earns most against ``mix``: the largest of (A q), and its exposure.

    Shape: payoff m x n, mix n weights; ``equilibrium`` of the same game, solved here when left out.
    Errors: NotSolvable for a matrix that is no game, QuestionError for a mix that is none.
    """
    matrix = game_matrix(payoff)
    q = mix_of(mix, matrix.shape[1], "their mix")
    solved = equilibrium_of(matrix, equilibrium)
    return _answer(matrix, q, solved)


def equilibrium_of(matrix: Array, given: Equilibrium | None = None) -> Equilibrium:
    """``given`` if it is of a game of this size, or the game solved. Errors: QuestionError for another size."""
    if given is None:
        return solve(matrix)
    if (len(given.rows), len(given.columns)) != matrix.shape:
        raise refused(
            f"the equilibrium is of {len(given.rows)} x {len(given.columns)} options, "
            f"the game of {matrix.shape[0]} x {matrix.shape[1]}", "the equilibrium of the same game",
        )  # fmt: skip
    return given


def _answer(matrix: Array, q: Array, solved: Equilibrium) -> BestResponse:
    earned = matrix @ q
    best = np.flatnonzero(earned >= earned.max() - SAME * np.abs(matrix).max())
    worst = matrix.min(axis=1)
    option = int(best[np.argmax(worst[best])])
    least = float(worst[option])
    return BestResponse(
        option=option, options=tuple(best.tolist()), earns=float(earned[option]), worst=least,
        worst_reply=int(matrix[option].argmin()), value=solved.value,
        against_equilibrium=float(matrix[option] @ np.array(solved.columns)),
        gain=float(earned[option]) - solved.value, exposure=max(0.0, solved.value - least),
    )  # fmt: skip


def chance_read_pays(payoff: object, alphas: Sequence[float], equilibrium: Equilibrium | None = None) -> float:
    """The chance that the best response to a read really earns more than the value of the game.

    P(sum_j (A_ij - value) p_j > 0) with p ~ Dirichlet(alphas) and i the best response to its mean.
    Shape: payoff m x n, n alphas. Errors: as ``best_response``.
    """
    matrix = game_matrix(payoff)
    q = mix_of(alphas, matrix.shape[1], "the read")
    return _chance(matrix, np.asarray(alphas, dtype=np.float64), q, equilibrium_of(matrix, equilibrium))


def _chance(matrix: Array, alphas: Array, q: Array, solved: Equilibrium) -> float:
    gains = matrix[_answer(matrix, q, solved).option] - solved.value
    # What is zero but for rounding must not decide a sign.
    gains[np.abs(gains) <= SAME * np.abs(matrix).max()] = 0.0
    return chance_above_zero(gains, alphas)


def observations_needed(
    payoff: object, counts: Sequence[int], prior: Prior, *, confidence: float = 0.95, at_most: int = 10_000
) -> int | None:
    """How many observations in the proportions of ``counts`` make the read worth acting on.

    The smallest n for which, with alphas = prior + n x proportions, the best response to the read
    earns more than the game's value with at least ``confidence`` (``chance_read_pays``); None when no n
    up to ``at_most`` does: they play their equilibrium, or no response gains by the difference. The
    chance is looked at for every n up to 64 and then at steps of a twentieth, so a rise and fall
    within one such step is passed over. Units: observations.
    Errors: as ``read_from_counts``; QuestionError when ``counts`` are all 0 or ``confidence`` is not
    between 0 and 1.
    """
    matrix = game_matrix(payoff)
    counted = counts_of(counts, "the count of their options")
    proportions = mix_of(counted, matrix.shape[1], "the count of their options")
    wanted = chance_of(confidence, "the confidence", inside=True)
    last = whole_number(at_most, "the most observations", 0, MOST_OBSERVATIONS)
    before, solved = prior.alphas(matrix.shape[1]), solve(matrix)

    def enough(n: int) -> bool:
        alphas = before + n * proportions
        total = alphas.sum()
        return bool(total > 0 and _chance(matrix, alphas, alphas / total, solved) >= wanted)

    passed = -1
    for n in _ladder(last):
        if enough(n):
            while n - passed > 1:
                middle = (passed + n) // 2
                passed, n = (passed, middle) if enough(middle) else (middle, n)
            return n
        passed = n
    return None


def _ladder(at_most: int) -> list[int]:
    """0 to 64 one by one, then up by a twentieth, and the last."""
    rungs = list(range(min(64, at_most) + 1))
    while rungs[-1] < at_most:
        rungs.append(min(at_most, rungs[-1] + rungs[-1] // 20))
    return rungs
