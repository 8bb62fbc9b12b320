"""The trials that a question is answered with."""

from __future__ import annotations

from advisor.advice import TrialRules, Tried
from advisor.advice.evidence import spread_of
from advisor.facts.question import Question, TrialMode
from advisor.notebook.store import Notebook
from advisor.notebook.trial import situation_key, situation_of
from advisor.pack.model import Pack

__all__ = ["tried_for"]


def tried_for(
    notebook: Notebook, question: Question, pack: Pack, mode: TrialMode = "follow", rules: TrialRules | None = None
) -> Tried | None:
    """The trials of the question's situation, and its player's timing spread; None when there are none to heed.

    ``mode`` and ``rules`` hold where the question says nothing. Errors: ``Unanswerable`` for a distance that the
    pack has not.
    """
    wanted = question.trials or mode
    if wanted == "ignore":
        return None
    counts = notebook.counted(situation_key(situation_of(question, pack)))
    if not counts:
        return None
    known = rules or TrialRules()
    spread = spread_of(notebook.timed(question.player), known.confidence) if question.player else None
    return Tried(counts=counts, mode=wanted, rules=known, spread=spread)
