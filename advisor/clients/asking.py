"""The options that spell a question, shared by ``ask`` and the commands of the studies, and what they spell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

import click
import msgspec

from advisor.errors import AdvisorError, QuestionError
from advisor.facts.question import Question
from advisor.service.asking.reading import invalid
from advisor.service.asking.spelling import words_of

__all__ = [
    "MOMENTS", "PLACES", "choice_options", "distance_of", "explain_option", "fighters_of", "ids_of", "moment_if_any",
    "moment_of", "moment_options", "place_options", "question_of", "question_options", "replies_of", "request_of",
    "situation_of", "state_options", "trials_options",
]

F = TypeVar("F", bound=Callable[..., Any])
R = TypeVar("R")

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

_MOMENT_OPTIONS = (
    *(click.option(f"--{name.replace('_', '-')}", name, metavar="MOVE", help=said)
      for name, (_, _, said) in MOMENTS.items()),
    click.option("--advantage", type=click.IntRange(-200, 200), help="Raw frame advantage of mine."),
    click.option(
        "--held", type=click.Choice(["recovery", "blockstun", "hitstun"]),
        help="With --advantage: what holds the later side (recovery when left out).",
    ),
    click.option("--knockdown", metavar="STATE", help="Somebody lies on the ground in this knockdown state."),
    click.option(
        "--floored", type=click.Choice(["me", "them"]), help="With --knockdown: who lies there (them when left out).",
    ),
    click.option(
        "--frames", type=click.IntRange(-200, 300),
        help="With --knockdown: frames by which the other can act before a wake-up option begins.",
    ),
    click.option("--neutral", is_flag=True, help="Both are free."),
)
_STATE_OPTIONS = (
    click.option("--my-health", type=float, help="Health I have left; the character's own when left out."),
    click.option("--their-health", type=float, help="Health they have left; the character's own when left out."),
    click.option("--my-meter", type=int, help="Meter I have; unknown when left out."),
    click.option("--their-meter", type=int, help="Meter they have; unknown when left out."),
    click.option("--my-stance", help="Stance I am in; none when left out."),
    click.option("--their-stance", help="Stance they are in; none when left out."),
    click.option("--my-back-turned", is_flag=True, help="My back is turned."),
    click.option("--their-back-turned", is_flag=True, help="Their back is turned."),
    click.option("--near-wall/--no-wall", default=None, help="They are (not) near a wall; unknown when left out."),
    click.option("--floor-breaks/--no-floor-break", default=None, help="The floor here can (not) break; else unknown."),
    click.option("--my-wall/--no-my-wall", default=None, help="I am (not) near a wall; unknown when left out."),
)
_PLACE_OPTIONS = (
    click.option("--at", "distance", help="Distance at contact: a number or a named distance; unknown when left out."),
    click.option("--pack", help="Pack id."),
)
_CHOICE_OPTIONS = (
    click.option("--replies", help="Their options to weigh against: ids with commas, `key` or `all`."),
    click.option("--responses", help="Weigh only these options of mine: ids with commas."),
)
_LIMIT_OPTION = click.option(
    "--limit", type=click.IntRange(1, 400), default=8, show_default=True, help="Responses to list."
)
_EXPLAIN_OPTION = click.option(
    "--explain", type=click.Choice(["none", "brief", "full"]), default="full", show_default=True,
    help="How much of the proof to work out: none, sentences (brief), or with all facts.",
)
_TRIALS_OPTIONS = (
    click.option(
        "--trials", type=click.Choice(["follow", "show", "ignore"]),
        help="What lab trials of this situation do: decide where they are clear (follow), stand beside, or nothing.",
    ),
    click.option("--player", help="Who plays: their trials at known windows give the timing spread."),
)
PLACES = {
    "/me/character": "ME", "/them/character": "THEM", "/me/health": "--my-health", "/them/health": "--their-health",
    "/me/meter": "--my-meter", "/them/meter": "--their-meter", "/me/stance": "--my-stance",
    "/them/stance": "--their-stance", "/distance": "--at", "/pack": "--pack", "/replies": "--replies",
    "/responses": "--responses", "/limit": "--limit", "/moment/state": "--knockdown", "/moment/frames": "--frames",
    "/moment/floored": "--floored", "/player": "--player",
}
"""What spells the value at a pointer of the question."""


def _with(options: Iterable[Callable[[F], F]], command: F) -> F:
    """The command with options in the order of the table."""
    for option in reversed(tuple(options)):
        command = option(command)
    return command


def moment_options(command: F) -> F:
    """The options that name the moment; ``moment_of`` reads them."""
    return _with(_MOMENT_OPTIONS, command)


def state_options(command: F) -> F:
    """The options that say what is known of either side; ``fighters_of`` reads them."""
    return _with(_STATE_OPTIONS, command)


def place_options(command: F) -> F:
    """The options ``--at`` (the value is called ``distance``) and ``--pack``."""
    return _with(_PLACE_OPTIONS, command)


def choice_options(command: F) -> F:
    """The options ``--replies`` and ``--responses``; ``replies_of`` and ``ids_of`` read them."""
    return _with(_CHOICE_OPTIONS, command)


def explain_option(command: F) -> F:
    """The option ``--explain``: how much of the proof to give."""
    return _EXPLAIN_OPTION(command)


def trials_options(command: F) -> F:
    """The options ``--trials`` and ``--player``: what lab trials have to say."""
    return _with(_TRIALS_OPTIONS, command)


def question_options(command: F) -> F:
    """The options of a question: moment, place, choice, state, limit, depth of the proof."""
    return moment_options(place_options(choice_options(state_options(_LIMIT_OPTION(explain_option(command))))))


def situation_of(me: str, them: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """``me``, ``them``, ``moment``, ``pack`` and ``distance`` of a request. Errors: ``QuestionError``."""
    return {
        **fighters_of(me, them, given),
        "moment": moment_of(given),
        "pack": given["pack"],
        "distance": distance_of(given["distance"]),
        "floor_breaks": given["floor_breaks"],
    }


def question_of(me: str, them: str, sources: bool, given: Mapping[str, Any]) -> Question:
    """The question that the options spell. Errors: ``QuestionError``."""
    body = {
        **situation_of(me, them, given), "replies": replies_of(given["replies"]),
        "responses": ids_of(given["responses"]), "limit": given["limit"], "sources": sources,
        "explain": given["explain"], "trials": given.get("trials"), "player": given.get("player"),
    }
    return request_of(body, Question, given)


def request_of(
    body: Mapping[str, Any], kind: type[R], given: Mapping[str, Any], places: Mapping[str, str] | None = None
) -> R:
    """The request that ``body`` spells as JSON has it; keys that are None are left out.

    Errors: ``QuestionError`` naming the option that spells the faulty value: ``places`` (JSON
    pointer to option) on top of ``PLACES``.
    """
    sent = {key: value for key, value in body.items() if value is not None}
    try:
        return msgspec.convert(sent, kind)
    except msgspec.ValidationError as error:
        found = invalid(str(error), sent, words_of(kind))
        raise _in_options(found, given, {**PLACES, **(places or {})}) from None


def fighters_of(me: str, them: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """``me`` and ``them`` with the state that ``state_options`` say; a wall is near the other side."""
    return {
        "me": _fighter(me, "my", given["near_wall"], given), "them": _fighter(them, "their", given["my_wall"], given)
    }


def _fighter(character: str, whose: str, near_wall: bool | None, given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "character": character,
        "health": given[f"{whose}_health"],
        "meter": given[f"{whose}_meter"],
        "stance": given[f"{whose}_stance"],
        "back_turned": given[f"{whose}_back_turned"],
        "near_wall": near_wall,
    }


def _in_options(error: AdvisorError, given: Mapping[str, Any], places: Mapping[str, str]) -> QuestionError:
    """The error with the option that spells the faulty value in front."""
    at = error.pointer
    if at == "/moment/move":
        option = next((_option(name) for name in MOMENTS if given.get(name) is not None), at)
    else:
        option = next((o for place, o in places.items() if at == place or at.startswith(f"{place}/")), at)
    return QuestionError(error.code, f"`{option}`: {error.message}", help=error.help, pointer=at)


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def ids_of(text: str | None) -> list[str] | None:
    """Ids with commas between them; None when nothing was given."""
    return None if text is None else [word.strip() for word in text.split(",") if word.strip()]


def replies_of(text: str | None) -> list[str] | str | None:
    """Ids with commas between them, or one of the words `key` and `all`; None when nothing was given."""
    words = ids_of(text)
    return words[0] if words in (["key"], ["all"]) else words


def distance_of(text: str | None) -> float | str | None:
    """A number or else the name of a distance; None when nothing was given."""
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return text


def moment_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """The moment that ``moment_options`` name. Errors: ``QuestionError`` when it is not exactly one."""
    moment = moment_if_any(given)
    if moment is None:
        raise QuestionError("value-invalid", "no moment is named", help=_MOMENT_HELP, pointer="/moment")
    return moment


def moment_if_any(given: Mapping[str, Any]) -> dict[str, Any] | None:
    """As ``moment_of``, but None when none is named. Errors: ``QuestionError`` for two, or one that is half said."""
    chosen = [name for name in MOMENTS if given[name] is not None]
    raw, down = given["advantage"] is not None, given["knockdown"] is not None
    named = len(chosen) + raw + down + given["neutral"]
    if named > 1:
        raise QuestionError(
            "question-ambiguous", f"{named} moments are named", help=_MOMENT_HELP, pointer="/moment"
        )
    _check_company(given, raw, down)
    if given["neutral"]:
        return {"kind": "neutral"}
    if raw:
        return {"kind": "advantage", "frames": given["advantage"], "held": given["held"] or "recovery"}
    if down:
        return {
            "kind": "knockdown", "floored": given["floored"] or "them", "state": given["knockdown"],
            "frames": given["frames"],
        }
    if not chosen:
        return None
    kind, attacker, _ = MOMENTS[chosen[0]]
    return {"kind": kind, "attacker": attacker, "move": given[chosen[0]]}


_MOMENT_HELP = "name one of " + ", ".join(_option(n) for n in (*MOMENTS, "advantage", "knockdown", "neutral"))


def _check_company(given: Mapping[str, Any], raw: bool, down: bool) -> None:
    """Refuse options that go with a moment that was not named, and a knockdown whose frames are not said."""
    owners = {"held": (raw, "advantage"), "floored": (down, "knockdown"), "frames": (down, "knockdown")}
    for name, (there, owner) in owners.items():
        if given[name] is not None and not there:
            raise QuestionError(
                "question-impossible", f"`--{name}` goes with `--{owner}`", help=f"leave --{name} out",
                pointer=f"/moment/{name}",
            )
    if down and given["frames"] is None:
        raise QuestionError(
            "value-invalid", "`--knockdown` needs `--frames`",
            help="add --frames: how many frames before a wake-up option begins the other can act",
            pointer="/moment/frames",
        )
