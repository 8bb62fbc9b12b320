"""Every fault of form in a written document, in one pass.

A whole document is turned into its Structs in one step (``read_form``); only when that fails is it
walked value by value against the same Structs to name each fault: unknown keys, missing keys, wrong
types, numbers out of range, lists too long. The walk also gives back the document without its faulty
parts, so that faults of meaning in the rest are found in the same pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

import msgspec
from msgspec import inspect

from advisor.documents import Document, Path_
from advisor.errors import Finding, did_you_mean

__all__ = ["Report", "form_faults", "quoted", "read_form"]

SHOWN_TEXT = 40
SHOWN_WORDS = 12

T = TypeVar("T")


class _Broken:
    """Stands for a value that has no usable part."""


BROKEN = _Broken()


class Report:
    """Collects the findings of one file; what hangs on a faulty value is not reported again."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.findings: list[Finding] = []
        self._faulty: set[Path_] = set()

    def fault(self, code: str, message: str, path: Path_, *, help: str = "", key: bool = False) -> None:
        """An error placed on the value at ``path`` (with ``key``, on the key in front of it)."""
        if not self._hangs_on_faulty(path):
            self.findings.append(self.document.finding(code, message, path, help=help, key=key))

    def warn(self, code: str, message: str, path: Path_, *, help: str = "") -> None:
        """A warning placed on the value at ``path``."""
        if not self._hangs_on_faulty(path):
            found = self.document.finding(code, message, path, help=help, severity="warning")
            self.findings.append(found)

    def add_form(self, faults: Iterable[tuple[Path_, Finding]]) -> None:
        """Take over faults of form; later findings at, above or below their paths are dropped."""
        for path, finding in faults:
            self._faulty.add(path)
            self.findings.append(finding)

    def _hangs_on_faulty(self, path: Path_) -> bool:
        if not self._faulty:
            return False
        above = any(path[:size] in self._faulty for size in range(len(path) + 1))
        return above or any(faulty[: len(path)] == path for faulty in self._faulty)


def quoted(value: object) -> str:
    """A written value as errors show it: short, on one line, in backticks."""
    if isinstance(value, bool):
        return "`true`" if value else "`false`"
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a block of keys"
    if isinstance(value, list):
        return "a list"
    text = str(value)
    if len(text) > SHOWN_TEXT:
        text = text[: SHOWN_TEXT - 3] + "..."
    clean = "".join(c if c.isprintable() and c != "`" else "?" for c in text)
    return f"text `{clean}`" if isinstance(value, str) else f"`{clean}`"


def read_form(report: Report, form: type[T]) -> T | None:
    """The document as ``form``; faults go to ``report``, and what is left of it comes back.

    None when nothing usable is left (the document is not a block of keys, or lacks a required key).
    """
    value = report.document.value
    try:
        return msgspec.convert(value, form)
    except msgspec.ValidationError:
        left, faults = form_faults(report.document, form)
        report.add_form(faults)
    if isinstance(left, _Broken):
        return None
    return msgspec.convert(left, form)


def form_faults(document: Document, form: type[Any]) -> tuple[Any, list[tuple[Path_, Finding]]]:
    """What is usable of the document (``BROKEN`` if nothing is), and each fault with its path."""
    walk = _Walk(document)
    left = walk.value(inspect.type_info(form), document.value, ())
    return left, walk.faults


