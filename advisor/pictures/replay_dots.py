"""The strip of a replay as PNG: the tree of its SVG, drawn dot by dot, so that the two cannot disagree.

It knows what that tree holds: rectangles (plain, or filled with a pattern of straight lines) and lines of text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

from msgspec import Struct

from advisor.pictures.draw import Sheet, painted
from advisor.pictures.look import look
from advisor.pictures.replay_strip import replay_tree
from advisor.studies.replay_answer import ReplayAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["replay_png"]

UNITS = 96.0
"""Units of the SVG in an inch (CSS: a px is 1/96 in); a point is 1/72 in."""

FINE = 1.6
"""Dots of the PNG to a unit of the SVG: letters of 11 units have to be read."""

Line = tuple[tuple[float, float], tuple[float, float]]


class Pattern(Struct, frozen=True):
    """A shade with lines over it, in units from the corner of a cell."""

    shade: str
    ink: str = ""
    lines: tuple[Line, ...] = ()


def replay_png(answer: ReplayAnswer, request: Any, *, theme: str = "light") -> bytes:
    """The strip as PNG; ``request`` is not needed. Errors: ``QuestionError`` for the theme, or one too large."""
    del request
    asked = look("png", theme, UNITS, FINE)
    root = replay_tree(answer, theme)
    size = float(root.get("width", 0)) / UNITS, float(root.get("height", 0)) / UNITS

    def paint(sheet: Sheet) -> None:
        page = sheet.page()
        page.set_xlim(0, size[0] * UNITS)
        page.set_ylim(size[1] * UNITS, 0)
        _boxes(page, root, sheet.colours.ink)
        for element in _all(root, "text"):
            _write(page, element, sheet.colours.ink)

    return painted(asked, size, answer.summary, "", paint)


def _all(root: Element, tag: str) -> Iterator[Element]:
    """The drawn elements of that tag; those inside patterns are no children of the root."""
    return (element for element in root if element.tag.endswith(f"}}{tag}"))


def _patterns(root: Element) -> dict[str, Pattern]:
    """The patterns by the fill that calls them."""
    found = {}
    for pattern in root.iter():
        if pattern.tag.endswith("}pattern"):
            tile, *path = list(pattern)
            lines = path[0].get("d", "") if path else ""
            ink = path[0].get("stroke", "") if path else ""
            found[f"url(#{pattern.get('id')})"] = Pattern(tile.get("fill", ""), ink, tuple(_lines(lines)))
    return found


def _lines(path: str) -> Iterator[Line]:
    """The straight lines of a path that moves (M) and draws (L) in turn."""
    numbers = [float(word) for word in re.findall(r"-?[0-9.]+", path)]
    for at in range(0, len(numbers), 4):
        x1, y1, x2, y2 = numbers[at : at + 4]
        yield (x1, y1), (x2, y2)


def _boxes(page: Axes, root: Element, ink: str) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.patches import Rectangle

    patterns = _patterns(root)
    for element in _all(root, "rect"):
        x, y, width, height = (float(element.get(name, 0)) for name in ("x", "y", "width", "height"))
        fill, stroke = element.get("fill", "none"), _colour(element.get("stroke", "none"), ink)
        pattern = patterns.get(fill, Pattern(fill))
        thick = float(element.get("stroke-width", 0)) * 72 / UNITS
        page.add_patch(Rectangle((x, y), width, height, facecolor=pattern.shade, edgecolor=stroke, linewidth=thick))
        if pattern.lines:
            moved = [[(x + a, y + b) for a, b in line] for line in pattern.lines]
            page.add_collection(LineCollection(moved, colors=pattern.ink, linewidths=0.6, zorder=1.5), autolim=False)


def _write(page: Axes, element: Element, ink: str) -> None:
    page.text(
        float(element.get("x", 0)), float(element.get("y", 0)), element.text or "", va="baseline",
        ha="center" if (side := element.get("text-anchor")) == "middle" else "right" if side == "end" else "left",
        color=_colour(element.get("fill", ""), ink), fontweight=element.get("font-weight", "normal"),
        fontsize=float(element.get("font-size", 0)) * 72 / UNITS,
    )  # fmt: skip


def _colour(word: str, ink: str) -> str:
    return ink if word == "currentColor" else word
