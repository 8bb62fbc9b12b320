"""What a single number must be before it is used, and the error when it is not."""

from __future__ import annotations

import math
from numbers import Integral, Real
from typing import Any

from advisor.errors import QuestionError

__all__ = ["chance_of", "positive_number", "refused", "whole_number"]


def refused(message: str, help: str = "") -> QuestionError:
    """The error for a number that makes no sense here, to be raised."""
    return QuestionError("value-invalid", message, help=help)


def chance_of(chance: float, name: str, *, inside: bool = False) -> float:
    """A probability from 0 to 1, without both ends if ``inside``. Errors: QuestionError."""
    number = _number(chance, name)
    if not 0 <= number <= 1 or (inside and number in (0, 1)):
        raise refused(f"{name} is `{number:g}`", "a number between 0 and 1" if inside else "a number from 0 to 1")
    return number


def positive_number(value: float, name: str, *, zero: bool = False) -> float:
    """A finite number above 0 (or 0 too, if ``zero``). Errors: QuestionError."""
    number = _number(value, name)
    if number < 0 or (number == 0 and not zero):
        raise refused(f"{name} is `{number:g}`", "0 or more" if zero else "a number above 0")
    return number


def whole_number(value: int, name: str, least: int, most: int | None = None) -> int:
    """A whole number from ``least`` to ``most`` (without end when left out). Errors: QuestionError."""
    right = f"a whole number of {least} or more" if most is None else f"a whole number from {least} to {most}"
    given: Any = value
    if isinstance(given, bool) or not isinstance(given, Integral):
        raise refused(f"{name} is `{given}`", right)
    number = int(given)
    if number < least or (most is not None and number > most):
        raise refused(f"{name} is `{number}`", right)
    return number


def _number(value: Any, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise refused(f"{name} is `{value}`", "a number")
    if not math.isfinite(value):
        raise refused(f"{name} is `{value}`", "a finite number")
    return float(value)
