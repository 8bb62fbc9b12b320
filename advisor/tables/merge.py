"""The moves of a table merged into a character's file, whose comments and other keys stay."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, Struct

from advisor.documents import Document, parse_document
from advisor.errors import Fault
from advisor.pack.words import slug_of
from advisor.pack.written_move import HitKeys
from advisor.tables.cells import KEEP
from advisor.tables.flow import move_line
from advisor.tables.properties import PUSHBACK_PARTS, RANK
from advisor.tables.reading import Reading, TableMove
from advisor.tables.rows import table_error

__all__ = ["Change", "MovedRow", "fresh_text", "merged_move", "merged_text", "written_id"]

_ON_HITS = frozenset(HitKeys.__struct_fields__)


class Change(Struct, frozen=True):
    """One property of a move before and after; ``None`` stands for a key that is not there."""

    property: str
    old: Any
    new: Any


class MovedRow(Struct, frozen=True):
    """What became of a row: ``new``, ``changed`` or ``same``, and what changed in its move."""

    row: int
    move: str
    state: str
    changes: list[Change] = []
    dropped: list[str] = []


def written_id(move: Any) -> str:
    """The id of a written move, as the loader makes it; empty when there is none."""
    if not isinstance(move, dict):
        return ""
    stated, name = move.get("id"), move.get("name")
    if isinstance(stated, str) and stated != "unknown":
        return stated
    return slug_of(name) if isinstance(name, str) else ""


def merged_move(old: dict[str, Any], row: TableMove, reading: Reading) -> dict[str, Any]:
    """The written move with what the row says; a clash with ``hits`` is refused in ``reading``."""
    wanted = dict(row.values)
    if "id" not in wanted and "id" not in old:
        wanted["id"] = row.id
    elif wanted.get("id") is UNSET:
        wanted["id"] = old.get("id", row.id)
    if row.notes:
        wanted["note"] = _note(wanted.get("note", KEEP), old, row.notes)
    if row.tags:
        base = wanted.get("tags", KEEP)
        base = old.get("tags") if base is KEEP else base
        listed = base if isinstance(base, list) else []
        wanted["tags"] = [*listed, *(tag for tag in row.tags if tag not in listed)]
    pushed = {key: wanted.pop(key) for key in PUSHBACK_PARTS if key in wanted}
    whole = wanted.get("pushback", KEEP)
    if pushed and (whole is UNSET or whole is KEEP):
        wanted["pushback"] = _pushback(old.get("pushback"), pushed, whole=whole is UNSET)
    out = dict(old)
    for key, value in wanted.items():
        if value is KEEP:
            continue
        if value is UNSET:
            out.pop(key, None)
        elif isinstance(old.get("hits"), list) and key in _ON_HITS:
            reading.refuse(
                row.row,
                row.line,
                reading.columns.get(key, -1),
                f"`{row.id}` has several hits in the file, so `{key}` cannot stand on the move",
                "leave the cell blank, or take `hits` out of the file",
                "hits-clash",
            )
        else:
            _put(out, key, value)
    return out


def _note(stated: Any, old: dict[str, Any], notes: list[str]) -> str:
    base = old.get("note") if stated is KEEP else stated
    text = base if isinstance(base, str) else ""
    for note in notes:
        if note not in text:
            text = f"{text}; {note}" if text else note
    return text


def _pushback(old: Any, pushed: dict[str, Any], *, whole: bool) -> Any:
    """The block ``pushback`` from its two parts; with ``whole`` the table carries all of it."""
    parts: dict[str, Any] = {}
    if not whole or any(value is KEEP for value in pushed.values()):
        parts = dict(old) if isinstance(old, dict) else {}
        if isinstance(old, int | float):
            parts = {"block": old, "hit": old}
    for key, value in pushed.items():
        if value is UNSET:
            parts.pop(PUSHBACK_PARTS[key], None)
        elif value is not KEEP:
            parts[PUSHBACK_PARTS[key]] = value
    if isinstance(old, int | float) and parts == {"block": old, "hit": old}:
        return old
    return parts or UNSET


def _put(move: dict[str, Any], key: str, value: Any) -> None:
    """Set a key; a new one stands behind the keys that are written before it."""
    if key in move:
        if move[key] != value or isinstance(move[key], bool) != isinstance(value, bool):
            move[key] = value
        return
    items = list(move.items())
    rank = RANK.get(key, len(RANK))
    at = max((n + 1 for n, (name, _) in enumerate(items) if RANK.get(name, len(RANK)) < rank), default=0)
    move.clear()
    move.update([*items[:at], (key, value), *items[at:]])


def fresh_text(character: str, moves: list[dict[str, Any]]) -> str:
    """A character's file with these moves alone."""
    return f"id: {character}\nmoves:\n" + "".join(f"{move_line(move)}\n" for move in moves)


