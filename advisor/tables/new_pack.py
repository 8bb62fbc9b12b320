"""The first ``pack.yaml`` of a pack that starts from a table."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.tables.reading import TableMove

__all__ = ["LEVELS", "pack_text"]

LEVELS = {
    "high": "{hits: [standing, airborne], blocked_by: [standing]}",
    "mid": "{hits: [standing, crouching, airborne], blocked_by: [standing]}",
    "low": "{hits: [standing, crouching, grounded], blocked_by: [crouching]}",
    "overhead": "{hits: [standing, crouching, airborne], blocked_by: [standing]}",
    "throw": "{hits: [standing], blocked_by: [], kind: throw}",
    "unblockable": "{hits: [standing, crouching, airborne], blocked_by: []}",
}
"""The usual hit levels (common practice, no published source)."""

_GUARD = "[{frames: [1, held], with: [%s]}]"

_HEAD = """\
# The conventions of this game. Read each line and make it true: they were not in the table.
format: 1
id: {id}
frame_rate: 60
# as the table's mapping says; `first_active`: a move of startup 10 touches on its frame 10
startup_counts: {startup_counts}

# which postures each level hits, and which guards block it: the usual set, to be checked against the game
levels:
{levels}
# what happens when both touch on one frame, and in which phases a hit is a counter-hit
same_frame: {{strike_strike: trade, strike_throw: first, throw_strike: second, throw_throw: break}}
counter_hit: [startup]

# properties whose absence in a move means that it has none; what is not listed here is then unknown
none_when_absent: []

# what every fighter can do, beside its own moves
system:
  - {{id: stand_guard, name: Standing Guard, kind: guard, guard: {high_guard}, total: held}}
  - {{id: crouch_guard, name: Crouching Guard, kind: guard, crouching: [1, held], guard: {low_guard}, total: held}}
"""


def pack_text(id: str, startup_counts: str, moves: Iterable[TableMove]) -> str:
    """The text of ``pack.yaml``; tags and throw breaks that the moves name are declared in it."""
    rows = list(moves)
    tags = sorted({tag for row in rows for tag in [*_listed(row, "tags"), *row.tags]})
    breaks = sorted({word for row in rows for word in _listed(row, "breaks")})
    levels = "".join(f"  {name}: {form}\n" for name, form in LEVELS.items())
    guards = {"high_guard": _GUARD % "standing", "low_guard": _GUARD % "crouching"}
    text = _HEAD.format(id=id, startup_counts=startup_counts, levels=levels, **guards)
    if tags:
        text += "\n# every tag of the table; say behind each what it means\ntags:\n"
        text += "".join(f"  {tag}:\n" for tag in tags)
    if breaks:
        text += "\n# how throws are broken: add `input` and `window` (frames) to each\nthrows:\n  breaks:\n"
        text += "".join(f"    {word}: {{}}\n" for word in breaks)
    return text


def _listed(row: TableMove, key: str) -> list[str]:
    value = row.values.get(key)
    return value if isinstance(value, list) else []
