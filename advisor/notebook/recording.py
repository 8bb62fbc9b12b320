"""A trial made from a question: the situation as the notebook knows it, the options as the pack has them."""

from __future__ import annotations

import re
from typing import Any

import msgspec

from advisor.errors import AdvisorError
from advisor.facts.lookup import character_in, no_option
from advisor.facts.question import Question
from advisor.facts.situation import settle
from advisor.notebook.trial import Situation, Trial, situation_of
from advisor.pack.model import Pack

__all__ = ["check_option", "situation_in", "trial_of"]

DELAY = re.compile(r"-?[0-9]{1,5}")


def situation_in(question: Question, pack: Pack, within: str = "") -> Situation:
    """The situation of a question about ``pack``; ``within`` is where the question stands in the body.

    Errors: ``Unanswerable`` for what the pack has not, ``QuestionError`` for a situation that cannot be.
    """
    try:
        # Only what a question can be asked about is ever looked up; which options are weighed does not matter.
        settle(pack, msgspec.structs.replace(question, responses=None, replies=None))
        return situation_of(question, pack)
    except AdvisorError as error:
        if error.pointer:
            error.pointer = f"{within}{error.pointer}"
        raise


def check_option(pack: Pack, character: str, wanted: str, pointer: str) -> None:
    """Errors: ``Unanswerable`` for an option that the character has not; a delay may stand behind its ``@``."""
    owner = character_in(pack, character, pointer)
    known = {**owner.moves, **pack.system, **pack.wake_ups}
    move, at, delay = wanted.partition("@")
    if move not in known or (at and not DELAY.fullmatch(delay)):
        raise no_option(pack, owner, wanted, known, pointer)


def trial_of(
    pack: Pack, question: Question, *, response: str, reply: str | None, within: str = "", **kept: Any
) -> Trial:
    """The record of ``response`` against ``reply`` in the question's situation, with what else is ``kept`` of it.

    Errors: as ``situation_in``; ``Unanswerable`` for an option that the pack has not.
    """
    situation = situation_in(question, pack, within)
    check_option(pack, question.me.character, response, "/response")
    if reply is not None:
        check_option(pack, question.them.character, reply, "/reply")
    return Trial(
        situation=situation, response=response, reply=reply, data_version=pack.version, pack_hash=pack.hash, **kept
    )
