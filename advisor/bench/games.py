"""What a guess costs: one 20 x 12 game beside the bare solver and two other libraries, and a thousand at once."""

from __future__ import annotations

import statistics
import time
import warnings
from collections.abc import Callable
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.solver.batch import solve_many
from advisor.solver.matrix import solve

__all__ = ["run"]

ROWS, COLUMNS, GAMES = 20, 12, 1000
ROUNDS = 5
SINGLE, SLOW = 40, 4
"""Games a round: of ours and the bare solver, and of the other libraries."""

Array = NDArray[np.float64]


def run() -> None:
    """Print microseconds of processor time a game, and the ratios within this run."""
    games = np.random.default_rng(12).normal(size=(GAMES, ROWS, COLUMNS)) * 10
    reused = _quiet()
    contenders: dict[str, tuple[Callable[[Array], object], int]] = {
        "solve, with its certificate": (solve, SINGLE),
        "bare highspy, a new instance a game": (lambda game: _bare(_quiet(), game), SINGLE),
        "bare highspy, one instance": (lambda game: _bare(reused, game), SINGLE),
        **{name: (other, SLOW) for name, other in _others().items()},
    }
    took: dict[str, list[float]] = {}
    for name, (contender, count) in contenders.items():
        _timed(contender, games[:count])  # imports and first use
        took[name] = []
    together: list[float] = []
    for turn in range(ROUNDS):
        for name, (contender, count) in contenders.items():
            took[name].append(_timed(contender, games[turn * count : (turn + 1) * count]))
        start = time.process_time()
        solve_many(games)
        together.append((time.process_time() - start) * 1e6 / GAMES)
    cost = {name: statistics.median(times) for name, times in took.items()}
    ours, many = cost["solve, with its certificate"], statistics.median(together)
    print(f"\ngames of {ROWS} x {COLUMNS}")
    for name, us in cost.items():
        print(f"  {name:48} {us:8.0f} us of processor time, {us / ours:.2f} times `solve`")
    together_said = f"solve_many, {GAMES} games, certificates too"
    print(f"  {together_said:48} {many:8.0f} us a game: `solve` takes {ours / many:.1f} times as long")


def _timed(contender: Callable[[Array], object], games: Array) -> float:
    """Microseconds of processor time a game."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        start = time.process_time()
        for game in games:
            contender(game)
        return (time.process_time() - start) * 1e6 / len(games)


def _quiet() -> Any:
    highs = import_module("highspy").Highs()
    highs.setOptionValue("output_flag", False)
    return highs


def _bare(highs: Any, game: Array) -> tuple[Array, Array]:
    """The textbook program (most v with x'A >= v, sum x = 1), its model built as the solver's manual does."""
    highspy = import_module("highspy")
    m, n = game.shape
    entries = np.zeros((m + 1, n + 1))
    entries[:m, :n], entries[m, :n], entries[:m, n] = game, -1, 1
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_, lp.sense_ = m + 1, n + 1, highspy.ObjSense.kMaximize
    lp.col_cost_ = np.eye(1, m + 1, m)[0]
    lp.col_lower_ = np.append(np.zeros(m), -np.inf)
    lp.col_upper_ = np.full(m + 1, np.inf)
    lp.row_lower_ = np.append(np.zeros(n), 1.0)
    lp.row_upper_ = np.append(np.full(n, np.inf), 1.0)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = np.arange(m + 2, dtype=np.int32) * (n + 1)
    lp.a_matrix_.index_ = np.tile(np.arange(n + 1, dtype=np.int32), m + 1)
    lp.a_matrix_.value_ = entries.ravel()
    highs.passModel(lp)
    highs.run()
    found = highs.getSolution()
    return np.array(found.col_value), np.array(found.row_dual)


def _others() -> dict[str, Callable[[Array], object]]:
    """The linear-program solvers of two game libraries, where they are installed."""
    found: dict[str, Callable[[Array], object]] = {}
    try:
        nash: Any = import_module("nashpy")
        found["nashpy, Game.linear_program"] = lambda game: nash.Game(game).linear_program()
    except ModuleNotFoundError:
        print("  nashpy is not installed")
    try:
        gambit: Any = import_module("pygambit")
        found["pygambit, nash.lp_solve in floats"] = lambda game: gambit.nash.lp_solve(
            gambit.StrategicGame.from_arrays(game, -game), rational=False
        )
    except ModuleNotFoundError:
        print("  pygambit is not installed")
    return found


if __name__ == "__main__":
    run()
