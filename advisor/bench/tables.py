"""What reading a move table costs, as a ratio to reading the same file into plain dicts.

python -m advisor.bench.tables
"""

from __future__ import annotations

import csv
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from advisor.documents import read_document
from advisor.pack.words import Words
from advisor.tables.mapping import read_mapping
from advisor.tables.reading import Reading, read_table

__all__ = ["large_table", "main"]

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


def _plain(path: Path) -> list[dict[str, str | None]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def _timed(run: Callable[[], object]) -> float:
    start = time.process_time()
    run()
    return time.process_time() - start


def main() -> None:
    """Print seconds of processor time for both, best of ``ROUNDS``, and their ratio."""
    with tempfile.TemporaryDirectory() as scratch:
        table, mapped = Path(scratch) / "moves.csv", Path(scratch) / "moves.yaml"
        large_table(table, ROWS)
        mapped.write_text(MAPPING, encoding="utf-8")
        mapping, document = read_mapping(mapped), read_document(mapped)
        words = Words(levels=frozenset({"high", "mid", "low"}), distances={})

        def read() -> Reading:
            return read_table(table, mapping, document, words, character="wren")

        taken = read()
        assert (len(taken.moves), taken.refused_in_all) == (ROWS, 0)
        plain = min(_timed(lambda: _plain(table)) for _ in range(ROUNDS))
        ours = min(_timed(read) for _ in range(ROUNDS))
    sys.stdout.write(f"{ROWS} rows: dicts {plain:.2f} s, moves {ours:.2f} s, ratio {ours / plain:.1f}\n")


if __name__ == "__main__":
    main()
