"""One zero-sum matrix game: the best mix of either side, the value, and the certificate of both.

Rows are my options, columns theirs, an entry is what I earn. The game is solved as the linear
program of von Neumann and Dantzig on a positive copy P of the matrix (entries between 1 and 2):

    least sum(u)  with  P'u >= 1, u >= 0;     my mix is u / sum(u), theirs the dual's.

What is given out is judged by itself: ``lower`` is what my mix earns against their best reply to
it, ``upper`` what their mix concedes to mine, both of the very numbers returned, and the value of
the game lies between them whatever the program did.
"""

from __future__ import annotations

import threading
from fractions import Fraction
from functools import lru_cache
from importlib import import_module
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.errors import AdvisorError

__all__ = [
    "TOLERANCE",
    "Equilibrium",
    "NotSolvable",
    "certify",
    "game_matrix",
    "linear_solver",
    "positive",
    "solve",
    "solve_exactly",
]

TOLERANCE = 1e-9
"""The widest gap given out, relative to ``max(1, largest absolute payoff)``."""

Array = NDArray[np.float64]
Mixes = tuple[Array, Array]


class NotSolvable(AdvisorError, ValueError):
    """A matrix that is no game (empty, not m x n, not finite), or an answer without its certificate."""

    def __init__(self, message: str, *, help: str = "") -> None:
        super().__init__("value-invalid", message, help=help)


class Equilibrium(Struct, frozen=True, kw_only=True):
    """A pair of mixes and their certificate. Units: payoffs, but mixes, which are shares that sum to 1."""

    rows: tuple[float, ...]
    """My mix, one share a row."""
    columns: tuple[float, ...]
    """Their mix, one share a column."""
    value: float
    """The middle of ``lower`` and ``upper``."""
    lower: float
    """What my mix earns at worst: the least of (x A) over the columns."""
    upper: float
    """What their mix concedes at most: the largest of (A y) over the rows."""
    row_losses: tuple[float, ...]
    """What each of my options loses against their mix: value - (A y)."""
    column_losses: tuple[float, ...]
    """What each of their options gives up against my mix: (x A) - value."""

    @property
    def gap(self) -> float:
        """``upper - lower``: neither mix can be improved upon by more. Never negative."""
        return max(0.0, self.upper - self.lower)


