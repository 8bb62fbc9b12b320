"""Packs, characters, moves, findings and errors laid out for people in a terminal."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from advisor.errors import AdvisorError, DataError, Finding
from advisor.service.listing.move_form import MoveForm, Window
from advisor.service.wire import CharacterInfo, MoveInfo, PackInfo

__all__ = ["characters_view", "findings_view", "move_view", "moves_view", "packs_view", "print_error"]

UNKNOWN = "?"
ROOM = 110
"""Columns from which on everything about a move has room in a row."""


def packs_view(packs: Iterable[PackInfo]) -> RenderableType:
    """Loaded packs, a block each."""
    blocks: list[RenderableType] = []
    for p in packs:
        away = ", ".join(f"{k} {v:g}" for k, v in p.distances.items())
        head = Text(p.id, style="bold").append(f"{' (default)' if p.default else ''}: {p.name} {p.version}", "not bold")
        lines = (
            f"characters: {', '.join(p.characters)}", f"levels: {', '.join(p.levels)}",
            f"distances: {away} ({p.unit})", f"options of everyone: {', '.join(p.system)}", p.about,
        )
        blocks += [head, *(_in(4, line) for line in lines if line)]
    return Group(*blocks)


def characters_view(characters: Iterable[CharacterInfo]) -> RenderableType:
    """Characters of a pack, a block each."""
    blocks: list[RenderableType] = []
    for c in characters:
        health = "health not recorded" if c.health is None else f"health {c.health:g}"
        head = Text(c.id, style="bold").append(f": {c.name}, {health}, {c.moves} moves", "not bold")
        lines = (f"key moves: {', '.join(c.key_moves)}" if c.key_moves else "", c.about)
        blocks += [head, *(_in(4, line) for line in lines if line)]
    return Group(*blocks)


def _in(columns: int, line: str) -> Padding:
    return Padding(Text(line), (0, 0, 0, columns), expand=False)


def moves_view(moves: Iterable[MoveInfo], *, width: int = ROOM) -> Table:
    """Moves, one a row; a question mark is a property that is not recorded.

    Names, inputs and tags are left out where ``width`` (columns) has no room for them.
    """
    roomy = width >= ROOM
    heads = ("level", "start", "damage", "block", "hit", "reach")
    table = Table(show_edge=False) if roomy else Table(box=None, padding=(0, 1, 0, 0))
    for head in ("id", *(("name", "input") if roomy else ()), *heads, *(("tags",) if roomy else ())):
        table.add_column(head, justify="right" if head in heads[1:] else "left", no_wrap=head in heads, overflow="fold")
    for m in moves:
        lacks = UNKNOWN if m.kind == "attack" else ""
        figures = [
            lacks if v is None else form.format(v)
            for v, form in (
                (m.first_active, "{}"), (m.damage, "{:g}"), (m.on_block, "{:+d}"), (m.on_hit, "{:+d}"),
                (m.reach, "{:g}"),
            )
        ]
        level = m.level or (UNKNOWN if m.kind == "attack" else m.kind)
        row = [m.id, escape(m.name), escape(m.input or ""), level, *figures, ", ".join(m.tags)]
        table.add_row(*(row if roomy else [row[0], *row[3:-1]]))
    return table


def move_view(move: MoveForm) -> Table:
    """One move in full, a property a row; a question mark is one that is not recorded."""
    table = Table(show_edge=False)
    table.add_column("property", no_wrap=True)
    table.add_column("value", overflow="fold")
    table.add_column("worked out as", overflow="fold")
    for name in move.__struct_fields__:
        value = getattr(move, name)
        if name in ("pack", "character", "system", "derived"):
            continue
        for at, shown in _rows(name, value):
            table.add_row(at, escape(shown), escape(move.derived.get(at, "")))
    return table


def _rows(name: str, value: object) -> Iterable[tuple[str, str]]:
    """The rows of one property: hits have one for each of their own properties."""
    if name != "hits" or not isinstance(value, list):
        return [(name, _shown(value))]
    return [
        (f"hits[{i}].{field}", _shown(getattr(hit, field)))
        for i, hit in enumerate(value)
        for field in hit.__struct_fields__
    ]


def _shown(value: object) -> str:
    """A value of a move as people write it: windows inclusive, unknown as a question mark, none as a dash."""
    if value is None:
        return UNKNOWN
    if isinstance(value, Window):
        return f"{value.first}+" if value.last == "held" else f"{value.first}-{value.last}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return "; ".join(_shown(v) for v in value) or "-"
    if isinstance(value, msgspec.Struct):
        parts = [(f, getattr(value, f)) for f in value.__struct_fields__]
        return ", ".join(f"{f} {_shown(v)}" for f, v in parts if v not in (None, [], msgspec.UNSET)) or "-"
    return str(value)


def findings_view(findings: Iterable[Finding]) -> RenderableType:
    """Faults and warnings, one a paragraph."""
    return Group(*(Text(f.shown(), style="" if f.severity == "error" else "dim") for f in findings))


def print_error(console: Console, error: AdvisorError) -> None:
    """An error as people read it: what is wrong, where, what would be right."""
    if isinstance(error, DataError):
        console.print(findings_view(error.findings))
        faults = sum(f.severity == "error" for f in error.findings)
        console.print(Text(f"{faults} fault(s)"))
        return
    where = f" (at {error.pointer})" if error.pointer else ""
    console.print(Text(f"error[{error.code}]: {error.message}{where}"))
    if error.help:
        console.print(Text(f"help: {error.help}"))
