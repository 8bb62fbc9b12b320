"""The table of coverage as a heat map: my options down, theirs across, each field by its verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.pictures.draw import Sheet, painted, title_lines
from advisor.pictures.fields import Field, legend, legend_height, paint_fields, run_text
from advisor.pictures.lettering import shortened, wrapped
from advisor.pictures.look import look, style_of
from advisor.rules.wording import word_said
from advisor.sentences import in_words, say
from advisor.studies.coverage_answer import Cell, CoverageAnswer, Row
from advisor.studies.weighing import WINS, runs_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["coverage_picture", "runs_shown"]

EDGE = 0.2
LABELS = 2.45
CELL = (0.82, 0.46)
HEAD = 0.56
"""Inches: margin, width of the row labels, size of a field, height of the column labels."""


def coverage_picture(
    answer: CoverageAnswer, form: str = "svg", *, theme: str = "light", dpi: float = 100, scale: float = 1.0
) -> bytes:
    """The answer as a heat map, rows and columns in its own order, its summary as the title.

    A field says the verdict by colour, hatch and letter, and under it delays in frames, see ``runs_shown``.
    Errors: ``QuestionError`` for a form, theme, dpi or scale that is none, and for a PNG too large to draw.
    """
    asked = look(form, theme, dpi, scale)
    width = max(2 * EDGE + LABELS + CELL[0] * len(answer.replies), 6.4)
    top = EDGE + 0.46 + 0.2 * title_lines(answer.summary, width - 2 * EDGE).count("\n")
    table = HEAD + CELL[1] * max(1, len(answer.rows))
    size = (width, top + table + 0.2 + legend_height(width - 2 * EDGE) + 0.6)

    def paint(sheet: Sheet) -> None:
        sheet.heading(EDGE, EDGE, answer.summary, _setting(answer))
        _labels(sheet, answer, top)
        if answer.rows:
            _table(sheet, answer, top + HEAD)
        below = top + table + 0.2
        legend(sheet, sheet.page(), EDGE, below)
        notes = wrapped(_notes(answer), int((width - 2 * EDGE) * 15.5), 3)
        sheet.write(EDGE, below + legend_height(width - 2 * EDGE) + 0.03, notes, fontsize=8, color=sheet.colours.faint)

    return painted(asked, size, answer.summary, _description(answer), paint)


def runs_shown(cell: Cell) -> list[tuple[int, int]]:
    """The runs of delays, both ends included, that a field shows.

    For guaranteed and beats those on which it is covered (either of the two), else those of the verdict alone.
    """
    if cell.verdict in WINS:
        runs = cell.covers
    elif cell.verdict == "loses":
        runs = cell.loses
    else:
        runs = runs_of(d for w in cell.windows if w.verdict == cell.verdict for d in range(w.first, w.last + 1))
    return [(run.first, run.last) for run in runs]


def _labels(sheet: Sheet, answer: CoverageAnswer, top: float) -> None:
    for j, head in enumerate(answer.replies):
        ink = sheet.colours.ink if head.chosen else sheet.colours.faint
        name = wrapped(head.name if head.chosen else f"({head.name})", 12, 3)
        x = EDGE + LABELS + CELL[0] * (j + 0.5)
        sheet.write(x, top + HEAD - 0.06, name, fontsize=7.5, ha="center", va="bottom", color=ink)
    for i, row in enumerate(answer.rows):
        y = top + HEAD + CELL[1] * (i + 0.5)
        right = EDGE + LABELS - 0.1
        sheet.write(right, y + 0.01, shortened(row.name, 30), ha="right", va="bottom")
        sheet.write(right, y + 0.03, _row_note(row), ha="right", fontsize=7.5, color=sheet.colours.faint)


def _row_note(row: Row) -> str:
    windows = run_text([(run.first, run.last) for run in row.windows], 10**6)
    covers = say("covers {covered} of {of}", covered=row.covered, of=row.of)
    return covers + say(", at {windows}", windows=windows) if windows else covers


def _table(sheet: Sheet, answer: CoverageAnswer, top: float) -> None:
    columns, rows = len(answer.replies), len(answer.rows)
    axes: Axes = sheet.axes(EDGE + LABELS, top, CELL[0] * columns, CELL[1] * rows)
    axes.set_xlim(0, columns)
    axes.set_ylim(rows, 0)
    axes.set_xticks([])
    axes.set_yticks([])
    fields = [
        Field(j, i, 1, 1, cell.verdict, _in_field(cell, answer.delays))
        for i, row in enumerate(answer.rows)
        for j, cell in enumerate(row.cells)
    ]
    paint_fields(axes, fields, sheet.colours)


def _in_field(cell: Cell, longest: int) -> str:
    return "\n".join(part for part in (style_of(cell.verdict).letter, run_text(runs_shown(cell), longest)) if part)


def _setting(answer: CoverageAnswer) -> str:
    return say(
        "{pack} {version}: {considered} options tried, {judged} judged",
        pack=answer.pack.name, version=answer.pack.version, considered=answer.considered, judged=answer.judged,
    )


def _notes(answer: CoverageAnswer) -> str:
    whose = in_words("mine") if answer.timed_by == "me" else in_words("theirs")
    counted = ""
    if not all(head.chosen for head in answer.replies):
        counted = in_words(" Columns in brackets do not count for the rows.")
    return say(
        "Number in a field: delays in frames ({whose}, 0 to {delays}), the widest run; +1: one more run; any: "
        "every delay. Under G and B those that are covered (G or B), else those of that letter.{counted}",
        whose=whose, delays=answer.delays, counted=counted,
    )  # fmt: skip


def _description(answer: CoverageAnswer) -> str:
    """Everything that the picture may have shortened: full names, and each row's replies by verdict."""
    columns = ", ".join(head.name for head in answer.replies)
    lines = [f"{_setting(answer)}.", say("Columns: {replies}.", replies=columns)]
    for row in answer.rows:
        by_verdict: dict[str, list[str]] = {}
        for cell in row.cells:
            by_verdict.setdefault(cell.verdict, []).append(cell.name)
        said = "; ".join(f"{word_said(verdict)}: {', '.join(names)}" for verdict, names in by_verdict.items())
        lines.append(f"{row.name} ({_row_note(row)}) {said}.")
    return " ".join(lines)
