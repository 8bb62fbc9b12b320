"""A pack's folder into a ``Pack``: all files read, all faults told at once.

    <pack id>/pack.yaml
    <pack id>/characters/<character id>.yaml

Rule files beside them are not looked at here.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from advisor.documents import Document, read_document
from advisor.errors import DataError, Finding, did_you_mean
from advisor.pack.audit import attacks_of, audit_moves, audit_outcomes, check_key_moves
from advisor.pack.check import Report, quoted, read_form
from advisor.pack.conventions import read_conventions, startup_shift
from advisor.pack.hits import known
from advisor.pack.model import Character, Conventions, Move, Pack
from advisor.pack.normalise import MoveReader
from advisor.pack.words import Words, check_id, check_name, declared_words, slug_of
from advisor.pack.written import MAX_CHARACTERS, WrittenCharacter, WrittenPack
from advisor.pack.written_move import WrittenMove

__all__ = ["Loaded", "load_pack"]


class Loaded(Struct, frozen=True):
    """A pack without faults, and the doubts about it."""

    pack: Pack
    warnings: tuple[Finding, ...]


def load_pack(folder: Path) -> Loaded:
    """The pack in ``folder``, whose name is the pack's id.

    ``pack.hash`` is the SHA-256 of the data of its files (comments and layout do not count), the same
    on every machine and in every folder.
    Errors: ``DataError`` with every fault of every file, each with file, line, column and path.
    """
    loader = _Loader(Path(folder))
    pack = loader.load()
    findings = sorted(loader.findings(), key=lambda one: (one.file, one.line, one.column, one.path))
    if pack is None or any(one.severity == "error" for one in findings):
        raise DataError(findings)
    return Loaded(pack, tuple(findings))


class _Read(Struct):
    """One file that could be read: its report and its moves, as far as they are usable."""

    report: Report
    key: str
    moves: list[Move]


class _Loader:
    """One pass over a pack's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = os.path.realpath(folder)
        self.loose: list[Finding] = []
        self.read: list[_Read] = []
        self.documents: dict[str, Document] = {}
        self.words = Words()
        self.none_when_absent: frozenset[str] = frozenset()
        self.shift = 1
        self.system_ids: frozenset[str] = frozenset()

    def findings(self) -> list[Finding]:
        reports = {id(one.report): one.report for one in self.read}
        return self.loose + [finding for report in reports.values() for finding in report.findings]

    def load(self) -> Pack | None:
        head = self._pack_file()
        characters = self._characters()
        attacks = attacks_of(move for one in self.read for move in one.moves)
        for one in self.read:
            audit_outcomes(one.report, one.key, one.moves, attacks)
        if head is None:
            return None
        written, conventions, system, rises = head
        return Pack(
            id=written.id,
            name=known(written.name) or written.id,
            version=known(written.version) or "unknown",
            about=known(written.about) or "",
            conventions=conventions,
            system={move.id: move for move in system},
            wake_ups={move.id: move for move in rises},
            characters={one.id: one for one in characters},
            hash=_hash(self.documents),
        )

    def _loose(self, code: str, message: str, path: Path, *, help: str = "", severity: str = "error") -> None:
        """A finding about a file or folder as a whole."""
        finding = Finding(
            code=code, message=message, help=help, file=_shown(path), line=1, column=1, severity=severity
        )
        self.loose.append(finding)

    def _document(self, path: Path, name: str) -> Document | None:
        """The file at ``path``, if it is a readable file of this folder."""
        target = os.path.realpath(path)
        if os.path.commonpath([self.root, target]) != self.root:
            self._loose(
                "file-outside",
                "leads out of the pack's folder, so it is not read",
                path,
                help="put the file itself here",
            )
        elif not os.path.lexists(path):
            self._loose("file-missing", "there is no such file", path)
        elif not os.path.isfile(target):
            self._loose("file-unreadable", "is not a file", path)
        else:
            try:
                self.documents[name] = read_document(path, name=_shown(path))
            except DataError as error:
                self.loose.extend(error.findings)
        return self.documents.get(name)

    def _pack_file(self) -> tuple[WrittenPack, Conventions, list[Move], list[Move]] | None:
        document = self._document(self.folder / "pack.yaml", "pack.yaml")
        if document is None:
            return None
        report = Report(document)
        self.words = declared_words(document.value)
        self.shift = startup_shift(document.value)
        self.system_ids = _written_ids(document.value, "system") | _written_ids(document.value, "wake_ups")
        written = read_form(report, WrittenPack)
        self.read.append(_Read(report, "system", []))
        if written is None:
            return None
        self.none_when_absent = frozenset(written.none_when_absent)
        check_id(report, written.id, ("id",))
        _check_place(report, written.id, Path(os.path.abspath(self.folder)), "folder")
        for key in ("name", "version"):
            text = known(getattr(written, key))
            if text is not None:
                check_name(report, text, (key,))
        conventions = read_conventions(report, written, self.words)
        system = self._moves(report, "system", written.system, frozenset())
        self.read.append(_Read(report, "wake_ups", []))
        rises = self._moves(report, "wake_ups", written.wake_ups, _written_ids(document.value, "system"))
        return written, conventions, system, rises

    def _moves(
        self, report: Report, key: str, written: Sequence[WrittenMove], system: frozenset[str]
    ) -> list[Move]:
        reader = MoveReader(
            report,
            self.words,
            none_when_absent=self.none_when_absent,
            startup_shift=self.shift,
            ids=_written_ids(report.document.value, key) | system,
        )
        moves = [reader.read(one, (key, number)) for number, one in enumerate(written)]
        audit_moves(report, key, moves, system)
        next(one for one in self.read if one.report is report and one.key == key).moves = moves
        return moves

    def _characters(self) -> list[Character]:
        folder = self.folder / "characters"
        paths = self._character_files(folder)
        characters: list[Character] = []
        owners: dict[str, str] = {}
        for path in paths:
            document = self._document(path, f"characters/{path.name}")
            if document is None:
                continue
            report = Report(document)
            self.read.append(_Read(report, "moves", []))
            written = read_form(report, WrittenCharacter)
            if written is None:
                continue
            if written.id in owners:
                report.fault(
                    "id-duplicate", f"`{written.id}` is already the id of `{owners[written.id]}`", ("id",)
                )
            owners.setdefault(written.id, path.name)
            characters.append(self._character(report, written, path))
        return characters

    def _character_files(self, folder: Path) -> list[Path]:
        try:
            paths = sorted(path for path in folder.iterdir() if not path.name.startswith("."))
        except OSError:
            paths = []
            self._loose(
                "characters-missing",
                "the pack has no folder `characters`",
                folder,
                help="put each character's file there",
            )
        else:
            if not any(path.suffix == ".yaml" for path in paths):
                self._loose("characters-missing", "the folder has no character files (`.yaml`)", folder)
        for path in paths:
            if path.suffix != ".yaml":
                self._loose(
                    "file-ignored",
                    "is not read: the name of a character file ends in `.yaml`",
                    path,
                    severity="warning",
                )
        files = [path for path in paths if path.suffix == ".yaml"]
        if len(files) > MAX_CHARACTERS:
            self._loose(
                "too-many-characters",
                f"the pack has {len(files)} characters; at most {MAX_CHARACTERS} are allowed",
                folder,
            )
        return files[:MAX_CHARACTERS]

    def _character(self, report: Report, written: WrittenCharacter, path: Path) -> Character:
        check_id(report, written.id, ("id",))
        _check_place(report, written.id, path, "file")
        moves = self._moves(report, "moves", written.moves, self.system_ids)
        own = _written_ids(report.document.value, "moves")
        return Character(
            id=written.id,
            name=check_name(report, known(written.name) or written.id, ("name",)),
            about=known(written.about) or "",
            health=known(written.health),
            moves={move.id: move for move in moves},
            key_moves=check_key_moves(report, written.key_moves, own),
        )


