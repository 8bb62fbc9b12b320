"""What reading a move table costs, as CSV and as XLSX: a ratio to reading the same CSV into plain dicts."""

from __future__ import annotations

import csv
import random
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from xml.sax.saxutils import escape

from advisor.documents import read_document
from advisor.pack.words import Words
from advisor.tables.mapping import read_mapping
from advisor.tables.reading import Reading, read_table
from advisor.tables.rows import address

__all__ = ["as_workbook", "large_table", "run"]

ROWS = 50_000
ROUNDS = 3
MAPPING = """\
format: 1
file: {form: csv, delimiter: ",", encoding: utf-8}
startup_counts: first_active
character: {column: who}
columns:
  - {column: id, property: id}
  - {column: name, property: name}
  - {column: input, property: input}
  - {column: level, property: level, words: {h: high, m: mid, l: low}}
  - {column: startup, property: startup, forms: [prefixed, range, number], prefixes: [i], range: first}
  - {column: active, property: active, forms: [number]}
  - {column: recovery, property: recovery, forms: [number], blank: unknown}
  - {column: damage, property: damage, forms: [number]}
  - {column: block, property: on_block, forms: [signed, suffixed], suffix: note}
  - {column: hit, property: on_hit, forms: [signed, plus_range], plus_range: lowest}
  - {column: reach, property: reach, forms: [number], not_available: ["-"], not_available_means: unknown}
  - {column: tags, property: tags, blank: none}
  - {column: note, property: note, blank: absent}
"""
"""A mapping that uses most of the forms."""

_HEADINGS = (
    "who",
    "id",
    "name",
    "input",
    "level",
    "startup",
    "active",
    "recovery",
    "damage",
    "block",
    "hit",
    "reach",
)

_PARTS = {
    "_rels/workbook.xml.rels": '<Relationships><Relationship Id="x" Target="s.xml"/></Relationships>',
    "workbook.xml": '<workbook xmlns:r="r"><sheets><sheet name="a" r:id="x"/></sheets></workbook>',
}


def large_table(path: Path, rows: int, seed: int = 1) -> None:
    """Write a table of ``rows`` moves of one invented character, seeded."""
    rng = random.Random(seed)
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow((*_HEADINGS, "tags", "note"))
        for n in range(rows):
            start = rng.randrange(8, 40)
            block = rng.randrange(-30, 9)
            writer.writerow(
                ("wren", f"move_{n}", f"Move {n}", f"fen {n % 97}", rng.choice("hml"), rng.choice((f"i{start}", start)),
                 rng.randrange(1, 9), rng.choice(("", 20, 25)), rng.randrange(5, 60), f"{block:+d} (jump)",
                 f"{block + 8:+d}~{block + 11:+d}", rng.choice(("-", 1.2, 2.5)), rng.choice(("hand", "foot", "")),
                 f"note {n}")
            )  # fmt: skip


def as_workbook(table: Path, path: Path) -> None:
    """Write the CSV file ``table`` as XLSX, each cell with its text in place: the form that takes longest to read."""
    with table.open(newline="", encoding="utf-8") as stream:
        rows = "".join(_row(number, cells) for number, cells in enumerate(csv.reader(stream), 1))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in _PARTS.items():
            archive.writestr(f"xl/{name}", text)
        archive.writestr("xl/s.xml", f"<worksheet><sheetData>{rows}</sheetData></worksheet>")


def _row(number: int, cells: list[str]) -> str:
    written = (
        f'<c r="{address(at, number)}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'
        for at, cell in enumerate(cells) if cell
    )  # fmt: skip
    return f'<row r="{number}">{"".join(written)}</row>'


def _plain(path: Path) -> list[dict[str, str | None]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def _timed(run: Callable[[], object]) -> float:
    start = time.process_time()
    run()
    return time.process_time() - start


def _read(table: Path, text: str) -> Reading:
    mapped = table.with_suffix(".yaml")
    mapped.write_text(text, encoding="utf-8")
    words = Words(levels=frozenset({"high", "mid", "low"}), distances={})
    return read_table(table, read_mapping(mapped), read_document(mapped), words, character="wren")


def run() -> None:
    """Print seconds of processor time, best of ``ROUNDS``, and the ratios."""
    with tempfile.TemporaryDirectory() as scratch:
        table, book = Path(scratch) / "moves.csv", Path(scratch) / "moves.xlsx"
        large_table(table, ROWS)
        as_workbook(table, book)
        forms = {table: MAPPING, book: MAPPING.replace('{form: csv, delimiter: ",", encoding: utf-8}', "{form: xlsx}")}
        plain = min(_timed(lambda: _plain(table)) for _ in range(ROUNDS))
        print(f"\ntables, {ROWS:,} rows\n  {'CSV into plain dicts':48} {plain:8.2f} s of processor time")
        for path, text in forms.items():
            taken = _read(path, text)
            assert (len(taken.moves), taken.refused_in_all) == (ROWS, 0)
            took = min(_timed(lambda p=path, t=text: _read(p, t)) for _ in range(ROUNDS))  # type: ignore[misc]
            print(f"  {f'{path.suffix[1:].upper()} into moves':48} {took:8.2f} s, {took / plain:.1f} times as long")


if __name__ == "__main__":
    run()
