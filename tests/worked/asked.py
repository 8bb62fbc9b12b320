"""The pack of the worked checks, and questions about it in one line."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import msgspec

from advisor.advice import Advice
from advisor.facts import Question
from advisor.facts.question import Advantage, Blocked, Fighter, Moment
from advisor.library import Shelf, load_shelf
from advisor.rules import engine_available

__all__ = ["EVALUATORS", "FOLDER", "agreed", "ask", "blocked_by_me", "blocked_by_them", "question", "shelf_of"]

FOLDER = Path(__file__).parent / "pack" / "quay_bout"
EVALUATORS = ("durable", "plain") if engine_available() else ("plain",)
"""Where the engine does not run, the plain evaluator is all there is to ask."""


@cache
def shelf_of(engine: str) -> Shelf:
    """The pack with its rules run by ``engine``."""
    return load_shelf(FOLDER, engine=engine)


def blocked_by_me(move: str) -> Moment:
    """I blocked this move of Torrow."""
    return Blocked(attacker="them", move=move)


def blocked_by_them(move: str) -> Moment:
    """Torrow blocked this move of mine."""
    return Blocked(attacker="me", move=move)


def question(
    moment: Moment | int,
    *,
    mine: list[str] | None = None,
    theirs: list[str] | None = None,
    distance: float | None = 0.5,
    sources: bool = False,
) -> Question:
    """Hesk (me) against Torrow; a number for the moment is raw advantage out of recovery."""
    return Question(
        me=Fighter(character="hesk"),
        them=Fighter(character="torrow"),
        moment=Advantage(frames=moment) if isinstance(moment, int) else moment,
        responses=mine,
        replies=theirs,
        distance=distance,
        limit=400,
        sources=sources,
    )


def unnamed(advice: Advice) -> Advice:
    """The advice without the name of what ran the rules."""
    return msgspec.structs.replace(advice, pack=msgspec.structs.replace(advice.pack, evaluator=""))


def ask(asked: Question) -> Advice:
    """The advice on the pack; both evaluators must give the same, to the last sentence."""
    return agreed(asked, [shelf_of(engine) for engine in EVALUATORS])


def agreed(asked: Question, shelves: list[Shelf]) -> Advice:
    """The advice of all shelves, which may differ only in what ran the rules."""
    found = [shelf.ask(asked) for shelf in shelves]
    assert tuple(advice.pack.evaluator for advice in found) == EVALUATORS
    assert all(unnamed(advice) == unnamed(found[0]) for advice in found)
    return found[0]
