"""Strict YAML documents: the only place where a YAML file is read.

A document is plain data (dict, list, str, int, float, bool, None). The dialect is narrow on
purpose: only ``true``/``false`` are booleans, only plain decimals are numbers (``+3`` too, as
the trade writes advantage), everything else is text; so ``on:`` stays a key and ``012`` is text.
Refused with file and line: duplicate keys, anchors and aliases, tags, several documents in a
file, not-a-number and infinity, text that is not UTF-8, files over the size limit, nesting
deeper than the limit.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import yaml

from advisor.errors import DataError, Finding

__all__ = ["MAX_BYTES", "MAX_DEPTH", "Document", "parse_document", "read_document"]

MAX_BYTES = 4 * 1024 * 1024
MAX_DEPTH = 32
MAX_FINDINGS = 100
MAX_KEY = 200

_INT = re.compile(r"[+-]?(?:0|[1-9][0-9]{0,15})\Z")
_FLOAT = re.compile(r"[+-]?(?:0|[1-9][0-9]{0,15})\.[0-9]{1,15}\Z")
# What YAML 1.1 calls not printable (5.1 of its specification), and lone halves of surrogate pairs.
_CONTROL = re.compile("[^\\t\\n\\r\\x20-\\x7e\\x85\\xa0-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")
_SURROGATE = re.compile("[\\ud800-\\udfff]")
_KEY_MARK = -1
_NOT_FINITE = re.compile(r"[+-]?\.?(?:nan|inf|infinity)\Z", re.IGNORECASE)
_WORDS: dict[str, object] = {"true": True, "false": False, "null": None, "~": None, "": None}
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

Path_ = tuple[str | int, ...]


class Document:
    """The data of one file, and where in the file each value stands.

    ``value`` is plain data; ``where(path)`` gives (line, column), both from 1, of the value at a
    path of keys and indexes (of the nearest parent when the path is not in the file); with
    ``key``, of the key in front of that value.
    """

    def __init__(self, value: Any, text: str, file: str) -> None:
        self.value = value
        self.text = text
        self.file = file
        self._marks: dict[Path_, tuple[int, int]] | None = None

    def where(self, path: Path_, *, key: bool = False) -> tuple[int, int]:
        if self._marks is None:
            # Only faulty files need positions, so they are worked out on demand.
            self._marks = {}
            _build(self.text, self.file, self._marks)
        if key and (*path, _KEY_MARK) in self._marks:
            return self._marks[(*path, _KEY_MARK)]
        for size in range(len(path), -1, -1):
            mark = self._marks.get(path[:size])
            if mark is not None:
                return mark
        return (1, 1)

    def finding(
        self,
        code: str,
        message: str,
        path: Path_,
        *,
        help: str = "",
        severity: str = "error",
        key: bool = False,
    ) -> Finding:
        """A finding placed on the value at ``path`` (with ``key``, on the key in front of it)."""
        line, column = self.where(path, key=key)
        return Finding(
            code=code,
            message=message,
            help=help,
            file=self.file,
            line=line,
            column=column,
            path=shown_path(path),
            severity=severity,
        )


def shown_path(path: Path_) -> str:
    """``moves[3].parry[0].frames`` for a path of keys and indexes."""
    out = ""
    for part in path:
        out += f"[{part}]" if isinstance(part, int) else (f".{part}" if out else part)
    return out


def read_document(path: Path, *, name: str | None = None, max_bytes: int = MAX_BYTES) -> Document:
    """Read one YAML file; ``name`` is how errors call it (the path by default).

    Errors: ``DataError`` with one finding that has file, line and column.
    """
    file = name or str(path)
    try:
        size = path.stat().st_size
        if size > max_bytes:
            raise _error(
                "file-too-large",
                f"the file has {size} bytes; the limit is {max_bytes}",
                file,
                help="split it: one file for each character",
            )
        raw = path.read_bytes()
    except OSError as error:
        raise _error("file-unreadable", f"cannot be read: {error.strerror}", file) from None
    return parse_document(raw, file, max_bytes=max_bytes)


def parse_document(raw: bytes, file: str, *, max_bytes: int = MAX_BYTES) -> Document:
    """The document in ``raw``; see ``read_document``."""
    if len(raw) > max_bytes:
        raise _error("file-too-large", f"{len(raw)} bytes; the limit is {max_bytes}", file)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - (raw.rfind(b"\n", 0, error.start) + 1) + 1
        raise _error(
            "not-utf-8",
            f"byte 0x{raw[error.start]:02x} is not UTF-8 text",
            file,
            line,
            column,
            help="save the file as UTF-8",
        ) from None
    control = _CONTROL.search(text)
    if control is not None:
        # Looked for here because the parser tells no line for it.
        at = control.start()
        line = text.count("\n", 0, at) + 1
        column = at - (text.rfind("\n", 0, at) + 1) + 1
        raise _error(
            "control-character",
            f"character U+{ord(control.group()):04X} cannot stand in this file",
            file,
            line,
            column,
            help="take it out; in a quoted text it can be written as an escape",
        )
    return Document(_build(text, file, None), text, file)


def _finding(
    code: str, message: str, file: str, line: int = 1, column: int = 1, help: str = ""
) -> Finding:
    return Finding(code=code, message=message, help=help, file=file, line=line, column=column)


def _error(
    code: str, message: str, file: str, line: int = 1, column: int = 1, help: str = ""
) -> DataError:
    return DataError([_finding(code, message, file, line, column, help)])


class _TooMuch(Exception):
    """The document cannot be read on from here."""


def _build(text: str, file: str, marks: dict[Path_, tuple[int, int]] | None) -> Any:
    """Build the data from parser events; with ``marks``, record each value's position."""
    builder = _Builder(file, marks)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        problem = getattr(error, "problem", None) or getattr(error, "reason", None) or str(error)
        broken = _finding("not-yaml", str(problem), file, line, column)
        if "nesting depth" in str(problem):
            broken = _finding("too-deep", f"nested deeper than {MAX_DEPTH} levels", file, line, column)
        raise DataError([*builder.findings, broken]) from None
    except _TooMuch:
        raise DataError(builder.findings) from None
    if builder.findings:
        raise DataError(builder.findings)
    return builder.root


