"""What more tries of one response are worth: the arithmetic, without anything of the game.

A response comes off with a chance p. It is worth w(p) = p gain - (1 - p) loss, in damage; p is Beta(a, b)
distributed, so the worth that is expected is w(a / (a + b)). The decision is the response of the highest expected
worth. n tries of one response come off k times with the Beta-binomial chance C(n, k) B(a + k, b + n - k) / B(a, b),
and then its mean is (a + k) / (a + b + n). Their value is what deciding after them brings on average over
deciding now (the expected value of sample information):

    sum over k of P(k) max(w((a + k) / (a + b + n)), other) - max(w(a / (a + b)), other)

with ``other`` the best of the rest. As the mean of the means after is the mean before, this is the expected gain on
the side where the decision changes; it is summed there, so that what cannot change the decision is worth 0
exactly. With n growing it comes from below to the expected value of perfect information, the same with p itself.

Source: Raiffa and Schlaifer 1961, Applied Statistical Decision Theory (preposterior analysis); the
Beta-binomial after them. Citation from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from advisor.solver.intervals import Posterior

__all__ = ["NOTHING", "Information", "Stake", "best_of", "perfect_value", "trial_value"]


class Stake(Struct, frozen=True, kw_only=True):
    """A response: the ``chance`` that it comes off, and what it wins then or loses else (damage points).

    ``gain`` is not below ``-loss``.
    """

    option: str
    gain: float
    loss: float
    chance: Posterior

    @property
    def worth(self) -> float:
        """p gain - (1 - p) loss at the mean chance; damage points."""
        return self.chance.mean * (self.gain + self.loss) - self.loss


class Information(Struct, frozen=True, kw_only=True):
    """``value`` (damage points) of some information, and the ``chance`` that it changes the decision."""

    value: float
    chance: float


NOTHING = Information(value=0.0, chance=0.0)


def best_of(stakes: Sequence[Stake]) -> Stake:
    """The one of the highest expected worth, the first of several. ``stakes`` is not empty."""
    return max(stakes, key=lambda stake: stake.worth)


def trial_value(stakes: Sequence[Stake], option: str, tries: int) -> Information:
    """What ``tries`` (1 or more) more tries of the response ``option`` are worth; on a tie nothing changes."""
    tried, other, is_best = _against(stakes, option)
    if tried is None or other is None:
        return NOTHING
    import numpy as np
    from scipy.special import betaln, gammaln

    a, b, n = tried.chance.a, tried.chance.b, tries
    k = np.arange(n + 1)
    ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    weight = np.exp(ways + betaln(a + k, b + n - k) - betaln(a, b))
    worth = (a + k) / (a + b + n) * (tried.gain + tried.loss) - tried.loss
    better = (other - worth) if is_best else (worth - other)
    turns = better > _EPSILON
    return Information(value=float(weight[turns] @ better[turns]), chance=float(min(1.0, weight[turns].sum())))


def perfect_value(stakes: Sequence[Stake], option: str) -> Information:
    """What knowing the chance of the response ``option`` itself is worth.

    With t the chance at which w(t) = other, and I the regularised incomplete beta function,
    E[(w(p) - other)+] = (gain + loss) (m (1 - I_t(a + 1, b)) - t (1 - I_t(a, b))), and on the other side
    E[(other - w(p))+] = (gain + loss) (t I_t(a, b) - m I_t(a + 1, b)), m = a / (a + b).
    """
    tried, other, is_best = _against(stakes, option)
    if tried is None or other is None:
        return NOTHING
    from scipy.special import betainc, betaincc

    a, b, span = tried.chance.a, tried.chance.b, tried.gain + tried.loss
    at = min(1.0, max(0.0, (other + tried.loss) / span))
    tail: Any = betainc if is_best else betaincc
    below, moment = float(tail(a, b, at)), tried.chance.mean * float(tail(a + 1, b, at))
    value = span * ((at * below - moment) if is_best else (moment - at * below))
    return Information(value=value, chance=below) if value > _EPSILON else NOTHING


_EPSILON = 1e-12


def _against(stakes: Sequence[Stake], option: str) -> tuple[Stake | None, float | None, bool]:
    """The response, the best worth of the rest, and whether the response is the best now; None: nothing to learn."""
    tried = next((stake for stake in stakes if stake.option == option), None)
    rest = [stake for stake in stakes if stake.option != option]
    if tried is None or not rest or tried.gain + tried.loss <= 0:
        return None, None, False
    return tried, best_of(rest).worth, best_of(stakes).option == option
