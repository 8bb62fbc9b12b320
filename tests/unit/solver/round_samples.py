"""Small rounds for the tests, and a slow solution of a round that shares nothing with the product's."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

from advisor.solver.round_model import Branch, Comeback, RoundModel, Situation

Cell = Sequence[tuple[float, float, float, str]]


def situation(name: str, cells: Sequence[Sequence[Cell]]) -> Situation:
    """Options a0, a1, ... against b0, b1, ...; a branch is (chance, dealt, taken, next)."""
    return Situation(
        name=name, mine=tuple(f"a{i}" for i in range(len(cells))),
        theirs=tuple(f"b{j}" for j in range(len(cells[0]))),
        cells=tuple(
            tuple(tuple(Branch(chance=c, dealt=d, taken=t, next=n) for c, d, t, n in cell) for cell in row)
            for row in cells
        ),
    )


def race(p: float, mine: int, theirs: int) -> RoundModel:
    """Whoever scores first so often wins; I score with chance ``p``."""
    cell = [(p, 1.0, 0.0, "play"), (1 - p, 0.0, 1.0, "play")]
    return RoundModel(situations=(situation("play", [[cell]]),), my_steps=mine, their_steps=theirs)


def duel(steps: int, *, comeback: Comeback | None = None) -> RoundModel:
    """Alike for both sides: strike beats throw, throw beats block, block makes a strike costly; two lying states."""
    nothing = (0.5, 0.0, 0.0, "stand")
    stand: list[list[Cell]] = [
        [[(1.0, 20.0, 20.0, "stand")], [(1.0, 30.0, 0.0, "they_lie")], [(0.5, 0.0, 20.0, "stand"), nothing]],
        [[(1.0, 0.0, 30.0, "i_lie")], [(1.0, 0.0, 0.0, "stand")], [(1.0, 20.0, 0.0, "they_lie")]],
        [
            [(0.5, 20.0, 0.0, "stand"), nothing], [(1.0, 0.0, 20.0, "i_lie")],
            [(0.9, 0.0, 0.0, "stand"), (0.1, 10.0, 10.0, "stand")],
        ],
    ]
    they_lie = [
        [[(1.0, 30.0, 0.0, "they_lie")], [(1.0, 0.0, 0.0, "stand")]],
        [[(1.0, 0.0, 0.0, "stand")], [(0.8, 20.0, 0.0, "they_lie"), (0.2, 0.0, 10.0, "stand")]],
    ]
    i_lie = [
        [[(c, t, d, {"they_lie": "i_lie"}.get(n, n)) for c, d, t, n in they_lie[j][i]] for j in range(2)]
        for i in range(2)
    ]
    return RoundModel(
        situations=(situation("stand", stand), situation("they_lie", they_lie), situation("i_lie", i_lie)),
        my_steps=steps, their_steps=steps, points_per_step=10.0, comeback=comeback,
    )


def drawn(seed: int, steps: tuple[int, int], *, comeback: Comeback | None = None) -> RoundModel:
    """A drawn round of three situations with sizes of their own; every exchange may deal damage, so play ends."""
    rng = np.random.default_rng(seed)
    names = ["x", "y", "z"]

    def cell() -> list[tuple[float, float, float, str]]:
        chances = rng.dirichlet([3.0, 3.0, 1.0])
        chances /= chances.sum()
        return [
            (float(chances[0]), float(rng.integers(1, 9)), 0.0, str(rng.choice(names))),
            (float(chances[1]), float(rng.integers(0, 3)), float(rng.integers(1, 9)), str(rng.choice(names))),
            (float(1 - chances[0] - chances[1]), 0.0, 0.0, str(rng.choice(names))),
        ]

    return RoundModel(
        situations=tuple(
            situation(name, [[cell() for _ in range(n)] for _ in range(m)])
            for name, m, n in (("x", 2, 3), ("y", 3, 1), ("z", 3, 3))
        ),
        my_steps=steps[0], their_steps=steps[1], points_per_step=2.0, draw=0.25, comeback=comeback,
    )


def slow_values(model: RoundModel, sweeps: int = 400) -> dict[tuple[str, int, int], float]:
    """Chances to win by plain loops: a linear programme a state, swept until nothing moves by 1e-7.

    Only for rounds in which every pair of options may deal damage, so that sweeps settle on the value.
    """
    values: dict[tuple[str, int, int], float] = {}
    pairs = [(a, b) for a in range(1, model.my_steps + 1) for b in range(1, model.their_steps + 1)]
    for mine, theirs in sorted(pairs, key=sum):
        for s in model.situations:
            values[s.name, mine, theirs] = 0.5
        for _ in range(sweeps):
            moved = 0.0
            for s in model.situations:
                cells = [[_worth(model, values, cell, mine, theirs) for cell in row] for row in s.cells]
                value = _game_value(cells)
                moved = max(moved, abs(value - values[s.name, mine, theirs]))
                values[s.name, mine, theirs] = value
            if moved < 1e-7:
                break
    return values


def _worth(
    model: RoundModel, values: dict[tuple[str, int, int], float], cell: Sequence[Branch], mine: int, theirs: int
) -> float:
    total = 0.0
    for branch in cell:
        dealt, taken = branch.dealt, branch.taken
        if model.comeback is not None:
            if mine < model.comeback.below * model.my_steps:
                dealt *= model.comeback.times
            if theirs < model.comeback.below * model.their_steps:
                taken *= model.comeback.times
        mine_after = mine - math.floor(taken / model.points_per_step + 0.5)
        theirs_after = theirs - math.floor(dealt / model.points_per_step + 0.5)
        if mine_after <= 0 and theirs_after <= 0:
            worth = model.draw
        elif theirs_after <= 0:
            worth = 1.0
        elif mine_after <= 0:
            worth = 0.0
        else:
            shares = mine_after * model.their_steps, theirs_after * model.my_steps
            on_time = model.draw if shares[0] == shares[1] else float(shares[0] > shares[1])
            onward = values[branch.next, mine_after, theirs_after]
            worth = model.timeout * on_time + (1 - model.timeout) * onward
        total += branch.chance * worth
    return total


def _game_value(cells: list[list[float]]) -> float:
    rows, columns = len(cells), len(cells[0])
    found = linprog(
        [0.0] * rows + [-1.0],
        A_ub=[[-cells[i][j] for i in range(rows)] + [1.0] for j in range(columns)], b_ub=[0.0] * columns,
        A_eq=[[1.0] * rows + [0.0]], b_eq=[1.0], bounds=[(0, 1)] * rows + [(None, None)],
    )
    return float(found.x[-1])
