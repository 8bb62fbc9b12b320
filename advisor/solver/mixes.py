"""What a mix, chances and counts, one number an option, must be before they are used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.solver.quantities import chance_of, refused, whole_number

__all__ = ["SAME", "Array", "chances_of", "counts_of", "mix_of"]

Array = NDArray[np.float64]

SAME = 1e-9
"""Payoffs nearer than this, relative to the largest absolute payoff, count as the same."""


def mix_of(weights: Sequence[float] | Array, options: int, name: str) -> Array:
    """Weights as shares that sum to 1; they may come in any scale (odds 3 : 1 is 0.75, 0.25).

    Shape: one weight an option, each 0 or more, not all 0. Errors: QuestionError.
    """
    given = _numbers(weights, name)
    if len(given) != options:
        raise refused(f"{name} has {len(given)} number(s) for {options} option(s)", "one number an option, in order")
    if (given < 0).any():
        raise refused(f"{name} holds `{given[given < 0][0]:g}`", "weights of 0 or more")
    most = given.max()
    if most <= 0:
        raise refused(f"{name} gives every option the weight 0", "at least one weight above 0")
    part = given / most
    return np.asarray(part / part.sum())


def counts_of(counts: Sequence[int], name: str) -> Array:
    """Whole numbers of 0 or more, as floats. Shape: one an option, at least one. Errors: QuestionError."""
    if not len(counts):
        raise refused(f"{name} is of no option at all", "one number an option, in order")
    return np.array([float(whole_number(number, name, 0)) for number in counts])


def chances_of(chances: Sequence[float] | Array | float, options: int, name: str) -> Array:
    """One probability an option; a single one stands for all. Errors: QuestionError."""
    listed = [chances] * options if np.ndim(chances) == 0 else chances
    given = _numbers(listed, name)
    if len(given) != options:
        raise refused(f"{name} has {len(given)} number(s) for {options} option(s)", "one number an option, or one")
    for number in given:
        chance_of(float(number), name)
    return given


def _numbers(values: Any, name: str) -> Array:
    try:
        given = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise refused(f"{name} is not a list of numbers", "one number an option, in order") from error
    if given.ndim != 1:
        raise refused(f"{name} has {given.ndim} dimension(s)", "a plain list, one number an option")
    if not np.isfinite(given).all():
        raise refused(f"{name} holds `{given[~np.isfinite(given)][0]}`", "finite numbers")
    return given
