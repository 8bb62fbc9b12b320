"""Text as a picture needs it: harmless, short enough for its place, and only of letters that can be drawn."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache

__all__ = ["BOX", "FALLBACKS", "FAMILY", "clean", "drawable", "letters", "shortened", "stand_in", "wrapped"]

FAMILY = "DejaVu Sans"
"""The font that comes with the drawing library, so that no picture depends on installed ones."""

FALLBACKS = ("Noto Sans CJK JP", "Noto Sans CJK SC", "WenQuanYi Zen Hei", "Noto Sans Arabic", "Noto Sans Devanagari")
"""Fonts that a PNG borrows letters from, where they happen to be installed."""

BOX = "\u25af"
"""Stands in a PNG for a letter of which no font has the shape; an SVG keeps the letter."""

DOTS = "..."
_DROPPED = frozenset({"Cc", "Cs", "Co", "Cn"})
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNSEEN = frozenset({"Cf", "Mn", "Me"})


def clean(text: str) -> str:
    """The text on one line, without control characters (XML allows none) and forced changes of direction."""
    flat = " ".join(text.split())
    return "".join(c for c in flat if unicodedata.category(c) not in _DROPPED and c not in _TURNS)


def _width(text: str) -> int:
    """Columns that the text takes: 2 for a full-width letter, 0 for a mark on another, else 1."""
    return sum(_columns(c) for c in text)


def _columns(letter: str) -> int:
    if unicodedata.category(letter) in _UNSEEN:
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def _head(text: str, most: int) -> str:
    """As much of the start as fits into ``most`` columns."""
    used = 0
    for i, letter in enumerate(text):
        used += _columns(letter)
        if used > most:
            return text[:i]
    return text


def shortened(text: str, most: int) -> str:
    """The text, cleaned; cut with three dots if it takes more than ``most`` columns."""
    text = clean(text)
    if _width(text) <= most:
        return text
    return _head(text, most - len(DOTS)).rstrip(" ,;:") + DOTS


def wrapped(text: str, most: int, lines: int) -> str:
    """The text on up to ``lines`` lines of up to ``most`` columns; what is left over becomes three dots."""
    out: list[str] = []
    rest = clean(text)
    while rest and len(out) < lines - 1 and _width(rest) > most:
        head = _head(rest, most)
        at = len(head) if rest[len(head)] == " " else head.rfind(" ")
        if at <= 0:
            at = max(1, len(head))
        out.append(rest[:at].rstrip())
        rest = rest[at:].lstrip()
    if rest:
        out.append(shortened(rest, most))
    return "\n".join(out)


@cache
def letters(family: str) -> frozenset[int]:
    """Code points that the font has in both weights. Call it with the drawing lock held."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    shapes = [
        frozenset(get_font(findfont(FontProperties(family=[family], weight=weight))).get_charmap())
        for weight in ("normal", "bold")
    ]
    return shapes[0] & shapes[1]


@cache
def installed_fallbacks() -> tuple[str, ...]:
    """Those of ``FALLBACKS`` that this machine has."""
    from matplotlib.font_manager import fontManager

    names = {entry.name for entry in fontManager.ttflist}
    return tuple(name for name in FALLBACKS if name in names)


def missing(text: str, families: Iterable[str]) -> set[str]:
    """Letters of the text that none of the fonts has; a line break is none."""
    known = frozenset().union(*(letters(family) for family in families))
    return {c for c in text if c != "\n" and ord(c) not in known}


def drawable(text: str) -> tuple[str, tuple[str, ...]]:
    """The text for a PNG, and the fonts it takes: letters that no font has become ``BOX``, unseen ones go."""
    families: tuple[str, ...] = (FAMILY,)
    if missing(text, families):
        families = (FAMILY, *installed_fallbacks())
    lost = missing(text, families)
    return "".join(("" if _columns(c) == 0 else BOX) if c in lost else c for c in text) or BOX, families


def stand_in(text: str) -> str:
    """A text of about the same size in letters of ``FAMILY``, to lay out what only a viewer's font can draw."""
    lost = missing(text, (FAMILY,))
    lines = text.split("\n")
    return "\n".join("".join("nM"[_columns(c) == 2] if c in lost else c for c in line) or "n" for line in lines)
