"""``advisor replay``: an exchange as two rows of one character a frame, with what happens below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.advice.wording import property_name
from advisor.clients.asking import explain_option, moment_options, place_options, situation_of
from advisor.clients.asking import state_options as known_state
from advisor.clients.picturing import picture_options, run_pictured
from advisor.clients.running import run_options
from advisor.pictures.replay_strip import body_letter, legend_of, phase_letter, phase_of
from advisor.studies.replay_answer import Acting, Event, ReplayAnswer, SideFrame, StripFrame

__all__ = ["command", "view"]

PLACES = {
    "/option": "--option", "/reply": "--reply", "/delay": "--delay", "/frames": "--most-frames",
    "/explain": "--explain",
}
FIRST = 6
"""Columns in front of a row."""

STYLES = {"active": "bold red", "parrying": "bold cyan", "hitstun": "magenta", "blockstun": "blue", "startup": "yellow"}
"""Colour adds to the letters and says nothing by itself."""


@click.command("replay")
@click.argument("me")
@click.argument("them")
@moment_options
@place_options
@click.option("--option", required=True, metavar="MOVE", help="My option; `id@n` is a follow-up delayed to frame n.")
@click.option("--reply", required=True, metavar="MOVE", help="Theirs.")
@click.option(
    "--delay", type=click.IntRange(0, 120), default=0, show_default=True,
    help="Frames by which I begin late; by which they do when I am on the floor.",
)
@click.option(
    "--most-frames", type=click.IntRange(1, 600), default=200, show_default=True, help="Most frames to show."
)
@click.option("--why", is_flag=True, help="Show the rules and facts behind the verdict.")
@explain_option
@picture_options
@known_state
@run_options
def command(me: str, them: str, **given: Any) -> None:
    """What happens, frame by frame, when ME takes one option and THEM another?

    \b
    advisor replay wenna marl --i-blocked cinder_knee --at touching --option putty_jab --reply guard
    advisor replay marl wenna --knockdown face_up --frames 14 --at close --option full_steam --reply push_up
    advisor replay wenna marl --neutral --at mid --option putty_jab --reply jump --svg strip.svg
    """
    run_pictured(
        "replay",
        lambda: {
            **situation_of(me, them, given), "option": given["option"], "reply": given["reply"],
            "delay": given["delay"], "frames": given["most_frames"], "explain": given["explain"],
        },
        given,
        lambda answer, width: view(answer, width, why=given["why"]),
        places=PLACES,
    )  # fmt: skip


def view(answer: ReplayAnswer, width: int, *, why: bool = False) -> RenderableType:
    """The strip in pieces that fit ``width`` columns, legend, events and verdict; with ``why`` its proof too."""
    parts: list[RenderableType] = [
        Text(answer.situation.sentence), Text(answer.summary, "bold"),
        _side("me", answer.me, answer), _side("them", answer.them, answer),
    ]  # fmt: skip
    fit = max(10, (width - FIRST - 1) // 10 * 10)
    for at in range(0, len(answer.frames), fit):
        parts += _piece(answer.frames[at : at + fit], answer.contact.frame)
    parts.append(Text(_legend(answer), "dim"))
    if answer.cut:
        parts.append(Text("The strip ends here; --most-frames shows more.", "dim"))
    parts += [_line(event) for event in answer.events]
    result = answer.result
    parts.append(Text(f"\n{result.verdict.replace('_', ' ')}: {answer.sentence}", "bold"))
    if why:
        for reason in result.reasons:
            parts.append(_in(3, f"{reason.rule}: {reason.sentence}"))
            if reason.facts:
                parts.append(_in(6, ", ".join(f"{fact.name} = {fact.value}" for fact in reason.facts), "dim"))
    if answer.hangs_on:
        parts.append(Text(f"Not recorded, and it hangs on: {', '.join(property_name(m) for m in answer.hangs_on)}"))
    parts += [Text(f"Note: {caution}", "dim") for caution in answer.cautions]
    return Group(*parts)


def _side(who: str, side: Acting, answer: ReplayAnswer) -> Text:
    late = f", begun {answer.delay} late" if answer.delay and answer.delayed == who else ""
    return Text(f"{who:<{FIRST}}{side.character}: {side.name}{late}", "dim")


def _piece(frames: Sequence[StripFrame], contact: int | None) -> list[RenderableType]:
    """One run of frames: ruler, rows, and the mark of the contact."""
    numbers = [" "] * len(frames)
    for place, frame in enumerate(frames):
        text = str(frame.frame)
        if frame.frame % 10 == 0 and len(text) <= place + 1:
            numbers[place - len(text) + 1 : place + 1] = text
    ticks = "".join("|" if f.frame % 10 == 0 else ":" if f.frame % 5 == 0 else "." for f in frames)
    out: list[RenderableType] = [Text(), _row("", Text("".join(numbers))), _row("frame", Text(ticks, "dim"))]
    for who in ("me", "them"):
        sides: list[SideFrame] = [getattr(frame, who) for frame in frames]
        row = Text()
        for side in sides:
            row.append(phase_letter(side), STYLES.get(phase_of(side), ""))
        out.append(_row(who, row))
        bodies = "".join(body_letter(side) for side in sides)
        if bodies.strip():
            out.append(_row("", Text(bodies)))
    if any(frame.frame == contact for frame in frames):
        mark = "".join("X" if frame.frame == contact else " " for frame in frames)
        out.append(_row("", Text(mark.rstrip(), "bold")))
    return out


def _row(label: str, row: Text) -> Text:
    return Text(f"{label:<{FIRST}}", no_wrap=True).append_text(row)


def _legend(answer: ReplayAnswer) -> str:
    pairs = legend_of(answer.frames)
    mark = [("X", "the deciding contact")] if answer.contact.frame is not None else []
    return "\n" + ", ".join(f"{letter} {said}" for letter, said in (*pairs, *mark)) if pairs else ""


def _line(event: Event) -> RenderableType:
    when = str(event.frame) if event.last == event.frame else f"{event.frame}-{event.last}"
    return Text(f"{when:>7}  {event.by:<5}{event.sentence}")


def _in(columns: int, text: str, style: str = "") -> Padding:
    return Padding(Text(text, style), (0, 0, 0, columns), expand=False)
