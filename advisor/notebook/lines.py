"""Study sets as JSON Lines: the first line is the set's, each line after it an entry's."""

from __future__ import annotations

import msgspec
from msgspec import Struct

from advisor.errors import AdvisorError, DataError, Finding
from advisor.notebook.sets import Entry, SetInfo, Sets, request_type

__all__ = ["export_set", "import_set", "read_lines"]


class _Head(Struct, kw_only=True, forbid_unknown_fields=True):
    set: str
    note: str = ""


# Made once, here: two threads that first use a type at the same moment would crash the decoder (msgspec 0.22).
_HEAD, _ENTRY = msgspec.json.Decoder(_Head), msgspec.json.Decoder(Entry)


def export_set(sets: Sets, name: str) -> bytes:
    """The set with its newest answers; ``import_set`` reads it back. Errors: ``AdvisorError`` ``set-unknown``."""
    info, found = sets.get(name)
    rows: list[Struct] = [_Head(set=info.name, note=info.note), *found]
    return b"".join(msgspec.json.encode(row) + b"\n" for row in rows)


def import_set(sets: Sets, text: bytes, *, file: str = "", name: str | None = None) -> SetInfo:
    """A new set from JSON Lines, all of it or nothing; ``name`` stands in for the one that the file has.

    Errors: ``DataError`` with every faulty line; ``AdvisorError`` ``set-exists``.
    """
    head, found = read_lines(text, file)
    return sets.put(name or head.set, head.note, found)


def read_lines(text: bytes, file: str = "") -> tuple[_Head, list[Entry]]:
    """The head and the entries. Errors: ``DataError`` with file, line, path and fault, for every faulty line."""
    faults: list[Finding] = []
    head: _Head | None = None
    found: list[Entry] = []
    seen: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        try:
            if number == 1:
                head = _HEAD.decode(line)
                continue
            entry = _ENTRY.decode(line)
            msgspec.convert(entry.request, request_type(entry.study))
        except msgspec.MsgspecError as error:
            faults.append(_fault(file, number, str(error)))
        except UnicodeDecodeError:
            faults.append(_fault(file, number, "not UTF-8"))
        except AdvisorError as error:
            faults.append(_fault(file, number, error.message, error.help))
        else:
            if entry.name in seen:
                faults.append(_fault(file, number, f"entry `{entry.name}` is on line {seen[entry.name]} too"))
            seen.setdefault(entry.name, number)
            found.append(entry)
    if head is None and not faults:
        faults.append(_fault(file, 1, "nothing is there"))
    if faults or head is None:
        raise DataError(faults)
    return head, found


def _fault(file: str, line: int, said: str, help: str = "") -> Finding:
    said, _, at = said.removeprefix("JSON is malformed: ").partition(" - at `$")
    right = '{"set": name, "note": text}' if line == 1 else '{"name": ..., "study": ..., "request": {...}}'
    return Finding(
        code="set-line", message=said[:1].lower() + said[1:], file=file or "(lines)", line=line, column=1,
        path=at.rstrip("`").strip("."), help=help or f"a line like {right}",
    )  # fmt: skip
