"""Words of a pack in a message: without markup or mentions of their own, and no longer than there is room."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["ELLIPSIS", "escaped", "plain", "shortened", "size"]

ELLIPSIS = "\u2026"
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_MARKUP = re.compile(r"([\\*_~`|\[\]<>@#:])")
_LINE = re.compile(r"^([-+]|\d+(?=\.))")


def plain(text: str) -> str:
    """The text on one line, without control characters and those that change its direction."""
    kept = "".join(" " if unicodedata.category(c) in _HIDDEN else c for c in text)
    return " ".join(kept.split())


def escaped(text: str) -> str:
    """The text such that the platform shows it as it is: no markup, link, emoji or mention comes of it."""
    said = _MARKUP.sub(r"\\\1", plain(text))
    return _LINE.sub(lambda m: f"\\{m[0]}" if m[0] in "-+" else f"{m[0]}\\", said)


def size(text: str) -> int:
    """How long the platform takes the text for, at most: UTF-16 code units."""
    return len(text) + sum(c > "\uffff" for c in text)


def shortened(text: str, most: int) -> str:
    """The text, cut to ``most`` characters with an ellipsis; no escape is torn apart."""
    if size(text) <= most:
        return text
    kept = text.encode("utf-16-le", "surrogatepass")[: 2 * max(0, most - 1)].decode("utf-16-le", "ignore")
    if (len(kept) - len(kept.rstrip("\\"))) % 2:
        kept = kept[:-1]
    return f"{kept.rstrip()}{ELLIPSIS}" if most > 0 else ""
