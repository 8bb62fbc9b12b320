"""How pictures look: form, theme and size as the caller asks for them, and one style for each verdict."""

from __future__ import annotations

import math
from collections.abc import Mapping

from msgspec import Struct

from advisor.errors import QuestionError, did_you_mean

__all__ = [
    "FORMS", "THEMES", "VERDICTS", "Look", "Theme", "VerdictStyle", "blend", "ink_on", "lightness", "look", "style_of",
]  # fmt: skip

FORMS = ("svg", "png")
DPI = (40, 300)
SCALE = (0.25, 4.0)


class Theme(Struct, frozen=True):
    """Colours of everything that is no verdict, as ``#rrggbb``."""

    paper: str
    ink: str
    faint: str
    line: str
    mine: str
    theirs: str


THEMES: dict[str, Theme] = {
    "light": Theme(paper="#ffffff", ink="#1b1b1b", faint="#595959", line="#b8b8b8", mine="#0072b2", theirs="#d55e00"),
    "dark": Theme(paper="#101318", ink="#f0f0f0", faint="#b4b8be", line="#4d535c", mine="#56b4e9", theirs="#e69f00"),
}


class Look(Struct, frozen=True):
    """What the caller asked for: ``form`` svg or png, ``dpi`` dots an inch (PNG), ``scale`` of the whole."""

    form: str
    theme: str
    dpi: float
    scale: float

    @property
    def colours(self) -> Theme:
        """The colours of the theme."""
        return THEMES[self.theme]


class VerdictStyle(Struct, frozen=True):
    """One verdict: a letter, a hatch and a face, so that each of the three tells it from the others.

    ``face`` is empty for a verdict that says nothing of how good an option is: it takes the paper's colour.
    """

    letter: str
    hatch: str
    face: str

    def face_on(self, colours: Theme) -> str:
        """The colour of its field, ``#rrggbb``."""
        return self.face or colours.paper


VERDICTS: Mapping[str, VerdictStyle] = {
    "guaranteed": VerdictStyle("G", "", "#fee636"),
    "in_range": VerdictStyle("R", "||", "#d6c35d"),
    "beats": VerdictStyle("B", "///", "#aca172"),
    "holds": VerdictStyle("H", "---", "#838179"),
    "risky": VerdictStyle("!", "xx", "#5e626e"),
    "trades": VerdictStyle("T", "\\\\\\", "#33446d"),
    "unknown": VerdictStyle("?", "..", ""),
    "loses": VerdictStyle("L", "++", "#00285b"),
}
"""Styles of the vocabulary's verdicts, best first. Faces are steps of the cividis scale, about equal in lightness,
lighter where better (common practice for colour-blind readers, no published source for the steps)."""


def look(form: str, theme: str = "light", dpi: float = 100, scale: float = 1.0) -> Look:
    """What was asked for, checked. Errors: ``QuestionError`` (value-invalid) that points at the value."""
    _one_of("form", form, FORMS)
    _one_of("theme", theme, tuple(THEMES))
    _between("dpi", dpi, DPI)
    _between("scale", scale, SCALE)
    return Look(form, theme, dpi, scale)


def style_of(verdict: str) -> VerdictStyle:
    """The style of a verdict. Errors: ``QuestionError`` for a word that is none."""
    _one_of("verdict", verdict, tuple(VERDICTS))
    return VERDICTS[verdict]


def _one_of(field: str, word: object, known: tuple[str, ...]) -> None:
    if isinstance(word, str) and word in known:
        return
    near = did_you_mean(word, known) if isinstance(word, str) else ""
    raise QuestionError(
        "value-invalid", f"`{field}` is `{word}`", help=near or f"give one of {', '.join(known)}", pointer=f"/{field}"
    )


def _between(field: str, value: object, bounds: tuple[float, float]) -> None:
    real = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if real and bounds[0] <= value <= bounds[1]:  # type: ignore[operator]
        return
    raise QuestionError(
        "value-invalid", f"`{field}` is `{value}`", help=f"give a number from {bounds[0]:g} to {bounds[1]:g}",
        pointer=f"/{field}",
    )  # fmt: skip


def _channels(colour: str) -> tuple[float, float, float]:
    return int(colour[1:3], 16) / 255, int(colour[3:5], 16) / 255, int(colour[5:7], 16) / 255


def _luminance(colour: str) -> float:
    """Relative luminance Y of sRGB, 0 to 1 (IEC 61966-2-1)."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def lightness(colour: str) -> float:
    """L* of CIE 1976, 0 (black) to 100 (white), of ``#rrggbb``: 116 Y^(1/3) - 16, or 903.3 Y near black."""
    y = _luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def ink_on(face: str) -> str:
    """Black or white, whichever has the greater contrast (Y1 + .05) / (Y2 + .05) on the face; at least 4.5."""
    y = _luminance(face)
    return "#000000" if (y + 0.05) ** 2 > 0.05 * 1.05 else "#ffffff"


def blend(colour: str, other: str, share: float) -> str:
    """``colour`` with ``share`` (0 to 1) of ``other`` mixed in."""
    mixed = (a + (b - a) * share for a, b in zip(_channels(colour), _channels(other), strict=True))
    return "#" + "".join(f"{round(c * 255):02x}" for c in mixed)
