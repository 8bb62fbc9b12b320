"""Many zero-sum games of one size at once: a simplex method that pivots all of them together.

One dense tableau a game, side by side in one array, so that a pivot of a few hundred games costs
a few calls of numpy. Every answer is judged by the certificate of the mixes given out; a game
whose certificate is too loose is solved by itself (``advisor.solver.matrix.solve``).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.solver.matrix import TOLERANCE, NotSolvable, solve

__all__ = ["Equilibria", "solve_many"]

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

AT_ONCE = 300_000
"""Entries of all tableaux held at once: many games a pivot, little memory."""
ZERO = 1e-11
"""Below this a gain, a pivot or a step counts as none; entries of the tableau start between 1 and 2."""


class Equilibria(Struct, frozen=True, kw_only=True, eq=False):
    """An equilibrium a game. Shapes: k games of m x n. Units: as in ``Equilibrium``."""

    rows: Array
    """My mixes. Shape: k x m."""
    columns: Array
    """Their mixes. Shape: k x n."""
    values: Array
    """The middle of ``lower`` and ``upper``. Shape: k."""
    lower: Array
    """What my mix earns at worst. Shape: k."""
    upper: Array
    """What their mix concedes at most. Shape: k."""

    @property
    def gaps(self) -> Array:
        """``upper - lower`` of each game, never negative. Shape: k."""
        return np.maximum(self.upper - self.lower, 0.0)


def solve_many(payoffs: object) -> Equilibria:
    """An equilibrium of each game; the gaps are as small as those of ``solve``.

    Shape: k x m x n, rows mine, I maximise; k may be 0.
    Errors: NotSolvable for what is not k matrices of one size and of finite numbers.
    """
    games = _games(payoffs)
    k, m, n = games.shape
    x, y = np.empty((k, m)), np.empty((k, n))
    scaled = _positive(games)
    step = 1 + AT_ONCE // ((m + 1) * (n + 1))
    for start in range(0, k, step):
        part = slice(start, start + step)
        x[part], y[part] = _Tableaux(scaled[part]).mixes()
    x, y = _shares(x), _shares(y)
    lower, upper = _guarantees(games, x, y)
    # A game in which pivots went astray has NaN or a wide gap: `not <=` finds both.
    for at in np.flatnonzero(~(upper - lower <= _wanted(games))):
        found = solve(games[at])
        x[at], y[at], lower[at], upper[at] = found.rows, found.columns, found.lower, found.upper
    return Equilibria(rows=x, columns=y, values=lower / 2 + upper / 2, lower=lower, upper=upper)


def _games(payoffs: object) -> Array:
    try:
        games = np.asarray(payoffs, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise NotSolvable("the games are not tables of one size", help="games x rows x columns") from error
    if games.ndim != 3:
        raise NotSolvable(f"games x rows x columns are three dimensions, this array has {games.ndim}")
    if not games.shape[1] or not games.shape[2]:
        raise NotSolvable(f"a game of {games.shape[1]} x {games.shape[2]} options has nothing to choose")
    if not np.isfinite(games).all():
        k, i, j = (int(at) for at in np.argwhere(~np.isfinite(games))[0])
        raise NotSolvable(f"the payoff of game {k}, row {i}, column {j} is `{games[k, i, j]}`, not finite")
    return games


def _positive(games: Array) -> Array:
    """The same games with payoffs between 1 and 2; constant ones all 1."""
    low = games.min(axis=(1, 2), keepdims=True) / 2
    half = games.max(axis=(1, 2), keepdims=True) / 2 - low
    half[half == 0] = 1
    return np.asarray(1 + (games / 2 - low) / half)


def _wanted(games: Array) -> Array:
    """The gap that needs no second look, as in ``solve``. Shape: k."""
    high, low = games.max(axis=(1, 2)), games.min(axis=(1, 2))
    return np.asarray(TOLERANCE * (high / 2 - low / 2) + 1e-14 * np.maximum(abs(high), abs(low)))


def _shares(weights: Array) -> Array:
    """Mixes without negative shares, each with sum 1; uniform where nothing is left. Shape: k x options."""
    clean = np.where(weights > 0, weights, 0.0)  # NaN is not above 0 either
    total = clean.sum(axis=1, keepdims=True)
    lost = ~(np.isfinite(total) & (total > 0))[:, 0]
    clean[lost], total[lost] = 1.0, clean.shape[1]
    return np.asarray(clean / total)


def _guarantees(games: Array, x: Array, y: Array) -> tuple[Array, Array]:
    """What each mix earns at worst and concedes at most. Shapes: k, k."""
    earned = np.matmul(x[:, None, :], games)[:, 0, :]
    conceded = np.matmul(games, y[:, :, None])[:, :, 0]
    return earned.min(axis=1), conceded.max(axis=1)


class _Tableaux:
    """Condensed tableaux of: most sum(z) with P z <= 1, z >= 0, one a game.

    The last row holds the gains, the last column the amounts; z over its sum is their mix, the
    prices of the rows (gains of the slacks, negated) over theirs are mine. ``inside`` names the
    variable of each row, ``outside`` of each column: 0..n-1 the z, n..n+m-1 the slacks.
    """

    def __init__(self, scaled: Array) -> None:
        k, m, n = scaled.shape
        self.table = np.ones((k, m + 1, n + 1))
        self.table[:, :m, :n] = scaled
        self.table[:, m, n] = 0
        self.inside: Whole = np.tile(np.arange(n, n + m), (k, 1))
        self.outside: Whole = np.tile(np.arange(n), (k, 1))
        self.game: Whole = np.arange(k)
        self.stuck: NDArray[np.bool_] = np.zeros(k, dtype=bool)
        self.x, self.y = np.zeros((k, m)), np.zeros((k, n))

    def mixes(self) -> tuple[Array, Array]:
        """Pivot until no game gains; unscaled mixes. Shapes: k x m, k x n (0 for a game given up)."""
        m, n = self.x.shape[1], self.y.shape[1]
        with np.errstate(all="ignore"):  # a game gone astray is found by its certificate
            for _ in range(50 + 10 * (m + n)):
                j, gain = self._entering()
                done = ~(gain > ZERO)  # a game whose numbers are lost (NaN) is done too
                if done.any():
                    self._leave(done)
                    j = j[~done]
                if not len(self.game):
                    break
                self._pivot(self._leaving(j), j)
        return self.x, self.y

    def _entering(self) -> tuple[Whole, Array]:
        """The column that gains most; for a game that took no step, the one of least name (Bland)."""
        gains = self.table[:, -1, :-1]
        j = gains.argmax(axis=1)
        best = gains[np.arange(len(j)), j]
        if self.stuck.any():
            names = np.where(gains[self.stuck] > ZERO, self.outside[self.stuck], self.table.size)
            j[self.stuck] = names.argmin(axis=1)
        return j, best

    def _leaving(self, j: Whole) -> Whole:
        """The row that runs out first; of equals the largest pivot, or the least name where stuck."""
        column = np.take_along_axis(self.table, j[:, None, None], axis=2)[:, :-1, 0]
        ratio = np.where(column > ZERO, self.table[:, :-1, -1] / column, np.inf)
        least = ratio.min(axis=1)
        equal = ratio <= least[:, None] + ZERO
        i: Whole = np.where(equal, column, -np.inf).argmax(axis=1)
        if self.stuck.any():
            names = np.where(equal[self.stuck], self.inside[self.stuck], self.table.size)
            i[self.stuck] = names.argmin(axis=1)
        self.stuck = least <= ZERO
        return i

    def _pivot(self, i: Whole, j: Whole) -> None:
        """Swap the variable of row i with that of column j in every game."""
        table, each = self.table, np.arange(len(i))
        row, column = table[each, i, :], table[each, :, j]
        pivot = row[each, j]
        row /= pivot[:, None]
        row[each, j] = 1 / pivot
        table[each, :, j] = 0
        table -= column[:, :, None] * row[:, None, :]
        table[each, i, :] = row
        came, went = self.outside[each, j], self.inside[each, i]
        self.inside[each, i], self.outside[each, j] = came, went

    def _leave(self, done: NDArray[np.bool_]) -> None:
        """Write down the mixes of the games that are done, and keep the others."""
        m, n = self.x.shape[1], self.y.shape[1]
        amounts: NDArray[Any] = np.zeros((int(done.sum()), m + n))
        prices = np.zeros_like(amounts)
        np.put_along_axis(amounts, self.inside[done], self.table[done, :m, n], axis=1)
        np.put_along_axis(prices, self.outside[done], -self.table[done, m, :n], axis=1)
        self.x[self.game[done]], self.y[self.game[done]] = prices[:, n:], amounts[:, :n]
        going = ~done
        self.table, self.game, self.stuck = self.table[going], self.game[going], self.stuck[going]
        self.inside, self.outside = self.inside[going], self.outside[going]
