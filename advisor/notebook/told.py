"""Changes of an answer for people: what it comes to first, a row that came or went in one line, and not too many."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["MOST", "told"]

MOST = 12
ABSENT = "(none)"
_ROW = re.compile(r"(?P<row>[^\[\]]+\[[^\]]+\])\.(?P<field>.+)\Z")
SHOWN = ("verdict", "damage")


def told(changes: Sequence[str], most: int | None = MOST) -> list[str]:
    """The lines ``place: before -> after`` shortened to ``most`` (None: all), with how many more there are.

    The summary comes first, then rows that came or went with verdict and damage, then what changed in those that
    stayed. Lines in another form are told as they are.
    """
    rows: dict[str, list[tuple[str, str, str]]] = {}
    other: list[str] = []
    for line in changes:
        place, _, values = line.partition(": ")
        before, arrow, after = values.partition(" -> ")
        found = _ROW.match(place) if arrow else None
        if found is None:
            other.append(line)
        else:
            rows.setdefault(found["row"], []).append((found["field"], before, after))
    lines = sorted(other, key=lambda line: (not line.startswith("summary"), "(order)" not in line))
    stayed: list[str] = []
    for row, fields in rows.items():
        if all(before == ABSENT for _, before, _ in fields):
            lines.append(f"{row}: {ABSENT} -> {_short({field: after for field, _, after in fields})}")
        elif all(after == ABSENT for _, _, after in fields):
            lines.append(f"{row}: {_short({field: before for field, before, _ in fields})} -> {ABSENT}")
        else:
            fields.sort(key=lambda field: field[0] not in SHOWN)
            stayed += [f"{row}.{field}: {before} -> {after}" for field, before, after in fields]
    lines += sorted(stayed, key=lambda line: not any(f".{word}: " in line for word in SHOWN))
    if most is None or len(lines) <= most + 1:
        return lines
    return [*lines[:most], f"... and {len(lines) - most} more"]


def _short(fields: dict[str, str]) -> str:
    """Verdict and damage of a row, as far as it has them."""
    words = [fields[key].strip('"') if key == "verdict" else f"{fields[key]} {key}" for key in SHOWN if key in fields]
    return ", ".join(word for word in words if not word.startswith("null")) or "there"
