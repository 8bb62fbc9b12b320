"""How often to do what: the mixes of both sides as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence

from advisor.errors import QuestionError
from advisor.pictures.draw import Sheet, painted, title_lines
from advisor.pictures.lettering import shortened
from advisor.pictures.look import look
from advisor.sentences import in_words, say

__all__ = ["Bar", "mix_picture"]

Bar = tuple[str, float, float | None]
"""An option's name, its share (0 to 1), and what its side loses by it when the other side knows; None: not known."""

EDGE = 0.2
WIDTH = 8.2
LABELS = 2.5
TAIL = 2.4
BAR = 0.3
GAP = 0.52
"""Inches: margin, page width, room for names and for numbers, height of a bar's line, room for a side's heading."""

SLACK = 1e-6


def mix_picture(
    labels: tuple[str, str], mine: Sequence[Bar], theirs: Sequence[Bar], value: float, unit: str,
    form: str = "svg", *, title: str = "", theme: str = "light", dpi: float = 100, scale: float = 1.0,
) -> bytes:  # fmt: skip
    """Both mixes as horizontal bars, in the order given, mine above theirs.

    ``labels`` name the sides; ``value`` is what the mix is worth to me, in ``unit`` (shown after the number, and
    the losses are in it too). Shares of a side add up to at most 1: an option left out is not drawn.
    Errors: ``QuestionError`` (value-invalid) for a share or loss that is no number or out of range.
    """
    asked = look(form, theme, dpi, scale)
    if not math.isfinite(value):
        raise QuestionError("value-invalid", f"`value` is `{value}`", help="give a finite number", pointer="/value")
    _check("mine", mine)
    _check("theirs", theirs)
    worth = f"{_number(value)} {unit}".rstrip()
    whole = title or say("{me} against {them}: {worth}", me=labels[0], them=labels[1], worth=worth)
    top = EDGE + 0.5 + 0.2 * title_lines(whole, WIDTH - 2 * EDGE).count("\n")
    second = top + GAP + BAR * max(1, len(mine))
    size = (WIDTH, second + GAP + BAR * max(1, len(theirs)) + EDGE)
    note = say(
        "Worth {value} {unit} to {labels}. A loss is what an option costs against the other side's mix.",
        value=_number(value), unit=unit, labels=labels[0],
    )

    def paint(sheet: Sheet) -> None:
        sheet.heading(EDGE, EDGE, whole, note)
        _side(sheet, top, labels[0], mine, unit, sheet.colours.mine, "")
        _side(sheet, second, labels[1], theirs, unit, sheet.colours.theirs, "///")

    return painted(asked, size, whole, _description(labels, mine, theirs, unit, note), paint)


def _check(side: str, bars: Sequence[Bar]) -> None:
    for i, (name, share, loss) in enumerate(bars):
        if not (math.isfinite(share) and -SLACK <= share <= 1 + SLACK):
            raise QuestionError(
                "value-invalid", f"the share of `{name}` is `{share}`", help="give a number from 0 to 1",
                pointer=f"/{side}/{i}/1",
            )  # fmt: skip
        if loss is not None and not math.isfinite(loss):
            raise QuestionError(
                "value-invalid", f"the loss of `{name}` is `{loss}`", help="give a finite number, or none",
                pointer=f"/{side}/{i}/2",
            )  # fmt: skip
    total = math.fsum(share for _, share, _ in bars)
    if total > 1 + SLACK * max(1, len(bars)):
        raise QuestionError(
            "value-invalid", f"the shares of `{side}` add up to `{total:g}`", help="they are parts of 1",
            pointer=f"/{side}",
        )  # fmt: skip


def _side(sheet: Sheet, top: float, label: str, bars: Sequence[Bar], unit: str, colour: str, hatch: str) -> None:
    room = WIDTH - 2 * EDGE - LABELS - TAIL
    sheet.write(EDGE, top + GAP - 0.14, shortened(label, 60), fontsize=10, fontweight="bold", va="bottom")
    if not bars:
        sheet.write(EDGE, top + GAP, in_words("no options"), color=sheet.colours.faint)
        return
    axes = sheet.axes(EDGE + LABELS, top + GAP - 0.08, room, BAR * len(bars))
    axes.set_xlim(0, 1)
    axes.set_ylim(len(bars), 0)
    axes.set_yticks([])
    axes.set_xticks([])
    for side in ("top", "right", "bottom"):
        axes.spines[side].set_visible(False)
    shares = [min(1.0, max(0.0, share)) for _, share, _ in bars]
    places = [i + 0.5 for i in range(len(bars))]
    axes.barh(places, [1.0] * len(bars), height=0.08, color=sheet.colours.line, alpha=0.5)
    axes.barh(places, shares, height=0.7, color=colour, hatch=hatch, edgecolor=sheet.colours.paper, linewidth=0)
    for i, (name, _, loss) in enumerate(bars):
        y = top + GAP - 0.08 + BAR * (i + 0.5)
        used = shares[i] > 0
        ink = sheet.colours.ink if used else sheet.colours.faint
        sheet.write(EDGE + LABELS - 0.1, y, shortened(name, 34), ha="right", va="center", color=ink, fontsize=8.5)
        right = WIDTH - EDGE - TAIL
        sheet.write(right + 0.55, y, _percent(shares[i]), va="center", ha="right", color=ink, fontweight="bold")
        sheet.write(right + 0.7, y, _loss(loss, unit), va="center", fontsize=8, color=sheet.colours.faint)


def _percent(share: float) -> str:
    """A share as a percentage; what rounds to nothing without being it says so."""
    if 0 < share < 0.0005:
        return "<0.1%"
    return "0%" if share == 0 else f"{share:.1%}".replace(".0%", "%")


def _number(value: float) -> str:
    shown = f"{value:+.3g}" if abs(value) < 1000 else f"{value:+.0f}"
    return "0" if float(shown) == 0 else shown


def _loss(loss: float | None, unit: str) -> str:
    if loss is None:
        return in_words("loss not known")
    small = abs(loss) < 1e-9
    return in_words("no loss") if small else shortened(say("loses {loss:.3g} {unit}", loss=loss, unit=unit), 26)


def _description(labels: tuple[str, str], mine: Sequence[Bar], theirs: Sequence[Bar], unit: str, note: str) -> str:
    sides = [
        f"{label}: " + "; ".join(f"{name} {_percent(share)} ({_loss(loss, unit)})" for name, share, loss in bars)
        for label, bars in zip(labels, (mine, theirs), strict=True)
    ]
    return f"{note} {'. '.join(sides)}."
