"""A table into a character's file: read, merged, checked by the pack's loader, and only then put in place.

All or nothing: when one cell or row is refused, or the pack would not load, no file is touched.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from advisor.documents import Document, read_document
from advisor.errors import DataError, Finding, QuestionError, did_you_mean
from advisor.pack.conventions import startup_shift
from advisor.pack.load import load_pack
from advisor.pack.words import Words, declared_words, slug_of
from advisor.pack.written_move import MAX_MOVES
from advisor.tables.mapping import Mapping, read_mapping
from advisor.tables.merge import Change, MovedRow, fresh_text, merged_move, merged_text, written_id
from advisor.tables.new_pack import LEVELS, pack_text
from advisor.tables.reading import Reading, read_table

__all__ = ["ImportReport", "import_table"]


class ImportReport(Struct, frozen=True, kw_only=True):
    """What an import did, or would do. ``rows`` counts those below the headings."""

    table: str
    character: str
    file: str
    rows: int
    blank_rows: int
    other_rows: int
    taken: tuple[MovedRow, ...]
    only_in_file: tuple[str, ...]
    refused: tuple[Finding, ...]
    refused_in_all: int
    warnings: tuple[Finding, ...]
    written: bool

    def count(self, state: str) -> int:
        """Rows that are ``new``, ``changed`` or ``same``."""
        return sum(one.state == state for one in self.taken)


def import_table(
    table: Path,
    mapping_path: Path,
    folder: Path,
    character: str,
    *,
    new: bool = False,
    dry_run: bool = False,
    progress: Callable[[int], None] | None = None,
) -> ImportReport:
    """Import the rows of ``character`` into the pack in ``folder``.

    With ``new``, the character's file, and the folder with a first ``pack.yaml``, are made when they are
    not there. ``progress`` is told the count of rows read.
    Errors: ``QuestionError`` for a character or pack that is not there; ``DataError`` for a mapping, a
    table as a whole, or a file of the pack that cannot be used. Refused cells are in the report.
    """
    return _Import(table, mapping_path, folder, character, new, dry_run).run(progress)


class _Import:
    """One import."""

    def __init__(
        self, table: Path, mapping_path: Path, folder: Path, character: str, new: bool, dry_run: bool
    ) -> None:
        self.table = table
        self.mapping_path = mapping_path
        self.folder = Path(os.path.abspath(folder))
        self.character = character
        self.dry_run = dry_run
        self.target = self.folder / "characters" / f"{character}.yaml"
        self.new_pack = new and not (self.folder / "pack.yaml").exists()
        self._check_place(new)

    def _check_place(self, new: bool) -> None:
        if not _slug(self.character):
            near = slug_of(self.character)
            raise QuestionError(
                "value-invalid",
                f"`{self.character}` is not an id",
                help=f"write `{near}`" if near else "",
                pointer="/character",
            )
        if self.new_pack:
            if not _slug(self.folder.name):
                raise QuestionError(
                    "value-invalid",
                    f"the folder's name `{self.folder.name}` is the pack's id, and is not one",
                    help="a lower-case letter, then letters, digits or `_`",
                    pointer="/pack_folder",
                )
            if self.folder.exists() and any(self.folder.iterdir()):
                raise QuestionError(
                    "question-impossible",
                    f"`{self.folder}` has files but no `pack.yaml`",
                    help="name a new folder",
                    pointer="/pack_folder",
                )
            return
        if not (self.folder / "pack.yaml").is_file():
            raise QuestionError(
                "pack-unknown",
                f"there is no pack in `{self.folder}`",
                help="`--new` starts one",
                pointer="/pack_folder",
            )
        if not self.target.exists() and not new:
            there = [path.stem for path in self.target.parent.glob("*.yaml")]
            raise QuestionError(
                "character-unknown",
                f"the pack has no file of `{self.character}`",
                help=did_you_mean(self.character, there) or "`--new` starts one",
                pointer="/character",
            )

    def run(self, progress: Callable[[int], None] | None) -> ImportReport:
        """Read, merge, check, write."""
        mapped = read_document(self.mapping_path)
        mapping = read_mapping(self.mapping_path)
        words, shift = self._conventions(mapping)
        old = read_document(self.target) if self.target.exists() else None
        reading = read_table(
            self.table, mapping, mapped, words, character=self.character, shift=shift, progress=progress
        )
        if not reading.refused and not reading.moves:
            near = (
                did_you_mean(self.character, reading.others) or "see `file.header_row` and `character` of the mapping"
            )
            reading.refuse(
                mapping.file.header_row + 1, 1, -1, f"the table has no row of `{self.character}`", near, "table-empty"
            )
        if len(reading.moves) > MAX_MOVES:
            over = reading.moves[MAX_MOVES]
            reading.refuse(
                over.row,
                over.line,
                -1,
                f"the table has {len(reading.moves)} moves of `{self.character}`; the limit is {MAX_MOVES}",
                "a table of several characters needs `character` in its mapping",
                "too-many-moves",
            )
            return self._report(reading, [], (), None)
        moved, kept, text = self._merge(reading, old)
        if reading.refused_in_all or (text is None and not self.new_pack):
            return self._report(reading, moved, kept, None if reading.refused_in_all else ())
        try:
            return self._put(reading, moved, kept, text or "", mapping)
        except OSError as error:
            reason = error.strerror or "the pack's files cannot be copied"
            raise QuestionError(
                "question-impossible", f"`{self.folder}` cannot be written: {reason}", pointer="/pack_folder"
            ) from None

    def _conventions(self, mapping: Mapping) -> tuple[Words, int]:
        """The pack's words, and the frames that turn the table's startup into the pack's."""
        before = mapping.startup_counts == "before_active"
        if self.new_pack:
            return Words(levels=frozenset(LEVELS), distances={}), 0
        document = read_document(self.folder / "pack.yaml")
        return declared_words(document.value), int(before) - startup_shift(document.value)

    def _merge(self, reading: Reading, old: Document | None) -> tuple[list[MovedRow], tuple[str, ...], str | None]:
        """What became of each row, moves that are only in the file, and the new text (None: unchanged)."""
        listed = old.value.get("moves") if old is not None and isinstance(old.value, dict) else []
        if not isinstance(listed, list) or any(not isinstance(move, dict) for move in listed) or (old and not listed):
            load_pack(self.folder)
            raise QuestionError("question-impossible", f"`{self.target}` has no list of moves", pointer="/character")
        places = {written_id(move): at for at, move in enumerate(listed)}
        changed: dict[int, dict[str, Any]] = {}
        added: list[dict[str, Any]] = []
        moved: list[MovedRow] = []
        for row in reading.moves:
            place = places.pop(row.id, None)
            before: dict[str, Any] = {} if place is None else listed[place]
            after = merged_move(before, row, reading)
            changes = _changes(before, after)
            state = "new" if place is None else "changed" if changes else "same"
            moved.append(MovedRow(row.row, row.id, state, changes if place is not None else [], row.dropped))
            if place is None:
                added.append(after)
            elif changes:
                changed[place] = after
        if reading.refused_in_all or not (changed or added):
            return moved, tuple(places), None
        text = fresh_text(self.character, added) if old is None else merged_text(old, changed, added)
        return moved, tuple(places), text

    def _put(
        self, reading: Reading, moved: list[MovedRow], kept: tuple[str, ...], text: str, mapping: Mapping
    ) -> ImportReport:
        """Try the new text in a copy of the pack, then put it in place."""
        with tempfile.TemporaryDirectory() as scratch:
            copy = Path(scratch) / self.folder.name
            if self.new_pack:
                (copy / "characters").mkdir(parents=True)
                head = pack_text(self.folder.name, mapping.startup_counts, reading.moves)
                (copy / "pack.yaml").write_text(head, encoding="utf-8")
            else:
                _copy_pack(self.folder, copy)
            (copy / "characters" / self.target.name).write_bytes(text.encode("utf-8"))
            try:
                warnings = load_pack(copy).warnings
            except DataError as error:
                findings = _renamed(error.findings, copy, self.folder)
                faults = [one for one in findings if one.severity == "error"]
                reading.refused += faults
                reading.refused_in_all += len(faults)
                return self._report(reading, moved, kept, None)
            if not self.dry_run:
                self._replace(copy)
            own = [one for one in _renamed(warnings, copy, self.folder) if one.file == str(self.target)]
        return self._report(reading, moved, kept, tuple(own), written=not self.dry_run)

    def _replace(self, copy: Path) -> None:
        """Put the checked files in place, each in one step."""
        if self.new_pack:
            self.folder.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=self.folder.parent) as near:
                shutil.copytree(copy, Path(near) / copy.name)
                os.replace(Path(near) / copy.name, self.folder)
            return
        target = Path(os.path.realpath(self.target))
        target.parent.mkdir(exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        os.close(handle)
        try:
            shutil.copyfile(copy / "characters" / self.target.name, name)
            if target.exists():
                shutil.copymode(target, name)
            else:
                os.chmod(name, 0o644)
            os.replace(name, target)
        except OSError:
            os.unlink(name)
            raise

    def _report(
        self,
        reading: Reading,
        moved: list[MovedRow],
        kept: tuple[str, ...],
        warnings: tuple[Finding, ...] | None,
        *,
        written: bool = False,
    ) -> ImportReport:
        return ImportReport(
            table=str(self.table),
            character=self.character,
            file=str(self.target),
            rows=reading.rows,
            blank_rows=reading.blank_rows,
            other_rows=reading.other_rows,
            taken=tuple(moved),
            only_in_file=kept,
            refused=tuple(reading.refused),
            refused_in_all=reading.refused_in_all,
            warnings=warnings or (),
            written=written,
        )


def _slug(word: str) -> bool:
    return slug_of(word) == word and word != "unknown"


def _changes(before: dict[str, Any], after: dict[str, Any]) -> list[Change]:
    keys = [*after, *(key for key in before if key not in after)]
    return [
        Change(key, before.get(key), after.get(key))
        for key in keys
        if before.get(key) != after.get(key) or (key in before) != (key in after)
    ]


def _copy_pack(folder: Path, copy: Path) -> None:
    """The pack's own files; links stay links, so that the loader still refuses those that lead out."""
    copy.mkdir()
    shutil.copy2(folder / "pack.yaml", copy / "pack.yaml", follow_symlinks=False)
    if (folder / "characters").is_dir():
        shutil.copytree(folder / "characters", copy / "characters", symlinks=True)
    else:
        (copy / "characters").mkdir()


def _renamed(findings: tuple[Finding, ...], copy: Path, folder: Path) -> list[Finding]:
    """The findings with the file names of the pack instead of its copy's."""
    return [msgspec.structs.replace(one, file=one.file.replace(str(copy), str(folder), 1)) for one in findings]
