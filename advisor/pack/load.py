"""The files of a pack into a ``Pack``: all of them read, all faults told at once.

    <pack id>/pack.yaml
    <pack id>/characters/<character id>.yaml

Rule files beside them are not looked at here. The files may also be given as text (``load_pack_files``).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from advisor.documents import Document
from advisor.errors import DataError, Finding, did_you_mean
from advisor.pack.audit import attacks_of, audit_moves, audit_outcomes, check_key_moves
from advisor.pack.check import Report, quoted, read_form
from advisor.pack.conventions import read_conventions, startup_shift
from advisor.pack.files import CHARACTERS, HEAD, Files, Folder, Texts, finding_about, shown
from advisor.pack.hits import known
from advisor.pack.model import Character, Conventions, Move, Pack
from advisor.pack.normalise import MoveReader
from advisor.pack.words import Words, check_id, check_name, declared_words, slug_of
from advisor.pack.written import MAX_CHARACTERS, WrittenCharacter, WrittenPack
from advisor.pack.written_move import WrittenMove

__all__ = ["Loaded", "load_pack", "load_pack_files"]


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
    return _load(Folder(Path(folder)))


def load_pack_files(files: Mapping[str, str], *, label: str | None = None) -> Loaded:
    """The pack whose files are given as text by relative path: ``pack.yaml``, ``characters/<id>.yaml``.

    ``label`` stands for the name of the folder: the pack's id must be it, when given. Paths below ``rules/`` are
    let pass unread; any other path is a fault. The checks and the hash are those of ``load_pack``.
    Errors: ``DataError`` as there; a finding's file is the relative path.
    """
    return _load(Texts(files, label))


def _load(files: Files) -> Loaded:
    loader = _Loader(files)
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
    """One pass over a pack's files."""

    def __init__(self, files: Files) -> None:
        self.files = files
        self.loose: list[Finding] = files.strays()
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

    def _loose(self, code: str, message: str, name: str, *, help: str = "", severity: str = "error") -> None:
        """A finding about a file or folder as a whole."""
        self.loose.append(finding_about(self.files.shown(name), code, message, help=help, severity=severity))

    def _document(self, name: str) -> Document | None:
        """The file called ``name``, if it can be read."""
        try:
            self.documents[name] = self.files.document(name)
        except DataError as error:
            self.loose.extend(error.findings)
        return self.documents.get(name)

    def _pack_file(self) -> tuple[WrittenPack, Conventions, list[Move], list[Move]] | None:
        document = self._document(HEAD)
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
        if self.files.own_name is not None:
            _check_place(report, written.id, self.files.own_name, "folder")
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
        characters: list[Character] = []
        owners: dict[str, str] = {}
        for name in self._character_files():
            document = self._document(name)
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
            owners.setdefault(written.id, name.rpartition("/")[2])
            characters.append(self._character(report, written, name))
        return characters

    def _character_files(self) -> list[str]:
        names = self.files.characters()
        files = [name for name in names or [] if name.endswith(".yaml")]
        if names is None:
            self._loose(
                "characters-missing",
                f"the pack has no folder `{CHARACTERS}`",
                CHARACTERS,
                help="put each character's file there",
            )
        elif not files:
            self._loose("characters-missing", "the folder has no character files (`.yaml`)", CHARACTERS)
        for name in names or []:
            if not name.endswith(".yaml"):
                self._loose(
                    "file-ignored",
                    "is not read: the name of a character file ends in `.yaml`",
                    name,
                    severity="warning",
                )
        if len(files) > MAX_CHARACTERS:
            self._loose(
                "too-many-characters",
                f"the pack has {len(files)} characters; at most {MAX_CHARACTERS} are allowed",
                CHARACTERS,
            )
        return files[:MAX_CHARACTERS]

    def _character(self, report: Report, written: WrittenCharacter, name: str) -> Character:
        check_id(report, written.id, ("id",))
        _check_place(report, written.id, name.rpartition("/")[2].removesuffix(".yaml"), "file")
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


def _check_place(report: Report, name: str, own: str, place: str) -> None:
    if name != own:
        stem = shown(own)
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