def _shown(path: Path) -> str:
    """The path as text; bytes of a file name that are not UTF-8 become question marks."""
    return os.fsencode(path).decode("utf-8", "replace")


def _check_place(report: Report, name: str, path: Path, place: str) -> None:
    own = path.stem if place == "file" else path.name
    if name != own:
        stem = _shown(Path(own))
        report.fault(
            "id-not-place",
            f"the id {quoted(name[:80]).removeprefix('text ')} is not the name of its {place}, `{stem[:80]}`",
            ("id",),
            help=did_you_mean(name[:80], [stem]) or f"write `{stem[:80]}`, or rename the {place}",
        )


def _written_ids(value: Any, key: str) -> frozenset[str]:
    """The ids of the moves under ``key``, from plain data so that faulty moves count too."""
    moves = value.get(key) if isinstance(value, dict) else None
    ids: set[str] = set()
    for move in moves if isinstance(moves, list) else []:
        if isinstance(move, dict):
            stated, name = move.get("id"), move.get("name")
            if isinstance(stated, str) and stated != "unknown":
                ids.add(stated)
            elif isinstance(name, str):
                ids.add(slug_of(name))
    return frozenset(ids - {""})


def _hash(documents: dict[str, Document]) -> str:
    digest = hashlib.sha256()
    for name in sorted(documents):
        data = msgspec.json.encode(documents[name].value, order="sorted")
        digest.update(f"{name}\0{len(data)}\0".encode(errors="surrogateescape"))
        digest.update(data)
    return digest.hexdigest()
