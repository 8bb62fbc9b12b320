"""The chance that a weighted sum of Dirichlet shares is above zero, by Imhof's inversion formula.

With p ~ Dirichlet(alpha) and G_j independent Gamma(alpha_j), p is G / sum(G), so

    P(sum_j d_j p_j > 0) = P(sum_j d_j G_j > 0),

and twice G_j is chi-squared with 2 alpha_j degrees of freedom. Imhof's formula for the latter,
with nothing subtracted, reads

    P = 1/2 + (1/pi) * integral over u > 0 of sin(theta(u)) / (u rho(u)),
    theta(u) = sum_j alpha_j arctan(d_j u),   rho(u) = prod_j (1 + d_j^2 u^2)^(alpha_j / 2).

Source: Imhof 1961, Biometrika 48:419-426, "Computing the distribution of quadratic forms in normal
variables"; citation from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from advisor.errors import Fault
from advisor.solver.mixes import Array
from advisor.solver.quantities import refused

__all__ = ["chance_above_zero"]

LOST = 38.0
"""The integrand is cut off where it is below exp(-LOST), 3e-17 of its scale."""

TILT = 0.5
"""Half the width of the strip on which the step is founded; the integrand's poles are at pi / 2."""

CERTAIN = 1e-15
"""A tail with a proven bound below this is not worth an integral."""

LARGEST = 4_000_000
"""Values of the integrand above which the question is refused rather than the machine worn out."""


def chance_above_zero(gains: Sequence[float] | Array, alphas: Sequence[float] | Array) -> float:
    """P(sum_j gains_j p_j > 0) for p ~ Dirichlet(alphas); good to about 1e-12.

    Shape: n numbers each. Units: ``gains`` any (only sign and proportion matter), ``alphas`` are
    prior plus counts, 0 or more (an alpha of 0 is an option that is never taken).
    Errors: QuestionError when the lengths differ, alphas are negative or none is above 0.
    """
    d, alpha = np.asarray(gains, dtype=np.float64), np.asarray(alphas, dtype=np.float64)
    if d.shape != alpha.shape or d.ndim != 1:
        raise refused("the gains and the alphas are not as long", "one number an option in both")
    if not (np.isfinite(d).all() and np.isfinite(alpha).all()) or (alpha < 0).any() or not (alpha > 0).any():
        raise refused("the alphas of a Dirichlet distribution are 0 or more and not all 0", "prior plus counts")
    counted = (alpha > 0) & (d != 0)
    d, alpha = d[counted], alpha[counted]
    if not len(d) or (d < 0).all():
        return 0.0
    if (d > 0).all():
        return 1.0
    d = d / np.abs(d).max()
    if _tail_bound(d, alpha) < CERTAIN:
        return 1.0
    if _tail_bound(-d, alpha) < CERTAIN:
        return 0.0
    return min(1.0, max(0.0, 0.5 + _integral(d, alpha) / np.pi))


def _tail_bound(d: Array, alpha: Array) -> float:
    """Chernoff: P(sum d G <= 0) <= prod (1 + s d)^(-alpha) for any s > 0 that keeps the factors positive."""
    steps = -1 / d.min() * np.linspace(0.0, 1.0, 100)[1:-1]
    exponents = -(np.log1p(np.outer(steps, d)) @ alpha)
    return float(np.exp(min(0.0, exponents.min())))


def _integral(d: Array, alpha: Array) -> float:
    """The integral over t = log u, where it is the imaginary part of prod (1 - i d u)^(-alpha) that is summed.

    That is analytic in a strip around the whole line, so the trapezoid rule converges exponentially.
    Far out the integrand is sin(constant) exp(-t sum(alpha)), whose sum is that of a geometric series.
    """
    logs = np.log(np.abs(d))
    low, high = -LOST - math.log(float(alpha @ np.abs(d))), _faded(logs, alpha)
    count = int(np.ceil((high - low) / _step(low, high, d, alpha))) + 1
    if count * len(d) > LARGEST:
        raise Fault("fault", f"the chance over {len(d)} options takes {count} steps to integrate")
    t, step = np.linspace(low, high, count, retstep=True)
    reach = np.add.outer(t, logs)
    theta = np.arctan(np.exp(np.minimum(reach, 300.0))) @ (alpha * np.sign(d))
    heights = np.sin(theta) * np.exp(-np.logaddexp(0.0, 2 * reach) @ alpha / 2)
    fading = min(700.0, float(step) * float(alpha.sum()))
    return float(heights.sum() + heights[-1] / np.expm1(fading)) * float(step)


def _step(low: float, high: float, d: Array, alpha: Array) -> float:
    """The step that leaves an error of exp(-LOST): growth x exp(-2 pi TILT / step).

    The growth is the largest size of the product at t +- i TILT, where u is turned by that angle:
    prod (1 +- 2 d u sin(TILT) + d^2 u^2)^(-alpha / 2).
    """
    u = np.exp(np.minimum(np.add.outer(np.linspace(low, high, 200), np.log(np.abs(d))), 300.0))
    turned = 2 * math.sin(TILT) * np.sign(d) * u
    sizes = [-np.log1p(sign * turned + u * u) @ alpha / 2 for sign in (1, -1)]
    growth = max(0.0, float(np.max(sizes)))
    return 2 * math.pi * TILT / (growth + LOST + 2)


def _faded(logs: Array, alpha: Array) -> float:
    """The log u at which the integrand may end: rho is past exp(LOST), or all is asymptotic."""

    def grown(t: float) -> float:
        return float(np.logaddexp(0.0, 2 * (t + logs)) @ alpha / 2)

    low, high = -1.0, LOST - float(logs.min())
    if grown(high) <= LOST:
        return high
    while grown(low) > LOST:
        low *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if grown(middle) > LOST else (middle, high)
    return high
