"""The chance to win the round over both healths, as a map with lines of equal chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from advisor.errors import QuestionError
from advisor.pictures.draw import Sheet, painted, title_lines
from advisor.pictures.look import look
from advisor.sentences import in_words, say

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    Table = NDArray[np.float64]
    Bound = Table | Sequence[Sequence[float]]

__all__ = ["WIDE", "win_picture"]

WIDE = 0.05
"""Bounds further apart than this are hatched: the chance there is not pinned down."""

EDGE = 0.2
SIDE = 5.0
LEFT = 0.75
LEVELS = tuple(n / 10 for n in range(1, 10))
SLACK = 1e-9


def win_picture(
    lower: Bound, upper: Bound, my_steps: int, their_steps: int, points_per_step: float, situation: str,
    form: str = "svg", *, theme: str = "light", dpi: float = 100, scale: float = 1.0,
) -> bytes:  # fmt: skip
    """The middle of both bounds as a map: my health upwards, theirs to the right, in points.

    ``lower`` and ``upper`` are [h1, h2], my health by theirs in steps, either from one step on
    (``my_steps`` x ``their_steps``) or from none on (one more each way). Fields where upper - lower > ``WIDE`` are
    hatched.
    Errors: ``QuestionError`` (value-invalid) for other shapes, or bounds that are no chances or cross.
    """
    asked = look(form, theme, dpi, scale)
    low, high = _chance_table("lower", lower), _chance_table("upper", upper)
    first = _checked(low, high, my_steps, their_steps, points_per_step)
    title = say("Chance to win the round: {situation}", situation=situation)
    top = EDGE + 0.62 + 0.2 * title_lines(title, LEFT + SIDE + 1.1).count("\n")
    size = (EDGE + LEFT + SIDE + 1.35, top + SIDE + 0.62 + EDGE)
    note = _note(low, high)

    def paint(sheet: Sheet) -> None:
        sheet.heading(EDGE, EDGE, title, note)
        axes = sheet.axes(EDGE + LEFT, top, SIDE, SIDE)
        _chances(sheet, axes, (low + high) / 2, top, first, points_per_step)
        _hatch(axes, high - low, first, points_per_step)

    return painted(asked, size, title, _description(low, high, first, points_per_step, note), paint)


def _chance_table(name: str, bound: object) -> Table:
    """The bound as an array of chances, whatever kind of table it came as."""
    import numpy as np

    try:
        table = np.asarray(bound, dtype=np.float64)
    except (TypeError, ValueError):
        raise _invalid(name, f"`{name}` is no table of numbers", "give [h1, h2] of chances") from None
    if not (np.isfinite(table).all() and (table >= -SLACK).all() and (table <= 1 + SLACK).all()):
        raise _invalid(name, f"`{name}` holds numbers that are no chances", "give numbers from 0 to 1")
    return table


def _checked(lower: Table, upper: Table, my_steps: int, their_steps: int, points_per_step: float) -> int:
    """The health in steps of the first row and column, 0 or 1."""
    if not (math.isfinite(points_per_step) and points_per_step > 0):
        raise _invalid("points_per_step", f"`points_per_step` is `{points_per_step}`", "give a number above 0")
    shapes = {(my_steps, their_steps): 1, (my_steps + 1, their_steps + 1): 0}
    for name, bound in (("lower", lower), ("upper", upper)):
        if bound.shape not in shapes or bound.size == 0:
            wanted = f"give [h1, h2] of {my_steps} x {their_steps} chances"
            raise _invalid(name, f"`{name}` has the shape `{bound.shape}`", wanted)
    if lower.shape != upper.shape:
        raise _invalid("upper", f"`upper` is {upper.shape}, `lower` {lower.shape}", "give both for the same healths")
    if (lower > upper + SLACK).any():
        raise _invalid("lower", "`lower` is above `upper` somewhere", "swap or recompute them")
    return shapes[lower.shape]


def _invalid(field: str, message: str, help: str) -> QuestionError:
    return QuestionError("value-invalid", message, help=help, pointer=f"/{field}")


def _edges(count: int, first: int, points: float) -> tuple[float, float]:
    """Where the map begins and ends, points: each field is one step around its health."""
    return (first - 0.5) * points, (first + count - 0.5) * points


def _chances(sheet: Sheet, axes: Axes, chance: Table, top: float, first: int, points: float) -> None:
    rows, columns = chance.shape
    extent = (*_edges(columns, first, points), *_edges(rows, first, points))
    image = axes.imshow(
        chance, cmap="cividis", vmin=0, vmax=1, origin="lower", extent=extent, aspect="auto", interpolation="nearest"
    )
    axes.set_xlabel(in_words("their health, points"), fontsize=9, color=sheet.colours.ink)
    axes.set_ylabel(in_words("my health, points"), fontsize=9, color=sheet.colours.ink)
    bar = sheet.axes(EDGE + LEFT + SIDE + 0.2, top, 0.22, SIDE)
    key = sheet.figure.colorbar(image, cax=bar, ticks=[0, 0.25, 0.5, 0.75, 1])
    key.ax.set_yticklabels(["0%", "25%", "50%", "75%", "100%"], fontsize=8, color=sheet.colours.ink)
    _lines(axes, chance, first, points)


def _lines(axes: Axes, chance: Table, first: int, points: float) -> None:
    """Lines of equal chance, where there are any: dark on a light border, so that they show on every field."""
    import numpy as np

    levels = [level for level in LEVELS if chance.min() < level < chance.max()]
    if not levels or min(chance.shape) < 2:
        return
    rows, columns = chance.shape
    mine = (np.arange(rows) + first) * points
    theirs = (np.arange(columns) + first) * points
    thick = [2.4 if level == 0.5 else 1.2 for level in levels]
    axes.contour(theirs, mine, chance, levels=levels, colors="#ffffff", linewidths=[w + 1.6 for w in thick])
    drawn = axes.contour(theirs, mine, chance, levels=levels, colors="#000000", linewidths=thick)
    labels: list[Any] = list(axes.clabel(drawn, fmt=lambda level: f"{level:.0%}", fontsize=8, inline=False))
    for label in labels:
        label.set_bbox({"facecolor": "#ffffff", "edgecolor": "none", "pad": 1.0})


def _hatch(axes: Axes, gap: Table, first: int, points: float) -> None:
    """Hatch the fields that are not pinned down, neighbours in a row as one."""
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    boxes = []
    for i, row in enumerate(gap > WIDE):
        start = None
        for j, wide in enumerate([*row, False]):
            if wide and start is None:
                start = j
            elif not wide and start is not None:
                corner = ((start + first - 0.5) * points, (i + first - 0.5) * points)
                boxes.append(Rectangle(corner, (j - start) * points, points))
                start = None
    if boxes:
        for colour, hatch in (("#000000", "////"), ("#ffffff", "\\\\\\\\")):  # one shows on light fields, one on dark
            axes.add_collection(
                PatchCollection(boxes, facecolor="none", edgecolor=colour, hatch=hatch, linewidth=0), autolim=False
            )


def _note(lower: Table, upper: Table) -> str:
    gap = upper - lower
    wide = float((gap > WIDE).mean())
    widest = say("bounds at most {apart:.2g} apart", apart=float(gap.max()))
    said = say("Middle of the bounds; {widest}", widest=widest)
    return said + say("; hatched where more than {most:g}: {wide:.0%}", most=WIDE, wide=wide) if wide else said


def _description(lower: Table, upper: Table, first: int, points: float, note: str) -> str:
    """The chances at the corners and in the middle in words."""
    rows, columns = lower.shape
    said = []
    for i in sorted({0, rows // 2, rows - 1}):
        for j in sorted({0, columns // 2, columns - 1}):
            healths = say("{i:g} mine, {j:g} theirs", i=(i + first) * points, j=(j + first) * points)
            low, high = float(lower[i, j]), float(upper[i, j])
            said.append(say("{healths}: {lower:.1%} to {upper:.1%}", healths=healths, lower=low, upper=high))
    return say("{note}. Points of health and chance: {said}.", note=note, said="; ".join(said))
