"""How much a body may hold, found out from its bytes before anything is decoded.

Decoding nests as deep as the body does and makes an object of every value; a glance at brackets and commas costs a
hundredth of that.
"""

from __future__ import annotations

from typing import NamedTuple

from advisor.errors import AdvisorError
from advisor.service.settings import Settings

__all__ = ["BOUNDS", "Bounds", "check_bounds"]

_PAIRS = bytes.maketrans(b"{}", b"[]")
_OTHERS = bytes(set(range(256)) - set(b"[]{}"))


class Bounds(NamedTuple):
    """The deepest nesting, and the most values: members of objects and of lists."""

    depth: int = 32
    items: int = 20_000

    @classmethod
    def of(cls, settings: Settings) -> Bounds:
        """Those of the settings."""
        return cls(settings.max_depth, settings.max_items)


BOUNDS = Bounds()
"""Those of the settings when nothing is set."""


def check_bounds(body: bytes, bounds: Bounds = BOUNDS) -> None:
    """Errors: ``AdvisorError`` ``body-malformed`` for what nests too deep, ``body-too-large`` for too many values.

    Values are counted by commas and opening brackets: as many as there are, or a few more.
    """
    opened = body.count(b"[") + body.count(b"{")
    if opened <= bounds.depth and opened + body.count(b",") < bounds.items:
        return
    bare = _without_texts(body)
    brackets = bare.translate(_PAIRS, _OTHERS)
    if _deeper(brackets, bounds.depth):
        raise AdvisorError(
            "body-malformed", f"the body is nested more than {bounds.depth} levels deep",
            help="send one JSON object in UTF-8",
        )  # fmt: skip
    if bare.count(b",") + brackets.count(b"[") >= bounds.items:
        raise AdvisorError(
            "body-too-large", f"the body holds more than {bounds.items} values", help="ask for less at a time"
        )


def _without_texts(body: bytes) -> bytes:
    """The body without what stands in its strings, whatever that looks like."""
    unescaped = body.replace(b"\\\\", b"").replace(b'\\"', b"")
    return b"".join(unescaped.split(b'"')[::2])


def _deeper(brackets: bytes, depth: int) -> bool:
    """Whether they nest deeper; each pass takes the innermost pairs away, which is one level everywhere."""
    for _ in range(depth):
        left = brackets.replace(b"[]", b"")
        if len(left) == len(brackets):
            # No pair is left: what was never closed still nests, and is no JSON.
            return left.count(b"[") > depth
        brackets = left
    return b"[" in brackets
