"""``advisor guess``: both best mixes of a guess, the value, and what reads and hands change."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from advisor.clients.asking import (
    choice_options,
    ids_of,
    moment_options,
    place_options,
    replies_of,
    situation_of,
    state_options,
)
from advisor.clients.picturing import picture_options, run_pictured
from advisor.clients.running import run_options
from advisor.errors import QuestionError
from advisor.studies.guess_model import GuessAnswer, Option, ReadAnswer

__all__ = ["command", "view"]

BAR = 20
IDLE = 3
FIRST, EACH = 22, 9
PLACES = {
    "/further": "--further", "/worth/frame": "--frame-worth", "/worth/knockdown": "--down-worth",
    "/worth/meter": "--meter-worth", "/worth": "--frame-worth", "/delays": "--delays", "/spread": "--spread",
    "/trials": "--trial", "/read": "--seen or --odds", "/risk": "--risk", "/noise": "--noise", "/round": "--round",
}  # fmt: skip


@click.command()
@click.argument("me")
@click.argument("them")
@moment_options
@place_options
@choice_options
@click.option(
    "--further", type=click.Choice(["none", "punish", "solved"]), default="punish", show_default=True,
    help="What the situation that is left counts.",
)
@click.option("--frame-worth", type=float, help="Points for each frame of advantage that is left.")
@click.option("--down-worth", multiple=True, metavar="STATE=POINTS", help="Points for a knockdown; may be repeated.")
@click.option("--meter-worth", type=float, help="Points that one unit of meter is worth.")
@click.option("--delays", type=click.IntRange(0, 120), help="Longest delay to try, frames.")
@click.option("--spread", type=float, help="Your timing spread (standard deviation) in frames.")
@click.option("--trial", multiple=True, metavar="OPTION=K/N", help="Your own trials of an option; may be repeated.")
@click.option("--seen", multiple=True, metavar="REPLY=N", help="Times you saw an option of theirs; may be repeated.")
@click.option("--prior", type=float, help="With --seen: observations that the prior weighs (4 when left out).")
@click.option("--odds", multiple=True, metavar="REPLY=WEIGHT", help="What you think they do; may be repeated.")
@click.option("--risk", type=float, help="With a read: what you would give up at worst, in points.")
@click.option("--noise", type=float, help="Points within which options count as equal (0.5 when left out).")
@click.option("--round", "by_round", is_flag=True, help="Count the chance to win the round at these healths.")
@click.option("--steps", type=click.IntRange(1, 60), default=20, show_default=True, help="With --round: health steps.")
@click.option("--limit", type=click.IntRange(2, 40), default=12, show_default=True, help="Most options a side.")
@click.option("--why", is_flag=True, help="Show the payoffs and the reason of every cell.")
@picture_options
@state_options
@run_options
def command(me: str, them: str, why: bool, **given: Any) -> None:
    """How often should ME do what against THEM, where nothing is guaranteed? Both are character ids.

    \b
    advisor guess marl wenna --advantage 4 --held blockstun --at close
    advisor guess marl wenna --knockdown face_up --frames 14 --at close --spread 1.5
    advisor guess marl wenna --neutral --at close --seen stand_guard=9 --seen crouch_guard=1 --risk 2
    """
    run_pictured(
        "guess", lambda: _body(me, them, given), given, lambda answer, width: view(answer, width, why=why),
        places=PLACES,
    )


def _body(me: str, them: str, given: dict[str, Any]) -> dict[str, Any]:
    worth = {
        "frame": given["frame_worth"], "meter": given["meter_worth"],
        "knockdown": dict(_number(text, "--down-worth") for text in given["down_worth"]) or None,
    }
    worth = {key: value for key, value in worth.items() if value is not None}
    read: dict[str, Any] | None = None
    if given["seen"] and given["odds"]:
        raise QuestionError(
            "question-ambiguous", "both `--seen` and `--odds` are given", help="give one of them", pointer="/read"
        )
    if given["seen"]:
        read = {"kind": "counts", "counts": dict(_whole(text, "--seen") for text in given["seen"])}
        if given["prior"] is not None:
            read["prior"] = given["prior"]
    elif given["odds"]:
        read = {"kind": "odds", "odds": dict(_number(text, "--odds") for text in given["odds"])}
    return {
        **situation_of(me, them, given),
        "replies": replies_of(given["replies"]), "responses": ids_of(given["responses"]),
        "further": given["further"], "worth": worth or None, "delays": given["delays"], "spread": given["spread"],
        "trials": [_trial(text) for text in given["trial"]], "read": read, "risk": given["risk"],
        "noise": given["noise"], "limit": given["limit"],
        "round": {"steps": given["steps"]} if given["by_round"] else None,
    }


def _parts(text: str, option: str, form: str) -> tuple[str, str]:
    name, sign, value = text.rpartition("=")
    if not sign or not name.strip():
        raise _unread(f"`{option} {text}` is not of the form {form}", f"write `{option} {form}`", option)
    return name.strip(), value.strip()


def _unread(message: str, help: str, option: str) -> QuestionError:
    """What an option's own spelling has wrong; the pointer is that of the value it would spell."""
    pointer = {"--down-worth": "/worth/knockdown", "--trial": "/trials"}.get(option, "/read")
    return QuestionError("value-invalid", message, help=help, pointer=pointer)


