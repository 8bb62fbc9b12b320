"""Answers as messages: one pure function for each kind of answer, the same for both ways to speak to the platform."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from advisor.advice import CAUTIONS
from advisor.advice.answer import Advice, ResponseAdvice
from advisor.notebook.next_lab.answer import NextLab
from advisor.service.bot.figures import because, figures, footer, left, unrecorded, verdict_words
from advisor.service.bot.lettering import escaped
from advisor.service.bot.message import Embed, Field, Message, fitted
from advisor.studies.beats_answer import AnswerRow, BeatsAnswer
from advisor.studies.coverage_answer import CoverageAnswer, Row

__all__ = ["message_of", "said"]

WHEN = {
    "before": "before it lands", "during": "while it runs", "gap": "in the gap", "after_block": "after a block",
    "after_whiff": "after it missed",
}  # fmt: skip


def message_of(task: str, answer: Any, explain: str = "none") -> Message:
    """The message for the answer of ``advice``, ``beats``, ``coverage`` or ``lab``, within the platform's limits.

    ``explain``: none, brief or full, how much of the reasoning it shows.
    """
    return fitted(Message(embeds=(_EMBEDS[task](answer, explain),)))


def said(text: str, help: str = "", *, hidden: bool = True) -> Message:
    """A plain message: what happened, or what is wrong and what would be right."""
    lines = [escaped(part[:1].upper() + part[1:]) for part in (text, help) if part]
    return fitted(Message(content="\n".join(lines), hidden=hidden))


def _lines(*parts: str) -> str:
    return "\n".join(escaped(part) for part in parts if part)


def _advice(answer: Advice, explain: str) -> Embed:
    more = answer.considered - len(answer.responses)
    described = _lines(
        answer.situation.sentence, f"Set against: {', '.join(answer.situation.replies)}",
        f"{more} more were weighed." if more > 0 else "",
    )  # fmt: skip
    return Embed(
        title=escaped(answer.summary) or "Advice",
        description="\n".join(part for part in (described, unrecorded(answer.missing)) if part),
        fields=tuple(_response(place, one, explain) for place, one in enumerate(answer.responses, 1)),
        footer=footer(answer.cautions, answer.pack),
    )


def _response(place: int, one: ResponseAdvice, explain: str) -> Field:
    numbers = [verdict_words(one.verdict, one.beats, one.of)]
    numbers += figures(one.damage, one.first_active, one.window) + left(one.leaves)
    lines = [", ".join(numbers), " ".join([one.sentence, *(f"({caution})" for caution in one.cautions)])]
    if one.evidence:
        lines.append(one.evidence.sentence)
    if explain != "none":
        full = explain == "full"
        lines += because(one.reasons, full)
        for line in one.against:
            why = " ".join(because(line.reasons, full))
            lines.append(f"Against {line.name}: {line.verdict.replace('_', ' ')}. {why}")
    return Field(_heading(place, one.name, one.input), _lines(*dict.fromkeys(lines)))


def _heading(place: int, name: str, input: str | None) -> str:
    return escaped(f"{place}. {name}{f' ({input})' if input else ''}")


def _beats(answer: BeatsAnswer, explain: str) -> Embed:
    who = f" by {answer.me}" if answer.me else ", whole roster"
    left_out = {
        when: answer.found.get(when, 0) - sum(row.when == when for row in answer.rows) for when in WHEN
    }  # fmt: skip
    more = [f"{count} {WHEN[when]}" for when, count in left_out.items() if count > 0]
    described = _lines(
        *(target.sentence for target in answer.targets),
        f"At {answer.distance:g} {answer.unit}, {answer.advantage:+d}{who}.",
        *(one.sentence for one in answer.open),
        f"More that may answer: {', '.join(more)}." if more else "",
    )  # fmt: skip
    return Embed(
        title=escaped(answer.summary) or "What beats it",
        description="\n".join(part for part in (described, unrecorded(answer.missing)) if part),
        fields=tuple(
            _answer_row(place, row, explain, roster=answer.me is None) for place, row in enumerate(answer.rows, 1)
        ),
        footer=footer(answer.cautions, answer.pack),
    )


def _answer_row(place: int, row: AnswerRow, explain: str, *, roster: bool) -> Field:
    numbers = [verdict_words(row.verdict, row.covers, row.of), *figures(row.damage, None, row.window)]
    if row.delay:
        numbers.append(f"begun {row.delay} frames later")
    numbers += [f"needs {need}" for need in row.needs]
    lines = [", ".join(numbers)]
    for cell in row.cells if explain != "none" else row.cells[:1]:
        before = f"{cell.against} ({cell.share:.0%}): " if row.of > 1 else ""
        then = f" Then {', '.join(one.name for one in cell.then)}." if cell.then else ""
        unless = f" Not if they go on with {', '.join(cell.unless)}." if cell.unless else ""
        rule = f" [{cell.rule}: {cell.verdict.replace('_', ' ')} on frame {cell.frame}]" if explain == "full" else ""
        lines.append(f"{before}{cell.sentence}{then}{unless}{rule}")
    name = f"{row.character}: {row.name}" if roster else row.name
    return Field(_heading(place, f"{name}, {WHEN[row.when]}", row.input), _lines(*lines))


def _coverage(answer: CoverageAnswer, explain: str) -> Embed:
    mine = answer.timed_by == "me"
    described = _lines(
        answer.situation.sentence,
        f"Set against: {', '.join(reply.name for reply in answer.replies if reply.chosen)}",
        f"The delays are {'mine' if mine else 'theirs'}, 0 to {answer.delays} frames.",
    )
    return Embed(
        title=escaped(answer.summary) or "Coverage",
        description="\n".join(part for part in (described, unrecorded(answer.missing)) if part),
        fields=tuple(_row(place, row, explain) for place, row in enumerate(answer.rows, 1)),
        footer=footer(answer.cautions, answer.pack),
    )


def _row(place: int, row: Row, explain: str) -> Field:
    windows = ", ".join(run.shown() for run in row.windows)
    lines = [row.sentence, f"Delays: {windows}." if windows else ""]
    lines += [f"Needs {', '.join(row.needs)}."] if row.needs else []
    lines += [f"{one.name} beats {len(one.covers)} of the {one.of} that it does not." for one in row.partners[:2]]
    if explain != "none":
        lines += [f"Against {cell.name}: {cell.verdict.replace('_', ' ')}. {cell.sentence}" for cell in row.cells]
    return Field(_heading(place, f"{row.name}: {row.covered} of {row.of}", None), _lines(*lines))


def _lab(answer: NextLab, explain: str) -> Embed:
    del explain
    return Embed(
        title=escaped(f"Next in the lab: {answer.set}"),
        description=_lines(answer.summary, *_left_out(answer)),
        fields=tuple(
            Field(_heading(place, item.what, None), _lines(item.sentence))
            for place, item in enumerate(answer.items, 1)
        ),
        footer=footer((*CAUTIONS, *answer.cautions)),
    )


def _left_out(answer: NextLab) -> Iterable[str]:
    for one in answer.entries:
        if one.advised != one.best:
            yield f"{one.entry}: {one.advised} is advised, {one.best} is worth most ({one.worth:.3g})."
    for gone in answer.left_out:
        yield f"Left out: {gone.what} ({gone.reason})."
    if not answer.complete:
        yield "Not complete: a bound was reached."


_EMBEDS: dict[str, Callable[[Any, str], Embed]] = {
    "advice": _advice, "beats": _beats, "coverage": _coverage, "lab": _lab,
}  # fmt: skip
