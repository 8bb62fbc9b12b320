"""Fields coloured, hatched and lettered by verdict, and their legend: what the coverage pictures share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from advisor.pictures.draw import Sheet, spread_over
from advisor.pictures.look import VERDICTS, Theme, blend, ink_on, style_of
from advisor.rules.wording import word_said
from advisor.sentences import in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LEGEND_LINE", "Field", "legend", "legend_height", "paint_fields", "run_text"]

LEGEND_LINE = 0.3
"""Height of one line of the legend, inches."""

_SWATCH = 1.25


class Field(Struct, frozen=True):
    """A rectangle in data of its axes: left, top, width, height; ``text`` under or beside the verdict's letter."""

    x: float
    y: float
    width: float
    height: float
    verdict: str
    text: str = ""


def paint_fields(axes: Axes, fields: Iterable[Field], colours: Theme, size: float = 8.5) -> None:
    """Draw the fields: face, hatch and letter each by verdict. Errors: ``QuestionError`` for an unknown verdict."""
    by_verdict: dict[str, list[Field]] = {}
    for field in fields:
        by_verdict.setdefault(field.verdict, []).append(field)
    for verdict, group in by_verdict.items():
        _faces(axes, group, verdict, colours)
        for field in group:
            if field.text:
                _letter(axes, field, colours, size)


def _faces(axes: Axes, group: Sequence[Field], verdict: str, colours: Theme) -> None:
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    style = style_of(verdict)
    face = style.face_on(colours)
    boxes = [Rectangle((f.x, f.y), f.width, f.height) for f in group]
    if style.hatch:
        axes.add_collection(
            PatchCollection(
                boxes, facecolor=face, edgecolor=blend(face, ink_on(face), 0.45), hatch=style.hatch, linewidth=0
            )
        )
        face = "none"
    axes.add_collection(PatchCollection(boxes, facecolor=face, edgecolor=colours.line, linewidth=0.7))


def _letter(axes: Axes, field: Field, colours: Theme, size: float) -> None:
    face = style_of(field.verdict).face_on(colours)
    axes.text(
        field.x + field.width / 2, field.y + field.height / 2, field.text, ha="center", va="center",
        fontsize=size, color=ink_on(face), linespacing=1.05, clip_on=True,
        bbox={"facecolor": face, "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip


def run_text(runs: Sequence[tuple[int, int]], longest: int) -> str:
    """Runs of delays as short as a field needs: the widest one, ``+1`` for one more, ``any`` for 0 to ``longest``."""
    if not runs:
        return ""
    first, last = max(runs, key=lambda run: (run[1] - run[0], -run[0]))
    if first <= 0 and last >= longest:
        return in_words("any")
    shown = str(first) if first == last else f"{first}-{last}"
    return f"{shown} +{len(runs) - 1}" if len(runs) > 1 else shown


def legend_height(width: float) -> float:
    """Inches that the legend takes on a page that gives it ``width`` inches."""
    return LEGEND_LINE * len(spread_over([_SWATCH] * len(VERDICTS), width))


def legend(sheet: Sheet, page: Axes, left: float, top: float) -> None:
    """All verdicts, best first, with letter, hatch and word, from that corner of ``page`` on."""
    for line, names in enumerate(spread_over([_SWATCH] * len(VERDICTS), sheet.width - 2 * left)):
        for place, index in enumerate(names):
            verdict = list(VERDICTS)[index]
            x, y = left + place * _SWATCH, top + line * LEGEND_LINE
            swatch = Field(x, y, 0.42, 0.22, verdict, VERDICTS[verdict].letter)
            paint_fields(page, [swatch], sheet.colours, 8)
            sheet.write(x + 0.48, y + 0.11, word_said(verdict), fontsize=8, va="center")
