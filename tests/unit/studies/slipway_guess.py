"""Guesses on the slipway: its two fighters with narrow guards and a knockdown, and a second solver."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from advisor.pack.model import UPRIGHT, Guard, Knockdown, Leaves, Move, Pack
from advisor.studies.guess import guess
from advisor.studies.guess_model import Guess, GuessAnswer
from advisor.units import FOREVER, Span
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import ALWAYS, move, pack_of

__all__ = ["FLAT", "LIE", "NEAR", "UPRIGHT_NEAR", "asked", "cell", "guessed", "second_value", "with_guards"]

NEAR: dict[str, Any] = {"kind": "neutral"}
UPRIGHT_NEAR = Leaves(knockdown=UPRIGHT, distance=0)
FLAT = Leaves(knockdown="flat", distance=0)
LIE: dict[str, Any] = {"kind": "knockdown", "floored": "them", "state": "flat", "frames": 20}

GUARDS = (
    move("stand_guard", kind="guard", total=FOREVER, guard=(Guard(span=ALWAYS, guards=frozenset({"standing"})),)),
    move(
        "crouch_guard", kind="guard", total=FOREVER, crouching=(ALWAYS,),
        guard=(Guard(span=ALWAYS, guards=frozenset({"crouching"})),),
    ),
)  # fmt: skip
DOWN = frozenset({"flat"})
RISE = move(
    "rise", total=FOREVER, wakes_from=DOWN,
    guard=(Guard(span=Span(10, FOREVER), guards=frozenset({"standing"})),),
)  # fmt: skip
RISE_LOW = move(
    "rise_low", total=FOREVER, wakes_from=DOWN, crouching=(Span(10, FOREVER),),
    guard=(Guard(span=Span(10, FOREVER), guards=frozenset({"crouching"})),),
)  # fmt: skip


def with_guards(mine: list[Move], theirs: list[Move], *system: Move) -> Pack:
    """The pack with a guard for each height, more of ``system``, and two ways up out of ``flat``."""
    pack = pack_of(mine, theirs)
    ways = (RISE, RISE_LOW)
    conventions = msgspec.structs.replace(
        pack.conventions, knockdowns={"flat": Knockdown(id="flat", wake_ups=tuple(m.id for m in ways))}
    )
    return msgspec.structs.replace(
        pack, conventions=conventions, system={m.id: m for m in (*GUARDS, *system)}, wake_ups={m.id: m for m in ways}
    )


def asked(**request: Any) -> Guess:
    """The request of ada against bram in neutral, close, as JSON spells it."""
    given = {
        "me": {"character": "ada"}, "them": {"character": "bram"}, "moment": NEAR, "distance": 0.5, "limit": 40,
        **request,
    }
    return msgspec.convert(given, Guess)


def guessed(pack: Pack, **request: Any) -> GuessAnswer:
    """The answer, the rules the core's."""
    at_hand = shelf()
    return guess(pack, at_hand.rules, at_hand.evaluator, asked(**request))


def cell(answer: GuessAnswer, mine: str, theirs: str) -> Any:
    """The payoff of two options by id."""
    row = [o.option for o in answer.mine].index(mine)
    return answer.table[row][[o.option for o in answer.theirs].index(theirs)]


def second_value(payoff: Sequence[Sequence[float]] | NDArray[np.float64]) -> float:
    """The value of the game by a linear program of its own: most v with x A >= v, x a mix."""
    a = np.asarray(payoff, dtype=float)
    m, n = a.shape
    found = linprog(
        np.r_[np.zeros(m), -1.0], A_ub=np.c_[-a.T, np.ones(n)], b_ub=np.zeros(n),
        A_eq=np.r_[np.ones(m), 0.0][None, :], b_eq=[1.0], bounds=[(0, None)] * m + [(None, None)],
    )  # fmt: skip
    assert found.status == 0
    return -float(found.fun)
