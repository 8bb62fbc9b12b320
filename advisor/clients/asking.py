"""The options of ``advisor ask`` and the question that they spell."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click
import msgspec

from advisor.errors import AdvisorError, QuestionError
from advisor.facts.question import Question
from advisor.service.reading import invalid
from advisor.service.spelling import known_words

__all__ = ["MOMENTS", "question_of", "question_options"]

F = TypeVar("F", bound=Callable[..., Any])

MOMENTS = {
    "i_blocked": ("blocked", "them", "I blocked this move of theirs."),
    "they_blocked": ("blocked", "me", "They blocked this move of mine."),
    "i_was_hit": ("hit", "them", "This move of theirs hit me."),
    "they_were_hit": ("hit", "me", "This move of mine hit them."),
    "i_was_counter_hit": ("counter_hit", "them", "This move of theirs counter-hit me."),
    "they_were_counter_hit": ("counter_hit", "me", "This move of mine counter-hit them."),
    "i_whiffed": ("whiffed", "me", "This move of mine missed."),
    "they_whiffed": ("whiffed", "them", "This move of theirs missed."),
}
"""Option by name: kind of moment, whose move it was, help."""

OPTIONS = (
    *(click.option(f"--{name.replace('_', '-')}", name, metavar="MOVE", help=said)
      for name, (_, _, said) in MOMENTS.items()),
    click.option("--advantage", type=click.IntRange(-200, 200), help="Raw frame advantage of mine."),
    click.option("--neutral", is_flag=True, help="Both are free."),
    click.option(
        "--held", type=click.Choice(["recovery", "blockstun", "hitstun"]),
        help="With --advantage: what holds the later side (recovery when left out).",
    ),
    click.option("--at", "distance", help="Distance at contact: a number or a named distance; unknown when left out."),
    click.option("--pack", help="Pack id."),
    click.option("--replies", help="Their options to weigh against: ids with commas, `key` or `all`."),
    click.option("--responses", help="Weigh only these options of mine: ids with commas."),
    click.option("--my-health", type=float, help="Health I have left; the character's own when left out."),
    click.option("--their-health", type=float, help="Health they have left; the character's own when left out."),
    click.option("--my-meter", type=int, help="Meter I have; unknown when left out."),
    click.option("--their-meter", type=int, help="Meter they have; unknown when left out."),
    click.option("--my-stance", help="Stance I am in; none when left out."),
    click.option("--their-stance", help="Stance they are in; none when left out."),
    click.option("--my-back-turned", is_flag=True, help="My back is turned."),
    click.option("--their-back-turned", is_flag=True, help="Their back is turned."),
    click.option("--near-wall/--no-wall", default=None, help="They are (not) near a wall; unknown when left out."),
    click.option("--my-wall/--no-my-wall", default=None, help="I am (not) near a wall; unknown when left out."),
    click.option("--limit", type=click.IntRange(1, 400), default=8, show_default=True, help="Responses to list."),
)
PLACES = {
    "/me/character": "ME", "/them/character": "THEM", "/me/health": "--my-health", "/them/health": "--their-health",
    "/me/meter": "--my-meter", "/them/meter": "--their-meter", "/me/stance": "--my-stance",
    "/them/stance": "--their-stance", "/distance": "--at", "/pack": "--pack", "/replies": "--replies",
    "/responses": "--responses",
}
"""What spells the value at a pointer of the question."""


def question_options(command: F) -> F:
    """The options of a question, in the order of ``OPTIONS``."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


def question_of(me: str, them: str, sources: bool, given: dict[str, Any]) -> Question:
    """The question that the options spell. Errors: ``QuestionError``."""
    body: dict[str, Any] = {
        "me": _fighter(me, "my", given["near_wall"], given),
        "them": _fighter(them, "their", given["my_wall"], given),
        "moment": _moment(given),
        "pack": given["pack"],
        "distance": _distance(given["distance"]),
        "limit": given["limit"],
        "sources": sources,
    }
    if given["replies"] is not None:
        words = _ids(given["replies"])
        body["replies"] = words[0] if words in (["key"], ["all"]) else words
    if given["responses"] is not None:
        body["responses"] = _ids(given["responses"])
    try:
        return msgspec.convert(body, Question)
    except msgspec.ValidationError as error:
        raise _in_options(invalid(str(error), body, known_words), given) from None


def _fighter(character: str, whose: str, near_wall: bool | None, given: dict[str, Any]) -> dict[str, Any]:
    return {
        "character": character,
        "health": given[f"{whose}_health"],
        "meter": given[f"{whose}_meter"],
        "stance": given[f"{whose}_stance"],
        "back_turned": given[f"{whose}_back_turned"],
        "near_wall": near_wall,
    }


def _in_options(error: AdvisorError, given: dict[str, Any]) -> QuestionError:
    """The error with the option that spells the faulty value in front."""
    at = error.pointer
    if at == "/moment/move":
        option = next((f"--{name.replace('_', '-')}" for name in MOMENTS if given[name] is not None), at)
    else:
        option = next((o for place, o in PLACES.items() if at == place or at.startswith(f"{place}/")), at)
    return QuestionError(error.code, f"`{option}`: {error.message}", help=error.help, pointer=at)


def _ids(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _distance(text: str | None) -> float | str | None:
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return text


def _moment(given: dict[str, Any]) -> dict[str, Any]:
    chosen = [name for name in MOMENTS if given[name] is not None]
    raw = given["advantage"] is not None
    named = len(chosen) + raw + given["neutral"]
    if named != 1:
        raise QuestionError(
            "question-ambiguous" if named else "value-invalid",
            f"{named} moments are named" if named else "no moment is named",
            help="name one of " + ", ".join(f"--{n.replace('_', '-')}" for n in (*MOMENTS, "advantage", "neutral")),
            pointer="/moment",
        )
    if given["held"] and not raw:
        raise QuestionError(
            "question-impossible", "`--held` goes with `--advantage`", help="leave --held out", pointer="/moment/held"
        )
    if given["neutral"]:
        return {"kind": "neutral"}
    if raw:
        return {"kind": "advantage", "frames": given["advantage"], "held": given["held"] or "recovery"}
    kind, attacker, _ = MOMENTS[chosen[0]]
    return {"kind": kind, "attacker": attacker, "move": given[chosen[0]]}
