"""One option of mine against one of theirs on the demo pack, and the sentences that the answer gives."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from advisor.advice import Advice, advise
from advisor.advice.answer import Against, ResponseAdvice
from advisor.facts import Question
from advisor.facts.question import Fighter, KnockedDown, Neutral
from tests.unit.advice.demo import shelf

__all__ = ["Answer", "advised", "duel", "lying"]


class Answer(Struct):
    """The response, what came of it against the reply, and every sentence by rule."""

    response: ResponseAdvice
    against: Against
    said: dict[str, str]


def lying(frames: int) -> KnockedDown:
    """They lie face up, and get up ``frames`` after I am free."""
    return KnockedDown(floored="them", state="face_up", frames=frames)


def advised(
    mine: tuple[str, str],
    theirs: tuple[str, str],
    distance: float = 0.5,
    *,
    moment: Any = None,
    me: dict[str, Any] | None = None,
    them: dict[str, Any] | None = None,
    **more: Any,
) -> Advice:
    """``mine`` and ``theirs`` are character and option; ``me`` and ``them`` what is known of either side."""
    at_hand = shelf()
    question = Question(
        me=Fighter(character=mine[0], **(me or {})), them=Fighter(character=theirs[0], **(them or {})),
        moment=moment or Neutral(), distance=distance, responses=[mine[1]], replies=[theirs[1]], **more,
    )  # fmt: skip
    return advise(at_hand.pack, at_hand.rules, at_hand.evaluator, question)


def duel(mine: tuple[str, str], theirs: tuple[str, str], distance: float = 0.5, **more: Any) -> Answer:
    """The one response of ``advised`` and its one exchange."""
    response = advised(mine, theirs, distance, **more).responses[0]
    against = response.against[0]
    return Answer(response=response, against=against, said={r.rule: r.sentence for r in against.reasons})
