"""``advisor round``: chances to win the round from its situations, with a progress bar while it is worked out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click
from rich.console import Group, RenderableType
from rich.text import Text

from advisor.clients.asking import distance_of, place_options
from advisor.clients.picturing import picture_options, run_pictured
from advisor.clients.running import progress_bar, run_options
from advisor.errors import QuestionError
from advisor.library import Library
from advisor.studies.round_answer import Round, RoundAnswer, Share

if TYPE_CHECKING:
    pass

__all__ = ["command", "view"]

BAR = 20
MARKS = 9
PLACES = {
    "/steps": "--steps", "/options": "--options", "/comeback": "--comeback", "/draw": "--draw", "/clock": "--clock",
    "/show": "--show", "/tolerance": "--tolerance",
}  # fmt: skip


@click.command("round")
@click.argument("me")
@click.argument("them")
@click.option("--my-health", type=float, help="Health I have left; the character's own when left out.")
@click.option("--their-health", type=float, help="Health they have left; the character's own when left out.")
@place_options
@click.option("--steps", type=click.IntRange(1, 60), default=20, show_default=True, help="Steps of full health.")
@click.option("--options", type=click.IntRange(1, 12), default=6, show_default=True, help="Most options a side.")
@click.option("--comeback", metavar="SHARE=TIMES", help="Below this share of health damage is so many times as large.")
@click.option("--draw", type=float, default=0.5, show_default=True, help="What a double knock-out is worth.")
@click.option("--clock", default="40", show_default=True, help="Exchanges until time runs out, on average, or `none`.")
@click.option("--tolerance", type=float, default=1e-4, show_default=True, help="Widest bracket of a chance.")
@click.option("--show", metavar="SITUATION", help="The situation to show in full; the first when left out.")
@picture_options
@run_options
def command(me: str, them: str, **given: Any) -> None:
    """What are the situations of a round between ME and THEM worth, at these healths?

    \b
    advisor round marl wenna --my-health 60 --their-health 40 --at close
    advisor round marl wenna --at close --comeback 0.25=1.2 --show they_down --svg round.svg
    """

    def ask(library: Library, request: Round) -> RoundAnswer:
        # The solver's libraries are heavy: no other command is to wait for them.
        from advisor.studies.round import round_study

        shelf = library.shelf(request.pack)
        with progress_bar(given, "solving") as told:
            return round_study(shelf.pack, shelf.rules, shelf.evaluator, request, told)

    run_pictured("round", lambda: _body(me, them, given), given, view, places=PLACES, ask=ask)


def _body(me: str, them: str, given: Mapping[str, Any]) -> dict[str, Any]:
    fighters = {
        side: {key: value for key, value in (("character", who), ("health", health)) if value is not None}
        for side, who, health in (("me", me, given["my_health"]), ("them", them, given["their_health"]))
    }
    return {
        **fighters, "pack": given["pack"], "distance": distance_of(given["distance"]), "show": given["show"],
        "comeback": _comeback(given["comeback"]),
        **{name: given[name] for name in ("steps", "options", "draw", "tolerance")},
        "clock": distance_of(given["clock"]),
    }  # fmt: skip


def _comeback(text: str | None) -> dict[str, float] | None:
    if text is None:
        return None
    share, sign, times = text.partition("=")
    try:
        if not sign:
            raise ValueError
        return {"below": float(share), "damage": float(times)}
    except ValueError:
        raise QuestionError(
            "value-invalid", f"`--comeback {text}` is not of the form SHARE=TIMES", help="write `0.25=1.2`"
        ) from None


def view(answer: RoundAnswer, _width: int) -> RenderableType:
    """The chances from every situation, both mixes in the one that is shown, and where the round turns."""
    parts: list[RenderableType] = [
        Text(f"{answer.me} with {answer.my_health:g} health against {answer.them} with {answer.their_health:g}."),
        Text(answer.summary, style="bold"),
    ]
    for chance in answer.chances:
        middle = (chance.lower + chance.upper) / 2
        bar = "#" * round(middle * BAR)
        exact = f"{middle:7.2%}" if chance.upper - chance.lower <= 2e-4 else f"{chance.lower:.2%} to {chance.upper:.2%}"
        parts.append(Text(f"  {chance.name.replace('_', ' '):<16} {bar:<{BAR}} {exact}"))
    parts += [Text(f"In {answer.stand.situation.replace('_', ' ')} I do: {_mix(answer.mine)}")]
    parts += [Text(f"They do best to: {_mix(answer.theirs)}")]
    parts += [Text(f"- {one.sentence}") for one in answer.thresholds]
    parts += list(_stand(answer))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _mix(shares: Sequence[Share]) -> str:
    return ", ".join(f"{one.name} {one.share:.0%}" for one in shares)


def _stand(answer: RoundAnswer) -> Iterator[RenderableType]:
    """The chance in percent over both healths, a few of each."""
    lower, upper = answer.stand.lower, answer.stand.upper
    rows, columns = _marks(len(lower)), _marks(len(lower[0]))
    step = answer.points_per_step
    yield Text(f"\nChance to win in %, {answer.stand.situation.replace('_', ' ')}: my health down, theirs across.")
    yield Text("       " + "".join(f"{(j + 1) * step:>6.0f}" for j in columns), style="dim")
    for i in rows:
        cells = "".join(f"{50 * (lower[i][j] + upper[i][j]):>6.1f}" for j in columns)
        yield Text(f"{(i + 1) * step:>7.0f}{cells}")


def _marks(count: int) -> list[int]:
    """At most ``MARKS`` places among ``count``, both ends included."""
    if count <= MARKS:
        return list(range(count))
    return sorted({round(k * (count - 1) / (MARKS - 1)) for k in range(MARKS)})
