"""Copies of the packs and rules that the settings name, so that all processes of a service read the same bytes.

A worker that is replaced loads its data again, perhaps in the middle of somebody's edit. So what was checked is kept
in a folder of its own until the next reload takes its place. What comes with the product is not copied.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from fnmatch import fnmatch
from pathlib import Path

import msgspec

from advisor.errors import AdvisorError, DataError, Finding
from advisor.library import Library
from advisor.pack.files import CHARACTERS
from advisor.service.settings import Settings
from advisor.service.weighing.work import load_settings

__all__ = ["Copies"]

KEPT = 2
"""Copies that stay: the one that holds, and the one before, for workers that still end their work on it."""
YAML = "*.y*ml"


class Copies:
    """Copies of what ``settings`` name, one for each ``take``; they are gone after ``close``."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self._root: Path | None = None
        self._count = 0
        self._kept: list[Path] = []

    def take(self) -> Settings:
        """Copy what is there now; the settings that name the copies. Errors: ``DataError`` for unreadable files."""
        if not (self.settings.packs or self.settings.rules):
            return self.settings
        if self._root is None:
            self._root = Path(tempfile.mkdtemp(prefix="advisor-data-"))
        self._count += 1
        folder = self._root / str(self._count)
        self._kept.append(folder)
        faults: list[Finding] = []
        named: dict[str, tuple[Path, ...]] = {}
        for kind in ("packs", "rules"):
            given: tuple[Path, ...] = getattr(self.settings, kind)
            named[kind] = tuple(self._place(folder, kind, i, path) for i, path in enumerate(given))
            for source, target in zip(given, named[kind], strict=True):
                _copy(source, target, faults)
        if faults:
            self.drop(folder)
            raise DataError(faults)
        return msgspec.structs.replace(self.settings, packs=named["packs"], rules=named["rules"])

    @staticmethod
    def _place(folder: Path, kind: str, index: int, source: Path) -> Path:
        """Where a folder is copied to; its name stays, since a pack's id has to be it."""
        return folder / kind / str(index) / (Path(os.path.abspath(source)).name or "root")

    def load(self, taken: Settings) -> Library:
        """The library of ``taken``. Errors: ``DataError`` in terms of the originals, ``AdvisorError``."""
        try:
            return load_settings(taken)
        except AdvisorError as error:
            raise self.in_place(error, taken) from None

    def in_place(self, error: AdvisorError, taken: Settings) -> AdvisorError:
        """The error about copies in terms of the originals."""
        if isinstance(error, DataError):
            return DataError(self._original(taken, one) for one in error.findings)
        return error

    def _original(self, taken: Settings, finding: Finding) -> Finding:
        for kind in ("packs", "rules"):
            for source, target in zip(getattr(self.settings, kind), getattr(taken, kind), strict=True):
                file, message = (text.replace(str(target), str(source)) for text in (finding.file, finding.message))
                finding = msgspec.structs.replace(finding, file=file, message=message)
        return finding

    def refuse(self, taken: Settings) -> None:
        """Remove a copy that was not taken after all."""
        for kind in ("packs", "rules"):
            for target in getattr(taken, kind):
                if self._root is not None and target.is_relative_to(self._root):
                    self.drop(target.parents[2])

    def settle(self) -> None:
        """Remove all but the last two copies."""
        for folder in self._kept[:-KEPT]:
            self.drop(folder)

    def drop(self, folder: Path) -> None:
        """Remove one copy."""
        if folder in self._kept:
            self._kept.remove(folder)
            shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """Remove all copies."""
        root, self._root = self._root, None
        self._kept.clear()
        if root is not None:
            shutil.rmtree(root, ignore_errors=True)


def _copy(source: Path, target: Path, faults: list[Finding]) -> None:
    """What a loader reads of a folder; one that is not there is left to the loader, which says it better."""
    if not source.is_dir():
        return
    root = os.path.realpath(source)
    for place, _, names in os.walk(source):
        there = target / Path(place).relative_to(source)
        there.mkdir(parents=True, exist_ok=True)
        for name in names:
            if fnmatch(name, YAML) or Path(place).name == CHARACTERS:
                _copy_file(Path(place) / name, there / name, root, faults)


def _copy_file(path: Path, target: Path, root: str, faults: list[Finding]) -> None:
    """One file. A link that leads out stays a link, so that the loader refuses it as it did before."""
    real = os.path.realpath(path)
    try:
        if os.path.commonpath([root, real]) != root:
            target.symlink_to(real)
        else:
            shutil.copyfile(real, target)
    except OSError as error:
        said = f"cannot be read: {(error.strerror or str(error)).lower()}"
        faults.append(Finding(code="file-unreadable", message=said, file=str(path), line=1, column=1))
