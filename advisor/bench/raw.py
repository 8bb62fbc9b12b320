"""The bare engine: the very calls that one advice makes to it, recorded and played again."""

from __future__ import annotations

from collections.abc import Callable

from advisor.facts.question import Question
from advisor.library import Shelf
from advisor.rules.engine import replay

__all__ = ["raw_sessions"]


def raw_sessions(shelf: Shelf, question: Question) -> Callable[[], object]:
    """A function that repeats the engine calls of one advice and nothing else.

    The facts are ready as text; assertions, firings and deletions are the engine's own.
    """
    return replay(shelf.evaluator, lambda: shelf.ask(question))
