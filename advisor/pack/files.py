"""Where the files of a pack stand: in a folder, or in memory as text by relative path."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from advisor.documents import Document, parse_document, read_document
from advisor.errors import DataError, Finding, did_you_mean

__all__ = ["CHARACTERS", "HEAD", "Files", "Folder", "Texts", "finding_about", "shown"]

HEAD = "pack.yaml"
CHARACTERS = "characters"

_SEGMENT = r"[A-Za-z0-9_][A-Za-z0-9_-]{0,63}"
_OF_A_PACK = re.compile(rf"(?:pack|characters/{_SEGMENT}|rules/(?:{_SEGMENT}/){{0,8}}{_SEGMENT})\.yaml\Z")
_SHOWN_NAME = 120
MAX_STRAYS = 100
"""Paths in memory that are refused one by one; the rest is counted."""


def shown(path: str | Path) -> str:
    """The path as text; bytes of a file name that are not UTF-8 become question marks."""
    return os.fsencode(path).decode("utf-8", "replace")


def finding_about(file: str, code: str, message: str, *, help: str = "", severity: str = "error") -> Finding:
    """A finding about a file or folder as a whole."""
    return Finding(code=code, message=message, help=help, file=file, line=1, column=1, severity=severity)


class Files(Protocol):
    """The files of one pack; their names are relative, with ``/`` between."""

    own_name: str | None
    """The name that the pack's id has to be; None when any will do."""

    def shown(self, name: str) -> str:
        """How findings call the file or folder."""

    def document(self, name: str) -> Document:
        """The file's data. Errors: ``DataError`` when it is not there or cannot be read."""

    def characters(self) -> list[str] | None:
        """The names of the files in ``characters``, in order; None when there is no such folder."""

    def strays(self) -> list[Finding]:
        """Files that no pack has."""


class Folder:
    """The files of a folder; links that lead out of it are not followed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = os.path.realpath(folder)
        self.own_name: str | None = Path(os.path.abspath(folder)).name

    def shown(self, name: str) -> str:
        """The path as it was given."""
        return shown(self.folder / name)

    def document(self, name: str) -> Document:
        """The data of a readable file of this folder. Errors: ``DataError``."""
        path = self.folder / name
        target = os.path.realpath(path)
        if os.path.commonpath([self.root, target]) != self.root:
            fault = ("file-outside", "leads out of the pack's folder, so it is not read", "put the file itself here")
        elif not os.path.lexists(path):
            fault = ("file-missing", "there is no such file", "")
        elif not os.path.isfile(target):
            fault = ("file-unreadable", "is not a file", "")
        else:
            return read_document(path, name=self.shown(name))
        code, message, help = fault
        raise DataError([finding_about(self.shown(name), code, message, help=help)])

    def characters(self) -> list[str] | None:
        """Names of the files in ``characters``, hidden ones left out."""
        try:
            names = sorted(path.name for path in (self.folder / CHARACTERS).iterdir())
        except OSError:
            return None
        return [f"{CHARACTERS}/{name}" for name in names if not name.startswith(".")]

    def strays(self) -> list[Finding]:
        """None: what else stands in a folder is its owner's business."""
        return []


class Texts:
    """Files as text by their relative paths. Only paths of a pack are taken; ``own_name`` as for ``Files``."""

    def __init__(self, files: Mapping[str, str], own_name: str | None = None) -> None:
        self.files = {name: text for name, text in files.items() if _OF_A_PACK.match(name)}
        self.others = [name for name in files if name not in self.files]
        self.own_name = own_name

    def shown(self, name: str) -> str:
        """The relative path, cut when it is long."""
        return name.encode("utf-8", "replace").decode()[:_SHOWN_NAME]

    def document(self, name: str) -> Document:
        """The data of a text. Errors: ``DataError``."""
        if name not in self.files:
            raise DataError([finding_about(self.shown(name), "file-missing", "there is no such file")])
        return parse_document(self.files[name].encode("utf-8", "surrogatepass"), self.shown(name))

    def characters(self) -> list[str] | None:
        """Names of the character files."""
        return sorted(name for name in self.files if name.startswith(f"{CHARACTERS}/")) or None

    def strays(self) -> list[Finding]:
        """A finding for each path that leads out, or that no file of a pack has."""
        found = [self._stray(name) for name in self.others[:MAX_STRAYS]]
        more = len(self.others) - MAX_STRAYS
        if more > 0:
            found.append(finding_about("", "file-unexpected", f"and {more} more paths that are none of a pack"))
        return found

    def _stray(self, name: str) -> Finding:
        parts = name.replace("\\", "/").split("/")
        if "\\" in name or ".." in parts or parts[0] == "" or parts[0].endswith(":"):
            return finding_about(
                self.shown(name), "file-outside", "is not a path inside the pack, so it is not read",
                help="write a relative path with `/` between, such as `characters/<id>.yaml`",
            )  # fmt: skip
        offered = [HEAD, f"{CHARACTERS}/{parts[-1]}"] if name.lower().endswith(".yaml") else [HEAD]
        near = did_you_mean(name[:_SHOWN_NAME], offered)
        return finding_about(
            self.shown(name), "file-unexpected", "no file of a pack is called that, so it is not read",
            help=near or f"a pack has `{HEAD}`, `{CHARACTERS}/<id>.yaml` and `rules/<family>/<name>.yaml`",
        )  # fmt: skip
