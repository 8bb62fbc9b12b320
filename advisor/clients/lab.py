"""The lab notebook beside a question: opened only when there is one."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.facts.question import Question
from advisor.library import Shelf
from advisor.service.settings import Settings

if TYPE_CHECKING:
    from advisor.advice import Tried

__all__ = ["default_file", "tried_in_lab"]


def default_file() -> Path:
    """The notebook's file where no address is set, as ``notebook.where`` has it: known here without a database."""
    given = Path(os.environ.get("XDG_DATA_HOME") or "")
    folder = given if given.is_absolute() else Path.home() / ".local" / "share"
    return folder / "situation-advisor" / "notebook.sqlite"


def tried_in_lab(question: Question, shelf: Shelf, settings: Settings) -> Tried | None:
    """The trials of the question's situation; None without a notebook, which is not made then.

    Errors: ``QuestionError`` for a notebook that cannot be opened.
    """
    mode = question.trials or settings.trials
    if mode == "ignore" or not (settings.notebook or default_file().is_file()):
        return None
    from advisor.advice import TrialRules
    from advisor.notebook import Notebook, notebook_url
    from advisor.notebook.tried import tried_for
    from advisor.notebook.where import read_url

    address = settings.notebook or notebook_url()
    url = read_url(address)
    if url.get_backend_name() == "sqlite" and not Path(str(url.database)).is_file():
        return None
    rules = TrialRules(least=settings.trials_least, confidence=settings.trials_confidence / 100)
    with Notebook(address) as notebook:
        return tried_for(notebook, question, shelf.pack, mode, rules)
