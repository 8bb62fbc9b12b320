"""Small packs, tables and mappings for the tests of tables."""

from __future__ import annotations

from pathlib import Path

import msgspec

from advisor.documents import parse_document
from advisor.errors import DataError
from advisor.pack.words import Words
from advisor.tables.importing import ImportReport, import_table
from advisor.tables.mapping import Mapping
from advisor.tables.reading import Reading, read_table

WORDS = Words(
    levels=frozenset({"high", "mid", "low", "throw"}), tags=frozenset({"hand", "hop"}),
    breaks=frozenset({"left_grip", "right_grip"}), distances={"touching": 400_000, "far": 3_200_000},
)  # fmt: skip

PACK = """\
format: 1
id: fenland
startup_counts: first_active
distance: {named: {touching: 0.4, far: 3.2}}
levels:
  high: {hits: [standing, airborne], blocked_by: [standing]}
  mid: {hits: [standing, crouching, airborne], blocked_by: [standing]}
tags: {hand: a hand, hop: a hop}
none_when_absent: [tags]
"""

WREN = """\
# wren of the reeds
id: wren
name: Wren
moves:
  # hands first
  - {id: tap, name: Tap, level: high, startup: 10, on_block: +1, follow_ups: [{move: kick, arrives: 14}]}  # quick
  - id: kick
    name: Kick   # the 'long' one
    level: mid
    startup: 14
    on_block: -8
    crouching: [1, 5]

  # off the ground
  - {id: hop, name: "Hop # 2", kind: movement, total: 30, airborne: [4, 28]}
health: 170   # as measured
"""

HEAD = """\
format: 1
file: {form: csv, delimiter: ",", encoding: utf-8}
startup_counts: first_active
columns:
  - {column: id, property: id}
"""


def mapping_of(text: str) -> Mapping:
    return msgspec.convert(parse_document(text.encode(), "mapping.yaml").value, Mapping)


def reading_of(path: Path, text: str, words: Words = WORDS, *, character: str = "", shift: int = 0) -> Reading:
    document = parse_document(text.encode(), "mapping.yaml")
    return read_table(
        path, msgspec.convert(document.value, Mapping), document, words, character=character, shift=shift
    )


def read_bytes(folder: Path, raw: bytes, text: str) -> Reading:
    path = folder / "moves.csv"
    path.write_bytes(raw)
    return reading_of(path, text)


def only_fault(error: DataError) -> tuple[str, str, str]:
    """Code, message and help of the one finding."""
    (found,) = error.findings
    return found.code, found.message, found.help


class Fen:
    """A pack in a folder of its own, with one character."""

    def __init__(self, folder: Path, wren: str = WREN, pack: str = PACK) -> None:
        self.scratch = folder
        self.folder = folder / "fenland"
        (self.folder / "characters").mkdir(parents=True)
        (self.folder / "pack.yaml").write_text(pack, encoding="utf-8")
        self.wren = self.folder / "characters" / "wren.yaml"
        self.wren.write_bytes(wren.encode())

    def bring(self, table: str, mapping: str, *, dry_run: bool = False) -> ImportReport:
        (self.scratch / "t.csv").write_bytes(table.encode())
        (self.scratch / "m.yaml").write_text(mapping, encoding="utf-8")
        return import_table(self.scratch / "t.csv", self.scratch / "m.yaml", self.folder, "wren", dry_run=dry_run)
