"""One option of mine over every delay: a strip for each reply, and the window in which it covers the most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.errors import Unanswerable, did_you_mean
from advisor.pictures.draw import Sheet, painted, title_lines
from advisor.pictures.fields import Field, legend, legend_height, paint_fields
from advisor.pictures.lettering import wrapped
from advisor.pictures.look import look, style_of
from advisor.rules.wording import word_said
from advisor.sentences import in_words, say
from advisor.studies.coverage_answer import CoverageAnswer, Row, Stretch

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["windows_picture"]

EDGE = 0.2
LABELS = 2.3
STRIPS = 7.6
STRIP = 0.36
ABOVE = 0.36
"""Inches: margin, width of the labels, length and height of a strip, room above for the window's width."""

COLUMN = 0.088
"""Inches that a letter of the strips takes at its size."""


def windows_picture(
    answer: CoverageAnswer, option: str, form: str = "svg", *, theme: str = "light", dpi: float = 100,
    scale: float = 1.0,
) -> bytes:  # fmt: skip
    """The row of ``option`` (its id) as strips over the delay in frames, from 0 to ``answer.delays``.

    Each stretch says its verdict by colour, hatch and letter. The row's windows are framed with their widths
    in frames, its aim is a broken line.
    Errors: ``Unanswerable`` (option-unknown) for an option that is no row; ``QuestionError`` as for every picture.
    """
    asked = look(form, theme, dpi, scale)
    row = _row(answer, option)
    width = 2 * EDGE + LABELS + STRIPS + 0.1
    title = row.name
    top = EDGE + 0.52 + 0.2 * title_lines(title, width - 2 * EDGE).count("\n")
    strips = STRIP * max(1, len(row.cells))
    size = (width, top + ABOVE + strips + 0.75 + legend_height(width - 2 * EDGE) + EDGE)

    def paint(sheet: Sheet) -> None:
        sheet.heading(EDGE, EDGE, title, row.sentence or _setting(answer, row))
        _names(sheet, row, top + ABOVE)
        axes = sheet.axes(EDGE + LABELS, top + ABOVE, STRIPS, strips)
        _scale(axes, answer, len(row.cells), sheet)
        _strips(axes, row, answer.delays, sheet)
        _windows(axes, row, sheet)
        legend(sheet, sheet.page(), EDGE, top + ABOVE + strips + 0.7)

    return painted(asked, size, title, _description(answer, row), paint)


def _row(answer: CoverageAnswer, option: str) -> Row:
    for row in answer.rows:
        if row.option == option:
            return row
    known = [row.option for row in answer.rows]
    raise Unanswerable(
        "option-unknown", f"`{option}` is none of the rows here",
        help=did_you_mean(option, known) or f"they are {', '.join(known)}", pointer="/row",
    )  # fmt: skip


def _names(sheet: Sheet, row: Row, top: float) -> None:
    for i, cell in enumerate(row.cells):
        sheet.write(
            EDGE + LABELS - 0.1, top + STRIP * (i + 0.5), wrapped(cell.name, 32, 2), fontsize=8, ha="right",
            va="center", linespacing=0.95,
        )  # fmt: skip


def _scale(axes: Axes, answer: CoverageAnswer, strips: int, sheet: Sheet) -> None:
    axes.set_xlim(-0.5, answer.delays + 0.5)
    axes.set_ylim(max(1, strips), 0)
    axes.set_yticks([])
    step = next(s for s in (1, 2, 5, 10, 20, 50, answer.delays) if answer.delays <= 14 * s)
    axes.set_xticks(range(0, answer.delays + 1, step))
    delay = in_words("my delay, frames") if answer.timed_by == "me" else in_words("their delay, frames")
    axes.set_xlabel(delay, fontsize=8.5, color=sheet.colours.ink)


def _strips(axes: Axes, row: Row, longest: int, sheet: Sheet) -> None:
    frame = STRIPS / (longest + 1)
    fields = [
        Field(w.first - 0.5, i + 0.12, w.last - w.first + 1, 0.76, w.verdict, _in_stretch(w, frame))
        for i, cell in enumerate(row.cells)
        for w in cell.windows
    ]
    paint_fields(axes, fields, sheet.colours, 7.5)


def _in_stretch(stretch: Stretch, frame: float) -> str:
    """The letter, and the effect as well where the stretch has room for it (``frame``: inches a frame)."""
    letter = style_of(stretch.verdict).letter
    room = int((stretch.last - stretch.first + 1) * frame / COLUMN)
    effect = word_said(stretch.effect)
    if stretch.effect not in ("none", "unknown") and len(effect) + 3 <= room:
        return f"{letter} {effect}"
    return letter if room >= 2 else ""


def _windows(axes: Axes, row: Row, sheet: Sheet) -> None:
    from matplotlib.transforms import blended_transform_factory

    above = blended_transform_factory(axes.transData, axes.transAxes)
    for run in row.windows:
        ends = (run.first - 0.5, run.last + 0.5)
        axes.axvspan(*ends, facecolor=sheet.colours.mine, alpha=0.3, linewidth=0, zorder=0)  # behind the strips
        axes.axvspan(*ends, fill=False, edgecolor=sheet.colours.mine, linewidth=2.2, zorder=4)
    if row.windows:
        run = max(row.windows, key=lambda run: run.width)
        middle = (run.first + run.last) / 2
        side = "left" if middle < 4 else "right" if middle > axes.get_xlim()[1] - 4 else "center"
        place = {"left": run.first - 0.5, "right": run.last + 0.5, "center": middle}[side]
        axes.text(
            place, 1.0, f"{_wide(row)}\n", transform=above, ha=side, va="bottom", fontsize=8,
            color=sheet.colours.ink, linespacing=0.35,
        )  # fmt: skip
    if row.aim is not None:
        axes.axvline(row.aim, color=sheet.colours.theirs, linewidth=2.0, linestyle=(0, (4, 2)), zorder=5)


def _wide(row: Row) -> str:
    """The row's window in words."""
    if not row.windows:
        return in_words("no common window")
    run = max(row.windows, key=lambda run: run.width)
    width = in_words("1 frame, a just frame") if row.width == 1 else say("{width} frames", width=row.width)
    aim = "" if row.aim is None else say(", aim {aim}", aim=row.aim)
    more = say(", {count} more", count=len(row.windows) - 1) if len(row.windows) > 1 else ""
    return f"{run.shown()}: {width}{aim}{more}"


def _setting(answer: CoverageAnswer, row: Row) -> str:
    chance = ""
    if row.success is not None:
        values = {"success": row.success, "spread": answer.spread}
        chance = say(", hit {success:.0%} of the time at a spread of {spread:g}", **values)
    return say(
        "covers {covered} of {of} at one timing; window {row}{chance}",
        covered=row.covered, of=row.of, row=_wide(row), chance=chance,
    )


def _description(answer: CoverageAnswer, row: Row) -> str:
    lines = [f"{row.sentence} {_setting(answer, row)}.".lstrip()]
    for cell in row.cells:
        said = "; ".join(
            f"{w.first}-{w.last} {word_said(w.verdict)} ({word_said(w.effect)})" for w in cell.windows
        )
        lines.append(f"{cell.name}: {said}.")
    return " ".join(lines)
