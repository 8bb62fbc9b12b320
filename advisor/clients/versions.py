"""``advisor compare``: what changed from one version of a pack to another, and what follows from it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import msgspec
from rich.console import Console, Group, RenderableType
from rich.text import Text

from advisor.clients.running import FOLDER, engine_option, guarded, json_option, print_json, rules_option, settings_of
from advisor.errors import DataError, Finding, QuestionError, did_you_mean
from advisor.facts import Question
from advisor.library import load_shelf
from advisor.notebook import Notebook, Sets, notebook_url
from advisor.notebook.rerun import differences
from advisor.pack.load import load_pack
from advisor.versions import AskedBefore, Comparison, PropertyChange, StudyBefore, changed_studies, compare

__all__ = ["COMMANDS", "compare_", "view"]

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command("compare")
@click.argument("old", type=FOLDER, metavar="OLD_FOLDER")
@click.argument("new", type=FOLDER, metavar="NEW_FOLDER")
@click.option("--character", help="Only what is about this character.")
@click.option("--at", "distance", metavar="DISTANCE", help="Where blocked moves touch; every named one when left out.")
@click.option("--questions", type=FILE, help="Study set: a line of JSON each, with name and question.")
@click.option("--set", "set_", metavar="NAME", help="Study set of the notebook; its studies are run on both too.")
@click.option("--limit", type=click.IntRange(1, 10_000), default=20, show_default=True, help="Lines of each part.")
@click.option("--quiet", is_flag=True, help="Print nothing, only end with 0 (same) or 1 (changed).")
@rules_option
@engine_option
@json_option
def compare_(old: Path, new: Path, **given: Any) -> None:
    """What changed from the pack in OLD_FOLDER to the one in NEW_FOLDER?

    Ends with 0 when nothing changed, 1 when something did, 2 for an error.
    """
    answers: list[Comparison] = []

    def run() -> None:
        answers.append(_compared(old, new, given))

    guarded(run, as_json=given["as_json"])
    answer = answers[0]
    if given["quiet"]:
        pass
    elif given["as_json"]:
        print_json(answer)
    else:
        Console(soft_wrap=True).print(view(answer, given["limit"]))
    sys.exit(0 if answer.same else 1)


def _compared(old: Path, new: Path, given: dict[str, Any]) -> Comparison:
    settings = settings_of((), given["rules"], given["engine"])
    before = load_pack(old).pack
    shelf = load_shelf(new, rules=settings.rules, engine=settings.engine)
    wanted = given["character"]
    known = {**before.characters, **shelf.pack.characters}
    if wanted is not None and wanted not in known:
        raise QuestionError(
            "question-impossible", f"neither version has a character `{wanted}`",
            help=did_you_mean(wanted, known) or f"known: {', '.join(sorted(known))}", pointer="--character",
        )  # fmt: skip
    questions = [] if given["questions"] is None else _questions(given["questions"])
    saved, studies = _of_set(given["set_"])
    return compare(
        before, shelf.pack, shelf.rules, shelf.evaluator, questions=[*questions, *saved],
        also=changed_studies(before, shelf.pack, shelf.rules, shelf.evaluator, studies, differences),
        distance=_distance(given["distance"]), character=wanted,
    )  # fmt: skip


def _distance(given: str | None) -> float | str | None:
    try:
        return None if given is None else float(given)
    except ValueError:
        return given


def _questions(file: Path) -> list[AskedBefore]:
    """The study set. Errors: ``DataError`` with every line that is none."""
    out: list[AskedBefore] = []
    faults: list[Finding] = []
    for number, line in enumerate(file.read_bytes().splitlines(), 1):
        if line.strip():
            try:
                out.append(msgspec.json.decode(line, type=AskedBefore))
            except (msgspec.DecodeError, UnicodeDecodeError) as error:
                text = str(error)
                faults.append(_fault(file, number, text[:1].lower() + text[1:]))
    if faults:
        raise DataError(faults)
    return out


def _of_set(name: str | None) -> tuple[list[AskedBefore], list[StudyBefore]]:
    """The questions and the studies of a set. Errors: ``AdvisorError`` ``set-unknown``."""
    if name is None:
        return [], []
    with Notebook(notebook_url()) as notebook:
        _, found = Sets(notebook).get(name)
    questions = [
        AskedBefore(name=one.name, question=msgspec.convert(one.request, Question))
        for one in found if one.study is None
    ]  # fmt: skip
    studies = [
        StudyBefore(name=one.name, study=one.study, request=one.request) for one in found if one.study is not None
    ]
    return questions, studies


def _fault(file: Path, line: int, text: str) -> Finding:
    return Finding(
        code="question-form", severity="error", message=text, file=str(file), line=line, column=1, path="",
        help='a line is {"name": ..., "question": {...}}',
    )  # fmt: skip


def view(answer: Comparison, limit: int) -> RenderableType:
    """Summary, consequences by weight, then properties; ``limit`` lines of each; ``?`` is a punish that may land."""
    parts: list[RenderableType] = [Text(answer.summary, style="bold")]
    parts.append(Text(f"{answer.before} -> {answer.after}; at {', '.join(answer.distances)}", style="dim"))
    if answer.consequences:
        parts.append(Text("\nConsequences", style="bold"))
    for one in answer.consequences[:limit]:
        whose = f"{one.character} " if one.character else ""
        parts.append(Text(f"  {one.weight:7g}  {one.kind:11} {whose}{one.id}: {one.sentence}"))
        for row in one.punishes[:limit]:
            marked = (("+", row.appeared), ("-", row.vanished), ("?", row.in_doubt))
            signs = [f"{mark}{key}" for mark, keys in marked for key in keys]
            parts.append(Text(f"             {row.them} at {row.distance}: {' '.join(signs) or 'other damage'}"))
    parts += _more(len(answer.consequences), limit)
    if answer.properties:
        parts.append(Text("\nProperties", style="bold"))
    parts += [Text(f"  {_property(change)}") for change in answer.properties[:limit]]
    parts += _more(len(answer.properties), limit)
    parts.append(Text(f"\n{answer.rule}", style="dim"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _more(count: int, limit: int) -> list[RenderableType]:
    return [Text(f"  and {count - limit} more", style="dim")] if count > limit else []


def _property(change: PropertyChange) -> str:
    where = ".".join(part for part in (change.character, change.move, change.property) if part)
    if change.what != "changed":
        return f"{where} {change.what}"
    how = " (worked out)" if change.derived else ""
    return f"{where}: {_value(change.before)} -> {_value(change.after)}{how}"


def _value(value: Any) -> str:
    if value is None:
        return "unknown"
    return msgspec.json.encode(value).decode() if isinstance(value, (dict, list)) else str(value)


COMMANDS = {"compare": compare_}