def game_matrix(payoff: object) -> Array:
    """The matrix as float64. Shape: m x n, both at least 1. Errors: NotSolvable."""
    try:
        matrix = np.asarray(payoff, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise NotSolvable("the payoffs are not a table of numbers", help="rows of equal length") from error
    if matrix.ndim != 2:
        raise NotSolvable(f"a game has rows and columns, this array has {matrix.ndim} dimension(s)")
    if not matrix.size:
        raise NotSolvable(f"a game of {matrix.shape[0]} x {matrix.shape[1]} options has nothing to choose")
    if not np.isfinite(matrix).all():
        i, j = (int(at) for at in np.argwhere(~np.isfinite(matrix))[0])
        raise NotSolvable(f"the payoff in row {i}, column {j} is `{matrix[i, j]}`, not a finite number")
    return matrix


def solve(payoff: object) -> Equilibrium:
    """An equilibrium of the game, its gap at most ``TOLERANCE`` times ``max(1, largest absolute payoff)``.

    Shape: m x n, rows mine, I maximise. Where the program's answer is looser than that relative to
    the spread of the payoffs, its support is solved anew, and then the game in exact fractions.
    Errors: NotSolvable for a matrix that is no game, or when even that leaves a wider gap.
    """
    matrix = game_matrix(payoff)
    pure = _saddle(matrix)
    if pure is not None:
        return certify(matrix, *pure)
    scaled = positive(matrix)
    best = certify(matrix, *_programme(scaled))
    fine = _wanted(matrix)
    if best.gap > fine:
        best = min(best, certify(matrix, *_on_support(scaled, best)), key=lambda found: found.gap)
    if best.gap > fine:
        best = min(best, certify(matrix, *_fractions(matrix)), key=lambda found: found.gap)
    return _vouched(matrix, best)


def solve_exactly(payoff: object) -> Equilibrium:
    """The same by a simplex in exact fractions (Bland's rule): slow, for checks and for hopeless scales."""
    matrix = game_matrix(payoff)
    return _vouched(matrix, certify(matrix, *_fractions(matrix)))


def certify(matrix: Array, rows: Array, columns: Array) -> Equilibrium:
    """Both mixes, cleaned (no negative share, sum 1), with what they guarantee. Shapes: m x n, m, n."""
    x, y = _share(rows), _share(columns)
    earned, conceded = x @ matrix, matrix @ y
    lower, upper = float(earned.min()), float(conceded.max())
    value = lower / 2 + upper / 2
    return Equilibrium(
        rows=tuple(x.tolist()), columns=tuple(y.tolist()), value=value, lower=lower, upper=upper,
        row_losses=tuple((value - conceded).tolist()), column_losses=tuple((earned - value).tolist()),
    )  # fmt: skip


def positive(matrix: Array) -> Array:
    """The same game with payoffs between 1 and 2; halves first, so that no difference overflows."""
    low = matrix.min() / 2
    half = matrix.max() / 2 - low
    return np.asarray(1 + (matrix / 2 - low) / half) if half > 0 else np.ones_like(matrix)


def _wanted(matrix: Array) -> float:
    """The gap that needs no second look: relative to the spread, but no finer than floats can tell."""
    high, low = float(matrix.max()), float(matrix.min())
    return TOLERANCE * (high / 2 - low / 2) + 1e-14 * max(abs(high), abs(low))


def _vouched(matrix: Array, found: Equilibrium) -> Equilibrium:
    allowed = TOLERANCE * max(1.0, float(np.abs(matrix).max()))
    if not found.gap <= allowed:
        raise NotSolvable(
            f"no mix could be certified: a gap of {found.gap:.3g} is left, {allowed:.3g} is allowed"
        )
    return found


def _share(weights: Array) -> Array:
    clean = np.maximum(weights, 0.0)
    total = clean.sum()
    return clean / total if total > 0 else np.full(len(clean), 1 / len(clean))


def _saddle(matrix: Array) -> Mixes | None:
    """A pair of pure options that are each other's best reply, if there is one."""
    least, most = matrix.min(axis=1), matrix.max(axis=0)
    row, column = int(least.argmax()), int(most.argmin())
    if least[row] != most[column]:
        return None
    return np.eye(1, len(least), row)[0], np.eye(1, len(most), column)[0]


# --- the linear program ----------------------------------------------------------------------

_HELD = threading.local()


def linear_solver() -> Any:
    """This thread's instance of HiGHS, its model free to be replaced; building one costs as much as a program."""
    held = getattr(_HELD, "highs", None)
    if held is None:
        held = _silent_class()()
        for option, setting in (
            ("output_flag", False), ("presolve", "off"), ("parallel", "off"),
            ("primal_feasibility_tolerance", 1e-10), ("dual_feasibility_tolerance", 1e-10),
        ):  # fmt: skip
            held.setOptionValue(option, setting)
        _HELD.highs = held
    return held


@lru_cache(maxsize=1)
def _silent_class() -> Any:
    """HiGHS greets on standard output while it is being built, before an option could be set; this one does not."""
    plain: Any = import_module("highspy").Highs

    def quietly(self: Any) -> None:
        self.setOptionValue("output_flag", False)
        plain.enableCallbacks(self)

    return type("SilentHighs", (plain,), {"enableCallbacks": quietly})


@lru_cache(maxsize=256)
def _outline(m: int, n: int) -> tuple[NDArray[Any], ...]:
    """What programs of one size share: costs, bounds, where the entries of a full matrix stand, no integers."""
    return (
        np.ones(m), np.zeros(m), np.full(m, np.inf), np.ones(n), np.full(n, np.inf),
        np.arange(0, m * n + 1, n, dtype=np.int32), np.tile(np.arange(n, dtype=np.int32), m),
        np.zeros(m, dtype=np.int32),
    )  # fmt: skip



def _programme(scaled: Array) -> Mixes:
    """Both mixes of a positive game, by one call of HiGHS; uniform ones when it gives none."""
    m, n = scaled.shape
    highs = linear_solver()
    # 1, 1: the matrix column by column (a column of the program is a row of the game); minimise.
    costs, floor, ceiling, least, most, start, index, kinds = _outline(m, n)
    highs.passModel(
        m, n, m * n, 1, 1, 0.0, costs, floor, ceiling, least, most, start, index,
        np.ascontiguousarray(scaled).ravel(), kinds,
    )  # fmt: skip
    highs.run()
    found = highs.getSolution()
    rows, columns = np.array(found.col_value), np.array(found.row_dual)
    if len(rows) != m or len(columns) != n or not (np.isfinite(rows).all() and np.isfinite(columns).all()):
        return np.ones(m), np.ones(n)
    return rows, columns


def _on_support(scaled: Array, found: Equilibrium) -> Mixes:
    """The mixes that make every option of the found supports earn alike (least squares when not square)."""
    x, y = np.array(found.rows), np.array(found.columns)
    mine, theirs = x > TOLERANCE, y > TOLERANCE
    part = scaled[np.ix_(mine, theirs)]
    x[:] = y[:] = 0
    x[mine] = np.linalg.lstsq(part.T, np.ones(part.shape[1]), rcond=None)[0]
    y[theirs] = np.linalg.lstsq(part, np.ones(part.shape[0]), rcond=None)[0]
    return x, y


# --- exact fractions -------------------------------------------------------------------------


def _fractions(matrix: Array) -> Mixes:
    """Both mixes by the simplex method in fractions, Bland's rule, so that it ends at the exact optimum.

    Tableau of: most sum(z) with P z <= 1, z >= 0, P the matrix lifted to entries of at least 1;
    z is their mix and the prices of the rows are mine, both over their sum.
    """
    m, n = matrix.shape
    low = Fraction(float(matrix.min()))
    spread = Fraction(float(matrix.max())) - low or Fraction(1)
    table = [[(Fraction(float(v)) - low) / spread + 1 for v in row] + [Fraction(1)] for row in matrix]
    gains = [Fraction(1)] * n + [Fraction(0)]
    inside, outside = [n + i for i in range(m)], list(range(n))
    while True:
        entering = [j for j in range(n) if gains[j] > 0]
        if not entering:
            break
        j = min(entering, key=lambda k: outside[k])
        leaving = [i for i in range(m) if table[i][j] > 0]
        i = min(leaving, key=lambda k: (table[k][n] / table[k][j], inside[k]))
        _exchange(table, gains, i, j)
        inside[i], outside[j] = outside[j], inside[i]
    z, u = [Fraction(0)] * (n + m), [Fraction(0)] * (n + m)
    for i, name in enumerate(inside):
        z[name] = table[i][n]
    for j, name in enumerate(outside):
        u[name] = -gains[j]
    mine, theirs = sum(u[n:]), sum(z[:n])
    return np.array([float(v / mine) for v in u[n:]]), np.array([float(v / theirs) for v in z[:n]])


def _exchange(table: list[list[Fraction]], gains: list[Fraction], i: int, j: int) -> None:
    """Swap basic variable i with free variable j, in place (condensed tableau)."""
    pivot = table[i][j]
    row = [v / pivot for v in table[i]]
    row[j] = 1 / pivot
    table[i] = row
    for other in (*(line for k, line in enumerate(table) if k != i), gains):
        factor = other[j]
        if factor:
            other[j] = Fraction(0)
            for k, v in enumerate(row):
                if v:
                    other[k] -= factor * v
