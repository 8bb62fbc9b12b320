"""What a round costs: five situations, growing healths, and how far the brackets close."""

from __future__ import annotations

import time

import numpy as np

from advisor.solver.round import solve_round
from advisor.solver.round_model import Branch, RoundModel, Situation

__all__ = ["grown_round", "run"]

HEALTHS = (10, 20, 40)
OPTIONS = 7
TOLERANCE = 1e-4

MIRRORED = {
    "neutral": "neutral", "advantage": "disadvantage", "disadvantage": "advantage",
    "they_down": "i_am_down", "i_am_down": "they_down",
}


def run() -> None:
    """Print seconds of processor time by healths, the widest bracket, and growth with the states."""
    print(f"\nround of {len(MIRRORED)} situations, matrices of {OPTIONS} x {OPTIONS}, to {TOLERANCE:g}")
    before = 0.0
    for steps in HEALTHS:
        model = grown_round(steps)
        start = time.process_time()
        solution = solve_round(model, tolerance=TOLERANCE)
        took = time.process_time() - start
        states = len(MIRRORED) * steps * steps
        growth = f", {took / before:.1f} times the last" if before else ""
        print(
            f"  {steps:3} x {steps:<3} healths, {states:5} states: {took:6.2f} s, {took / states * 1e3:.2f} ms a state,"
            f" widest bracket {solution.widest:.1e}, closed {solution.closed}{growth}"
        )
        before = took


def grown_round(steps: int, options: int = OPTIONS, seed: int = 5) -> RoundModel:
    """A round that is alike for both sides, with drawn outcomes; some exchanges lead on without damage."""
    rng = np.random.default_rng(seed)
    drawn: dict[str, list[list[tuple[Branch, ...]]]] = {}
    names = list(MIRRORED)
    for name in names:
        if MIRRORED[name] in drawn:
            other = drawn[MIRRORED[name]]
            drawn[name] = [[_mirrored(other[j][i]) for j in range(options)] for i in range(options)]
            continue
        cells = [[_outcome(rng, names, name) for _ in range(options)] for _ in range(options)]
        if MIRRORED[name] == name:
            for i in range(options):
                trade = 40.0 if i else 0.0
                cells[i][i] = (Branch(chance=1.0, dealt=trade, taken=trade, next=name),)
                for j in range(i):
                    cells[i][j] = _mirrored(cells[j][i])
        drawn[name] = cells
    labels = tuple(f"option_{i}" for i in range(options))
    return RoundModel(
        situations=tuple(
            Situation(name=name, mine=labels, theirs=labels, cells=tuple(tuple(row) for row in drawn[name]))
            for name in names
        ),
        my_steps=steps, their_steps=steps, points_per_step=400.0 / steps,
    )


def _mirrored(cell: tuple[Branch, ...]) -> tuple[Branch, ...]:
    return tuple(
        Branch(chance=b.chance, dealt=b.taken, taken=b.dealt, next=MIRRORED[b.next]) for b in cell
    )


def _outcome(rng: np.random.Generator, names: list[str], name: str) -> tuple[Branch, ...]:
    """A hit of mine, a hit of theirs, an exchange without damage, or a hit that may fail."""
    kind, points = rng.random(), float(rng.integers(10, 80))
    onward = str(rng.choice(names))
    mine = 0.4 if name in ("neutral", "i_am_down", "disadvantage") else 0.55
    if kind < mine:
        return (Branch(chance=1.0, dealt=points, next="they_down" if points > 50 else "advantage"),)
    if kind < 0.8:
        return (Branch(chance=1.0, taken=points, next="i_am_down" if points > 50 else "disadvantage"),)
    if kind < 0.9:
        return (Branch(chance=1.0, next=onward),)
    return (Branch(chance=0.7, dealt=points, next="they_down"), Branch(chance=0.3, next="disadvantage"))
