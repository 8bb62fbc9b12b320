"""``advisor lab-list``: what to measure next, for a character or for one situation."""

from __future__ import annotations

from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import (
    choice_options,
    distance_of,
    fighters_of,
    ids_of,
    moment_if_any,
    moment_options,
    place_options,
    replies_of,
    state_options,
)
from advisor.clients.running import run_options, run_study
from advisor.errors import QuestionError
from advisor.studies.gaps_in_data import LabListAnswer

__all__ = ["command", "view"]

PLACES = {
    "/question/me/character": "ME", "/question/them/character": "THEM", "/question/distance": "--at",
    "/question/replies": "--replies", "/question/responses": "--responses",
}


@click.command("lab-list")
@click.argument("me")
@click.argument("them", required=False)
@moment_options
@place_options
@choice_options
@state_options
@click.option("--limit", type=click.IntRange(1, 400), default=10, show_default=True, help="Properties to list.")
@run_options
def command(me: str, them: str | None, **given: Any) -> None:
    """Which property of which move should be measured next?

    Without a moment: what decides the punishes of ME after a block, against THEM or the whole roster.
    With a moment (which needs THEM): what decides that situation.

    \b
    advisor lab-list wenna --at touching
    advisor lab-list ketterby marl --i-blocked round_shovel --at touching
    """

    def body() -> dict[str, Any]:
        moment = moment_if_any(given)
        away = distance_of(given["distance"])
        if moment is None:
            rival = None if them is None else {"character": them}
            return {
                "me": {"character": me}, "them": rival, "distance": away, "pack": given["pack"],
                "limit": given["limit"],
            }
        if them is None:
            raise QuestionError(
                "value-invalid", "a moment needs `THEM`", help="name the other character", pointer="/question/them"
            )
        question = {
            **fighters_of(me, them, given), "moment": moment, "distance": away, "pack": given["pack"],
            "replies": replies_of(given["replies"]), "responses": ids_of(given["responses"]),
        }
        return {
            "question": {key: value for key, value in question.items() if value is not None}, "pack": given["pack"],
            "limit": given["limit"],
        }

    run_study("lab_list", body, given, view, places=PLACES)


def view(answer: LabListAnswer, width: int) -> RenderableType:
    """The list, a property each with some of the answers that hang on it; ``width`` is not used."""
    del width
    parts: list[RenderableType] = [
        Text(f"{answer.undecided} of {answer.answers} answers hang on something.", style="bold")
    ]
    for place, item in enumerate(answer.items, 1):
        whose = f"{item.character} " if item.character else ""
        parts.append(Text(f"{place:3} {whose}{item.move}: {item.sentence}"))
        parts.append(Padding(Text("; ".join(item.examples), style="dim"), (0, 0, 0, 6), expand=False))
    left = answer.properties - len(answer.items)
    if left > 0:
        parts.append(Text(f"{left} more properties; --limit shows more.", style="dim"))
    if not answer.complete:
        parts.append(Text("The bound on the work was reached: counts are of what was looked at.", style="dim"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)