class _Walk:
    """One walk of a document against the Structs; see ``form_faults``."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.faults: list[tuple[Path_, Finding]] = []

    def refuse(self, code: str, message: str, path: Path_, help: str = "", key: bool = False) -> _Broken:
        finding = self.document.finding(code, message, path, help=help, key=key)
        self.faults.append((path, finding))
        return BROKEN

    def value(self, node: inspect.Type, value: Any, path: Path_) -> Any:
        """``value`` without its faulty parts, or ``BROKEN``."""
        for arm in _arms(node):
            bare = _bare(arm)
            match bare, value:
                case inspect.NoneType(), None:
                    return None
                case inspect.BoolType(), bool():
                    return value
                case inspect.LiteralType(), str() | int():
                    if any(type(word) is type(value) and word == value for word in bare.values):
                        return value
                case (inspect.IntType(), int()) | (inspect.FloatType(), int() | float()):
                    if not isinstance(value, bool):
                        return self._number(node, bare, value, path)
                case inspect.StrType(), str():
                    return self._text(bare, value, path)
                case inspect.ListType(), list():
                    return self._list(bare, _title(arm), value, path)
                case inspect.DictType(), dict():
                    return self._table(bare, value, path)
                case inspect.StructType(), dict():
                    return self._struct(bare, value, path)
        return self._wrong_type(node, value, path)

    def _wrong_type(self, node: inspect.Type, value: Any, path: Path_) -> _Broken:
        message = f"must be {_expected(node)}, found {quoted(value)}"
        return self.refuse("type-wrong", message, path, _type_help(node, value))

    def _number(self, node: inspect.Type, bare: Any, value: float, path: Path_) -> Any:
        low = (bare.ge is not None and value < bare.ge) or (bare.gt is not None and value <= bare.gt)
        if low or (bare.le is not None and value > bare.le):
            return self.refuse("out-of-range", f"must be {_expected(node)}, found `{value}`", path)
        return value

    def _text(self, node: inspect.StrType, value: str, path: Path_) -> Any:
        if node.min_length and len(value) < node.min_length:
            return self.refuse(
                "text-empty", "must not be empty", path, "leave the key out when it is unknown"
            )
        if node.max_length is not None and len(value) > node.max_length:
            message = f"has {len(value)} characters; at most {node.max_length} are allowed"
            return self.refuse("text-too-long", message, path)
        return value

    def _list(self, node: inspect.ListType, title: str, value: list[Any], path: Path_) -> Any:
        size, low, high = len(value), node.min_length or 0, node.max_length
        if low == high and size != low:
            message = f"must be {title}, found a list with {size} entries"
            return self.refuse("type-wrong", message, path)
        if size < low:
            message = f"the list has {size} entries; it needs at least {low}"
            return self.refuse("list-too-short", message, path, "leave the key out when it is unknown")
        if high is not None and size > high:
            # On the first one too many, so that the others are still looked at.
            message = f"the list has {size} entries; at most {high} are allowed"
            self.refuse("list-too-long", message, (*path, high))
            value = value[:high]
        left = [self.value(node.item_type, item, (*path, at)) for at, item in enumerate(value)]
        bare = _bare(node.item_type)
        if isinstance(bare, inspect.StructType) and not any(field.required for field in bare.fields):
            return [{} if item is BROKEN else item for item in left]
        return BROKEN if any(item is BROKEN for item in left) else left

    def _table(self, node: inspect.DictType, value: dict[str, Any], path: Path_) -> Any:
        low = node.min_length or 0
        if len(value) < low:
            return self.refuse("list-too-short", f"needs at least {low} entry", path)
        left = {key: self.value(node.value_type, item, (*path, key)) for key, item in value.items()}
        kept = {key: item for key, item in left.items() if item is not BROKEN}
        return BROKEN if len(kept) < low else kept

    def _struct(self, node: inspect.StructType, value: dict[str, Any], path: Path_) -> Any:
        fields = {field.encode_name: field for field in node.fields}
        left: dict[str, Any] = {}
        for key, item in value.items():
            if key in fields:
                kept = self.value(fields[key].type, item, (*path, key))
                if kept is not BROKEN:
                    left[key] = kept
            else:
                help = did_you_mean(key, fields) or _keys_help(fields)
                message = f"there is no key {quoted(key).removeprefix('text ')} here"
                self.refuse("key-unknown", message, (*path, key), help, key=True)
        required = [key for key, field in fields.items() if field.required]
        for key in required:
            if key not in value:
                self.refuse("key-missing", f"the key `{key}` is missing here", path)
        return left if all(key in left for key in required) else BROKEN


def _bare(node: inspect.Type) -> inspect.Type:
    while isinstance(node, inspect.Metadata):
        node = node.type
    return node


def _title(node: inspect.Type) -> str:
    if isinstance(node, inspect.Metadata):
        return str((node.extra_json_schema or {}).get("title", "")) or _title(node.type)
    return ""


def _arms(node: inspect.Type) -> list[inspect.Type]:
    """The alternatives of a type; each may still carry its title."""
    bare = _bare(node)
    if isinstance(bare, inspect.UnionType):
        return [arm for part in bare.types for arm in _arms(part)]
    return [node]


def _expected(node: inspect.Type) -> str:
    """What may stand here, in words: ``a whole number from 0 to 9999 or `unknown```."""
    words: list[str] = []
    for arm in _arms(node):
        words += [word for word in _arm_words(arm) if word not in words]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _arm_words(arm: inspect.Type) -> list[str]:
    title, bare = _title(arm), _bare(arm)
    if title:
        return [title]
    match bare:
        case inspect.IntType():
            return [f"a whole number{_bounds(bare)}"]
        case inspect.FloatType():
            return [f"a number{_bounds(bare)}"]
        case inspect.StrType():
            return ["text"]
        case inspect.BoolType():
            return ["`true`", "`false`"]
        case inspect.LiteralType():
            return [f"`{word}`" for word in bare.values]
        case inspect.ListType():
            return ["a list"]
        case inspect.DictType() | inspect.StructType():
            return ["a block of keys"]
    return []


def _bounds(node: inspect.IntType | inspect.FloatType) -> str:
    high = "" if node.le is None else f"{node.le:g}"
    if node.gt is not None:
        return f" above {node.gt:g}" + (f" and at most {high}" if high else "")
    return f" from {node.ge:g} to {high}" if node.ge is not None and high else ""


def _type_help(node: inspect.Type, value: Any) -> str:
    arms = [_bare(arm) for arm in _arms(node)]
    words = [str(word) for arm in arms if isinstance(arm, inspect.LiteralType) for word in arm.values]
    kinds = {type(arm) for arm in arms}
    if isinstance(value, str):
        near = did_you_mean(value[:80], words) if words else ""
        if near:
            return near
        if inspect.BoolType in kinds:
            return "write `true` or `false`"
        if kinds & {inspect.IntType, inspect.FloatType} and any(c.isdigit() for c in value):
            return "write a plain decimal such as 12, -7 or 0.5, without quotes"
        if inspect.ListType in kinds:
            return "write a list, in brackets"
    elif inspect.StrType in kinds and not isinstance(value, (list, dict)):
        return "put it in quotes"
    return ""


def _keys_help(fields: Iterable[str]) -> str:
    names = sorted(fields)
    return f"the keys here are {', '.join(names)}" if len(names) <= SHOWN_WORDS else ""
