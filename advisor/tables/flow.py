"""Written data as YAML text, a move a line in flow style, in the narrow dialect that packs use."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

__all__ = ["flow", "move_line", "quoted_text"]

_PLAIN = re.compile(r"[A-Za-z_](?:[A-Za-z0-9_'.-]| (?=[A-Za-z0-9_'.-]))*\Z")
_RESERVED = re.compile(r"(?:true|false|null|\.?nan|\.?inf|infinity)\Z", re.IGNORECASE)
# What a double-quoted text would fold as a line break, or YAML calls not printable.
_ESCAPED = re.compile("[\x7f-\xa0\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")
_SIGNED = frozenset({"on_block", "on_hit", "on_counter_hit", "advantage"})
_QUOTED = frozenset({"input", "note", "source"})


def quoted_text(text: str) -> str:
    """The text in double quotes."""
    return _ESCAPED.sub(lambda found: f"\\u{ord(found.group()):04x}", json.dumps(text, ensure_ascii=False))


def _number(value: int | float, signed: bool) -> str:
    if isinstance(value, float):
        text = f"{Decimal(repr(value)):f}"
        text = text if "." in text else f"{text}.0"
    else:
        text = str(value)
    return f"+{text}" if signed and value > 0 else text


def flow(value: Any, key: str = "") -> str:
    """``value`` (plain data) on one line; ``key`` is the key it stands under, for signs and quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "null"
    if isinstance(value, int | float):
        return _number(value, key in _SIGNED)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{flow(name)}: {flow(one, name)}" for name, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(one) for one in value) + "]"
    if key not in _QUOTED and _PLAIN.match(value) and not _RESERVED.match(value):
        return str(value)
    return quoted_text(value)


def move_line(move: Mapping[str, Any], indent: int = 2) -> str:
    """One move as an item of a list: ``  - {id: jab, ...}``."""
    return f"{' ' * indent}- {flow(move)}"
