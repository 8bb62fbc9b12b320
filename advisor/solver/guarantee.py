"""What a fixed stationary mix surely gets: the other side's Markov decision problem, solved and certified.

Once my mix is fixed in every state, the other side faces a Markov decision problem and answers as well as it can.
Whatever that problem's value, I get at least it, so it is a lower bound on the value of the game. Endless play pays
nothing. The bound is not taken on trust from the linear equations: it is lowered by a slack and put through
``v <= min_j (c_j + P_j v)`` again in floating point, with a margin for rounding (Knaster-Tarski). A bound that fails
that test is thrown away.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["ROUNDING", "Bools", "Floats", "best_reply_value"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Policy = NDArray[np.intp]

ROUNDING = 1e-14
"""Margin, relative to the size of the values, for one evaluation of a cell's expectation in floating point."""

LEAK = 1e-15
"""Chances are shrunk by this where rewards are chances, so that the equations can be solved; it lowers the bound."""

STEPS = 200


def best_reply_value(
    rewards: Floats, moves: Floats, mixes: Floats, live: Bools, *, signed: bool, rounding: float = ROUNDING
) -> Floats:
    """A certified lower bound on what ``mixes`` get, ``-inf`` in a game where none could be certified.

    ``v <= min_j sum_i x_i (rewards_ij + sum_t moves_ijt v_t)``, the least such solution when play may be endless.

    Shape: k games of s states, m x n cells: ``rewards`` [k, s, m, n], ``moves`` [s, m, n, s] (the same in all
    games), ``mixes`` [k, s, m], ``live`` [s, n] (the columns that exist); the answer [k, s].
    Units: those of ``rewards``; with ``signed`` false they are chances (at least 0), with ``signed`` true they may
    be anything, and every row of ``moves`` must sum to less than 1.
    """
    games, states, rows, columns = rewards.shape
    pay = np.matmul(mixes[:, :, None, :], rewards)[:, :, 0, :]
    flat = moves.reshape(states, rows, columns * states)
    go = np.matmul(mixes.transpose(1, 0, 2), flat).transpose(1, 0, 2).reshape(games, states, columns, states)
    if not signed:
        go *= 1 - LEAK
        pay = np.where(pay < LEAK, 0.0, pay)
        held = _held_at_nothing(pay, go, live)
        go = np.where(held[:, :, None, None], 0.0, go)
        pay = np.where(held[:, :, None], 0.0, pay)
    pay = np.where(live, pay, np.inf)
    try:
        value, policy = _cheapest(pay, go)
        length = _longest(go, live, policy)
    except np.linalg.LinAlgError:
        return np.full((games, states), -np.inf)
    return _certified(pay, go, value, 2 * length, signed, rounding)


def _held_at_nothing(pay: Floats, go: Floats, live: Bools) -> Bools:
    """States in which the other side can play for ever, or to its own win, without paying anything.

    Outside of them every policy ends with certainty, so the equations have one solution.
    """
    held = np.ones(pay.shape[:2], dtype=bool)
    free = (pay == 0) & live
    for _ in range(pay.shape[1]):
        leaks = np.matmul(go, (~held)[:, None, :, None].astype(np.float64))[..., 0] > 0
        shrunk = held & (free & ~leaks).any(axis=2)
        if (shrunk == held).all():
            break
        held = shrunk
    return held


def _under(table: Floats, policy: Policy) -> Floats:
    """The entries of ``table`` [k, s, n, ...] that ``policy`` [k, s] picks."""
    games, states = policy.shape
    picked: Any = table[np.arange(games)[:, None], np.arange(states)[None, :], policy]
    return np.asarray(picked, dtype=np.float64)


def _solved(go: Floats, policy: Policy, right: Floats) -> Floats:
    eye = np.eye(policy.shape[1])
    return np.asarray(np.linalg.solve(eye - _under(go, policy), right[..., None])[..., 0], dtype=np.float64)


def _ahead(go: Floats, value: Floats) -> Floats:
    """``P_j v`` for every column: [k, s, n]."""
    return np.asarray(np.matmul(go, value[:, None, :, None])[..., 0], dtype=np.float64)


def _cheapest(pay: Floats, go: Floats) -> tuple[Floats, Policy]:
    """Value and policy of the side that keeps the payment small, by policy iteration."""
    policy = pay.argmin(axis=2)
    value = _solved(go, policy, _under(pay, policy))
    for _ in range(STEPS):
        every = pay + _ahead(go, value)
        better = every.min(axis=2) < _under(every, policy) - 1e-13 * (1 + np.abs(value))
        if not better.any():
            break
        policy = np.where(better, every.argmin(axis=2), policy)
        value = _solved(go, policy, _under(pay, policy))
    return value, policy


def _longest(go: Floats, live: Bools, policy: Policy) -> Floats:
    """Expected number of exchanges until play ends, were the other side to draw it out."""
    one = np.ones(policy.shape)
    length = _solved(go, policy, one)
    for _ in range(STEPS):
        every = np.where(live, _ahead(go, length), -np.inf)
        longer = every.max(axis=2) > _under(every, policy) + 1e-6 * np.abs(length)
        if not longer.any():
            break
        policy = np.where(longer, every.argmax(axis=2), policy)
        length = _solved(go, policy, one)
    return length


def _certified(
    pay: Floats, go: Floats, value: Floats, length: Floats, signed: bool, rounding: float
) -> Floats:
    """``value`` lowered by ``slack * length`` where it then passes the inequality, else ``-inf``.

    ``length >= 1 + max_j P_j length``, so lowering by a multiple of it gains that multiple of slack in every state.
    """
    margin = rounding * (1 + np.abs(value).max(axis=1, keepdims=True))
    miss = np.maximum(value - (pay + _ahead(go, value)).min(axis=2), 0).max(axis=1, keepdims=True)
    low = value - (miss + 2 * margin) * length
    if not signed:
        low = np.maximum(low, 0.0)
    holds = low <= (pay + _ahead(go, low)).min(axis=2) - margin
    if not signed:
        holds |= low <= 0
    good = (holds & np.isfinite(low)).all(axis=1, keepdims=True)
    return np.where(good, low, -np.inf)