class _Builder:
    """Collects events into data, without recursion; faults are collected too."""

    def __init__(self, file: str, marks: dict[Path_, tuple[int, int]] | None) -> None:
        self.file = file
        self.marks = marks
        self.root: Any = None
        self.documents = 0
        self.findings: list[Finding] = []
        # One entry an open collection: the container, and the key that waits for its value.
        self.stack: list[Any] = []
        self.keys: list[str | None] = []

    def take(self, event: Any) -> None:
        kind = type(event)
        if kind is yaml.ScalarEvent:
            self._plain_only(event)
            container = self.stack[-1] if self.stack else None
            if type(container) is dict and self.keys[-1] is None:
                self._key(event, container)
            else:
                self._place(event, self._scalar(event))
        elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            self._plain_only(event)
            if len(self.stack) >= MAX_DEPTH:
                self._refuse(event, "too-deep", f"nested deeper than {MAX_DEPTH} levels")
                raise _TooMuch
            if self.stack and type(self.stack[-1]) is dict and self.keys[-1] is None:
                self._refuse(event, "key-not-text", "a key must be plain text")
                raise _TooMuch
            fresh: Any = {} if kind is yaml.MappingStartEvent else []
            self._place(event, fresh)
            self.stack.append(fresh)
            self.keys.append(None)
        elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            self.stack.pop()
            self.keys.pop()
            if self.keys:
                self.keys[-1] = None
        elif kind is yaml.AliasEvent:
            self._refuse(event, "alias-refused", f"alias `*{event.anchor}` is not allowed here")
            if self.stack and type(self.stack[-1]) is dict and self.keys[-1] is None:
                raise _TooMuch
            self._place(event, None)
        elif kind is yaml.DocumentStartEvent:
            self.documents += 1
            if self.documents > 1:
                self._refuse(event, "several-documents", "one file holds one document")
                raise _TooMuch

    def _refuse(self, event: Any, code: str, message: str, help: str = "") -> None:
        mark = event.start_mark
        self.findings.append(
            _finding(code, message, self.file, mark.line + 1, mark.column + 1, help)
        )
        if len(self.findings) >= MAX_FINDINGS:
            raise _TooMuch

    def _plain_only(self, event: Any) -> None:
        if event.anchor is not None:
            self._refuse(
                event, "anchor-refused", f"anchor `&{event.anchor}` is not allowed here",
                "write the value out where it is needed",
            )
        if event.tag is not None and event.tag != "!":
            self._refuse(event, "tag-refused", f"tag `{event.tag}` is not allowed here")

    def _key(self, event: Any, container: dict[str, Any]) -> None:
        key = event.value
        if len(key) > MAX_KEY or _CONTROL.search(key) or "\n" in key:
            self._refuse(event, "key-not-text", f"a key is one line of at most {MAX_KEY} characters")
            raise _TooMuch
        if self.marks is not None:
            self.marks[(*self._path(), key, _KEY_MARK)] = _position(event)
        if key in container:
            self._refuse(
                event, "key-duplicate", f"key `{key}` stands twice in this block",
                "keep one of them",
            )
        container[key] = None
        self.keys[-1] = key

    def _scalar(self, event: Any) -> Any:
        value = event.value
        if event.style is not None and event.style != "":
            if event.style == '"' and not value.isascii() and _SURROGATE.search(value):
                self._refuse(event, "not-utf-8", "half of a surrogate pair is not a character")
            return value
        if value in _WORDS:
            return _WORDS[value]
        if _INT.match(value):
            return int(value)
        if _FLOAT.match(value):
            return float(value)
        if _NOT_FINITE.match(value):
            self._refuse(
                event, "not-finite", f"`{value}` is not a number that can be used",
                "leave the value out when it is unknown",
            )
        return value

    def _place(self, event: Any, value: Any) -> None:
        if not self.stack:
            self.root = value
        else:
            container = self.stack[-1]
            if type(container) is list:
                container.append(value)
            else:
                container[self.keys[-1]] = value
        if self.marks is not None:
            self._mark(event)
        opens = type(event) is yaml.MappingStartEvent or type(event) is yaml.SequenceStartEvent
        if self.stack and type(self.stack[-1]) is dict and not opens:
            self.keys[-1] = None

    def _path(self) -> Path_:
        """The path of the innermost open value, as far as keys and indexes are known."""
        path: list[str | int] = []
        for container, key in zip(self.stack, self.keys, strict=True):
            if type(container) is list:
                path.append(len(container) - 1)
            elif key is not None:
                path.append(key)
        return tuple(path)

    def _mark(self, event: Any) -> None:
        assert self.marks is not None
        self.marks[self._path()] = _position(event)


def _position(event: Any) -> tuple[int, int]:
    return (event.start_mark.line + 1, event.start_mark.column + 1)