def _number(text: str, option: str) -> tuple[str, float]:
    name, value = _parts(text, option, "ID=NUMBER")
    try:
        number = float(value)
        if not math.isfinite(number):
            raise ValueError
        return name, number
    except ValueError:
        raise _unread(f"`{option} {text}`: `{value}` is not a number", f"write `{name}=2.5`", option) from None


def _whole(text: str, option: str) -> tuple[str, int]:
    name, value = _parts(text, option, "ID=COUNT")
    if not value.isdecimal():
        raise _unread(f"`{option} {text}`: `{value}` is not a whole number", f"write `{name}=3`", option)
    return name, int(value)


def _trial(text: str) -> dict[str, Any]:
    name, value = _parts(text, "--trial", "OPTION=K/N")
    done, sign, tries = value.partition("/")
    if not sign or not done.strip().isdecimal() or not tries.strip().isdecimal():
        raise _unread(f"`--trial {text}` is not of the form OPTION=K/N", f"write `{name}=7/12`", "--trial")
    return {"option": name, "successes": int(done), "tries": int(tries)}


def view(answer: GuessAnswer, width: int, *, why: bool = False) -> RenderableType:
    """Both mixes as bars, the value with its bounds, then remarks, read and execution; ``width`` in columns."""
    parts: list[RenderableType] = [
        Text(answer.situation.sentence),
        Text(answer.summary, style="bold"),
        Text(_worth(answer), "dim"),
        Text("I do:"), *_mix(answer.mine, why), Text("They do best to:"), *_mix(answer.theirs, why),
    ]
    parts += [Text(f"- {remark}") for remark in answer.remarks]
    if answer.read is not None:
        parts += _read(answer.read)
    parts += [Text(f"- {row.sentence}") for row in answer.execution]
    if why:
        parts += _payoffs(answer, width)
    if answer.left_out:
        shown = [f"{key} ({reason})" for key, reason in list(answer.left_out.items())[:4]]
        more = len(answer.left_out) - len(shown)
        parts.append(Text(f"Left out: {'; '.join(shown)}{f'; and {more} more' if more > 0 else ''}", "dim"))
    parts += [Text(f"Note: {caution}", "dim") for caution in answer.cautions]
    return Group(*parts)


def _worth(answer: GuessAnswer) -> str:
    if answer.unit == "damage":
        bounds = f"{_signed(answer.lower)} ... {_signed(answer.upper)}"
        return f"Worth {_signed(answer.value)} points to me when both play their best mix (certain to lie in {bounds})."
    bounds = f"{answer.lower:.2%} ... {answer.upper:.2%}"
    return f"I win the round {answer.value:.2%} of the time when both play their best mix (certain to lie in {bounds})."


def _mix(options: Sequence[Option], why: bool) -> Iterator[RenderableType]:
    """What is played, then what comes nearest; with ``why`` all of it and the reason."""
    idle = [one for one in options if not one.share]
    for one in (*(o for o in options if o.share), *(idle if why else idle[:IDLE])):
        bar = "#" * round(one.share * BAR)
        chance = "" if one.chance is None else f", comes off {one.chance:.0%}"
        loss = "" if one.share > 0 or one.loss < 1e-6 else f"  loses {one.loss:.2f}"
        yield Padding(Text(f"{one.share:>6.1%} {bar:<{BAR}} {one.name}{chance}{loss}"), (0, 0, 0, 2), expand=False)
        if why and not one.share:
            yield Padding(Text(one.sentence, "dim"), (0, 0, 0, 9))


def _read(read: ReadAnswer) -> Iterator[RenderableType]:
    yield Text(f"Read: {read.sentence}")
    if read.lean is not None:
        mix = ", ".join(f"{name} {share:.0%}" for name, share in read.lean.mix.items())
        yield Padding(
            Text(
                f"giving up at most {read.lean.risk:g}: earns {read.lean.earns:.2f}, worst {read.lean.worst:.2f}: {mix}"
            ),
            (0, 0, 0, 2),
        )


def _payoffs(answer: GuessAnswer, width: int) -> Iterator[RenderableType]:
    fit = max(1, (width - FIRST) // EACH)
    for at in range(0, len(answer.theirs), fit):
        table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
        table.add_column("worth to me", width=FIRST - 1, overflow="fold")
        for one in answer.theirs[at : at + fit]:
            table.add_column(escape(one.name), width=EACH - 1, overflow="fold")
        for mine, line in zip(answer.mine, answer.table, strict=True):
            table.add_row(escape(mine.name), *(_signed(cell.value) for cell in line[at : at + fit]))
        yield table
    for mine, line in zip(answer.mine, answer.table, strict=True):
        for other, cell in zip(answer.theirs, line, strict=True):
            yield Text(f"{mine.name} / {other.name}: {_signed(cell.value)}: {cell.sentence}", "dim")


def _signed(value: float) -> str:
    return f"{value:+.2f}".replace("-0.00", "+0.00")


