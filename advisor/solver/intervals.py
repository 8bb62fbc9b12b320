"""Lab trials: what k successes in n tries say about the chance behind them.

Bayes: Beta(a, b) before, Beta(a + k, b + n - k) after; a = b = 1/2 is Jeffreys' prior. Wilson's interval
inverts the score test, Clopper and Pearson's the exact binomial tails.
Sources: Wilson 1927, JASA 22:209-212; Clopper and Pearson 1934, Biometrika 26:404-413; Brown, Cai and
DasGupta 2001, Statistical Science 16:101-133 compares them; citations from memory.
"""

from __future__ import annotations

import math
from typing import Any

from msgspec import Struct

from advisor.solver.quantities import chance_of, positive_number, refused, whole_number

__all__ = ["JEFFREYS", "Between", "Posterior", "Trials", "clopper_pearson", "posterior", "upper_bound", "wilson"]

JEFFREYS = (0.5, 0.5)
"""The prior Beta(1/2, 1/2), which favours no scale of the chance."""


class Between(Struct, frozen=True):
    """An interval for a chance or a spread, both ends included. Units: those of what it is about."""

    low: float
    high: float


class Trials(Struct, frozen=True):
    """``successes`` in ``tries``. Units: counts; Errors: QuestionError unless 0 <= successes <= tries."""

    successes: int
    tries: int

    def __post_init__(self) -> None:
        for number, name in ((self.successes, "the successes"), (self.tries, "the tries")):
            whole_number(number, name, 0)
        if self.successes > self.tries:
            raise refused(f"`{self.successes}` successes in `{self.tries}` tries", "no more successes than tries")


class Posterior(Struct, frozen=True):
    """A Beta distribution of a chance of success. Units: ``a`` and ``b`` in tries, chances from 0 to 1."""

    a: float
    b: float

    @property
    def mean(self) -> float:
        """a / (a + b)."""
        return self.a / (self.a + self.b)

    @property
    def deviation(self) -> float:
        """The standard deviation: sqrt(mean (1 - mean) / (a + b + 1))."""
        return math.sqrt(self.mean * (1 - self.mean) / (self.a + self.b + 1))

    def interval(self, confidence: float = 0.95) -> Between:
        """Equal tails: as much of the distribution below it as above. Errors: QuestionError."""
        tail = (1 - chance_of(confidence, "the confidence", inside=True)) / 2
        return Between(_beta_at(self.a, self.b, tail), _beta_at(self.a, self.b, 1 - tail))

    def below(self, chance: float) -> float:
        """P(the chance of success is below ``chance``). Errors: QuestionError."""
        return float(_special().betainc(self.a, self.b, chance_of(chance, "the chance")))


def posterior(trials: Trials, prior: tuple[float, float] = JEFFREYS) -> Posterior:
    """Beta(a + successes, b + failures) for the ``prior`` (a, b), both above 0. Errors: QuestionError."""
    a, b = (positive_number(number, "the prior") for number in prior)
    return Posterior(a + trials.successes, b + trials.tries - trials.successes)


def wilson(trials: Trials, confidence: float = 0.95) -> Between:
    """The score interval: chances p with |k/n - p| <= z sqrt(p (1 - p) / n). Without tries it is 0 to 1.

    Errors: QuestionError for a confidence that is not between 0 and 1.
    """
    z = float(_special().ndtri((1 + chance_of(confidence, "the confidence", inside=True)) / 2))
    k, n = trials.successes, trials.tries
    if not n:
        return Between(0.0, 1.0)
    middle, half = k + z * z / 2, z * math.sqrt(k * (n - k) / n + z * z / 4)
    # At the ends the formula gives 0 and 1 but for rounding.
    low = (middle - half) / (n + z * z) if k else 0.0
    high = (middle + half) / (n + z * z) if k < n else 1.0
    return Between(low, high)


def clopper_pearson(trials: Trials, confidence: float = 0.95) -> Between:
    """The exact interval: chances that leave each binomial tail at least (1 - confidence) / 2.

    Errors: QuestionError for a confidence that is not between 0 and 1.
    """
    tail = (1 - chance_of(confidence, "the confidence", inside=True)) / 2
    return Between(_least(trials, tail), _most(trials, tail))


def upper_bound(trials: Trials, confidence: float = 0.95) -> float:
    """The largest chance the trials leave at ``confidence``, one-sided: 1 - (1 - confidence)^(1/n) after 0 of n.

    Errors: QuestionError for a confidence that is not between 0 and 1.
    """
    return _most(trials, 1 - chance_of(confidence, "the confidence", inside=True))


def _least(trials: Trials, tail: float) -> float:
    k, n = trials.successes, trials.tries
    return _beta_at(k, n - k + 1, tail) if k else 0.0


def _most(trials: Trials, tail: float) -> float:
    k, n = trials.successes, trials.tries
    return _beta_at(k + 1, n - k, 1 - tail) if k < n else 1.0


def _beta_at(a: float, b: float, share: float) -> float:
    return float(_special().betaincinv(a, b, share))


def _special() -> Any:
    from scipy import special

    return special