def merged_text(document: Document, changed: dict[int, dict[str, Any]], added: list[dict[str, Any]]) -> str:
    """The file's text with the moves at these places rewritten and ``added`` put behind the last.

    Everything else stays as it stands. A comment inside a rewritten move moves in front of it.
    Errors: ``DataError`` when the file's moves do not begin each on a line of its own.
    """
    count = len(document.value["moves"])
    lines = document.text.split("\n")
    spans = _spans(document, lines, count)
    ending = "\r" if lines[0].endswith("\r") else ""
    indent = spans[0][2]
    for place in sorted(changed, reverse=True):
        start, stop, column = spans[place]
        fresh = [f"{' ' * column}{text}" for text in _comments(lines[start:stop])]
        fresh.append(move_line(changed[place], column))
        if place == count - 1:
            fresh += [move_line(move, indent) for move in added]
        lines[start:stop] = [line + ending for line in fresh]
    if added and count - 1 not in changed:
        after = spans[-1][1] + (len(lines) - len(document.text.split("\n")))
        lines[after:after] = [move_line(move, indent) + ending for move in added]
    text = "\n".join(lines)
    _prove(document, text, changed, added)
    return text


def _spans(document: Document, lines: list[str], count: int) -> list[tuple[int, int, int]]:
    """First line, line behind the last, and column of the dash of each move, all from 0."""
    starts: list[tuple[int, int]] = []
    for place in range(count):
        line = document.where(("moves", place))[0] - 1
        while line >= 0 and not lines[line].lstrip(" \ufeff").startswith("-"):
            line -= 1
        dash = len(lines[line]) - len(lines[line].lstrip(" ")) if line >= 0 else 0
        if line < 0 or (starts and (line <= starts[-1][0] or dash != starts[-1][1])):
            raise table_error(
                "layout-unclear",
                f"move {place + 1} does not begin on a line of its own, so the file cannot be edited",
                document.file,
                line=document.where(("moves", place))[0],
                help="write one move a line, each behind a dash",
            )
        starts.append((line, dash))
    end = _end_of_moves(lines, *starts[-1])
    stops = [line for line, _ in starts[1:]] + [end]
    return [(start, _trimmed(lines, start, stop), dash) for (start, dash), stop in zip(starts, stops, strict=True)]


def _end_of_moves(lines: list[str], last: int, dash: int) -> int:
    """The first line behind the last move that is no part of the list."""
    for at in range(last + 1, len(lines)):
        text = lines[at].rstrip("\r")
        bare = text.lstrip(" ")
        if bare and not bare.startswith("#") and len(text) - len(bare) <= dash:
            return at
    return len(lines)


def _trimmed(lines: list[str], start: int, stop: int) -> int:
    """``stop`` without the blank lines and comments at the end, which belong to what follows."""
    while stop > start + 1 and (not lines[stop - 1].strip() or lines[stop - 1].lstrip().startswith("#")):
        stop -= 1
    return stop


def _comments(lines: list[str]) -> list[str]:
    """The comments in these lines. A quote opens a text only where a value can begin."""
    out = []
    quote = ""
    for line in lines:
        before = ""
        for at, letter in enumerate(line):
            if quote:
                quote = "" if letter == quote and (quote == "'" or line[at - 1 : at] != "\\") else quote
            elif letter in "\"'" and before in ("", "{", "[", ",", ":", "-"):
                quote = letter
            elif letter == "#" and (at == 0 or line[at - 1] in " \t"):
                out.append(line[at:].rstrip())
                break
            if letter not in " \t":
                before = letter
    return out


def _prove(document: Document, text: str, changed: dict[int, dict[str, Any]], added: list[dict[str, Any]]) -> None:
    """The new text, read again, holds just what was meant. Errors: ``Fault``."""
    moves = [changed.get(at, move) for at, move in enumerate(document.value["moves"])]
    meant = {**document.value, "moves": [*moves, *added]}
    if parse_document(text.encode("utf-8"), document.file).value != meant:
        raise Fault("fault", f"`{document.file}` would not say what was meant, so it is left as it is")
