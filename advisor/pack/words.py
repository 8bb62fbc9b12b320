"""The words a pack declares, and the checks that every word used is one of them.

Ids are slugs, names are one line of printable text; a word that the pack does not declare is a
fault that offers the nearest declared one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

from advisor.documents import Path_
from advisor.errors import did_you_mean
from advisor.pack.check import Report, quoted
from advisor.pack.written_move import SLUG
from advisor.units import to_micro

__all__ = ["Words", "check_id", "check_name", "declared_words", "slug_of"]

DEFAULT_GUARDS = {"standing": "standing", "crouching": "crouching"}
SHOWN_WORDS = 12

_SLUG = re.compile(SLUG.removesuffix("$") + r"\Z")
# Control characters, line and paragraph separators, and what turns the direction of writing.
_NOT_IN_NAMES = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


class Words(Struct, frozen=True, kw_only=True):
    """The words of a pack. None: the pack's own list is too faulty to check words against."""

    levels: frozenset[str] | None = None
    tags: frozenset[str] | None = None
    knockdowns: frozenset[str] | None = None
    guards: frozenset[str] | None = None
    breaks: frozenset[str] | None = None
    distances: Mapping[str, int | None] | None = None
    wake_ups: frozenset[str] | None = None
    wall_effects: frozenset[str] | None = None
    floor_effects: frozenset[str] | None = None

    def check(self, report: Report, kind: str, word: str, path: Path_) -> str:
        """``word``, after a fault if it is not a declared ``kind`` (level, tag, ...)."""
        known = getattr(self, _LISTS[kind])
        if known is not None and word not in known:
            listed = ", ".join(sorted(known))
            help = did_you_mean(word[:80], known)
            if not help and known and len(known) <= SHOWN_WORDS:
                help = f"the pack has {listed}"
            if not help:
                help = f"declare it in `pack.yaml` under `{_DECLARED[kind]}`"
            report.fault(
                f"{kind.replace('_', '-')}-unknown", f"the pack has no {_NAMED[kind]} {_word(word)}", path, help=help
            )
        return word

    def check_all(self, report: Report, kind: str, words: Iterable[str], path: Path_) -> frozenset[str]:
        """All of ``words`` as a set; ``path`` is that of the list."""
        return frozenset(self.check(report, kind, word, (*path, at)) for at, word in enumerate(words))


_LISTS = {
    "level": "levels",
    "tag": "tags",
    "knockdown": "knockdowns",
    "guard": "guards",
    "break": "breaks",
    "distance": "distances",
    "wake_up": "wake_ups",
    "wall_effect": "wall_effects",
    "floor_effect": "floor_effects",
}
_DECLARED = {**_LISTS, "break": "throws.breaks", "distance": "distance.named"}
_NAMED = {
    "level": "level",
    "tag": "tag",
    "knockdown": "knockdown state",
    "guard": "guard",
    "break": "throw break",
    "distance": "named distance",
    "wake_up": "wake-up option",
    "wall_effect": "wall effect",
    "floor_effect": "floor effect",
}


def declared_words(value: Any) -> Words:
    """The words that ``pack.yaml`` declares.

    Read from its plain data, so that faults elsewhere in the file do not matter.
    """
    if not isinstance(value, dict):
        return Words()
    guards = value.get("guards")
    return Words(
        levels=_keys(value, "levels"),
        tags=_keys(value, "tags"),
        knockdowns=_keys(value, "knockdowns"),
        guards=frozenset(DEFAULT_GUARDS) if guards is None else _keys(value, "guards"),
        breaks=_keys(value, "throws", "breaks"),
        distances=_distances(value),
        wake_ups=_ids(value, "wake_ups"),
        wall_effects=_keys(value, "wall_effects"),
        floor_effects=_keys(value, "floor_effects"),
    )


def _ids(value: dict[str, Any], key: str) -> frozenset[str] | None:
    """Ids of the moves in a list of the file; None when it is too faulty to tell."""
    listed = value.get(key, [])
    if not isinstance(listed, list):
        return None
    found = set()
    for one in listed:
        if not isinstance(one, dict):
            return None
        stated, name = one.get("id"), one.get("name")
        if isinstance(stated, str):
            found.add(stated)
        elif isinstance(name, str):
            found.add(slug_of(name))
    return frozenset(found)


def _keys(value: dict[str, Any], *path: str) -> frozenset[str] | None:
    inner: Any = value
    for key in path:
        if not isinstance(inner, dict):
            return None
        inner = inner.get(key, {})
    return frozenset(inner) if isinstance(inner, dict) else None


def _distances(value: dict[str, Any]) -> dict[str, int | None] | None:
    names = _keys(value, "distance", "named")
    if names is None:
        return None
    named = value["distance"]["named"] if names else {}
    return {
        name: to_micro(size) if isinstance(size, (int, float)) and abs(size) <= 1000 else None
        for name, size in named.items()
    }


def _word(word: str) -> str:
    return quoted(word).removeprefix("text ")


def slug_of(name: str) -> str:
    """The id made from a name: ``Bell Tap`` gives ``bell_tap``. Empty when none can be made."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:64].rstrip("_")
    return slug if _SLUG.match(slug) else ""


def check_id(report: Report, word: str, path: Path_, *, key: bool = False) -> str:
    """``word``, after a fault if it cannot be an id."""
    if word == "unknown":
        report.fault("id-reserved", "`unknown` cannot be an id: it means a value that is not known", path, key=key)
    elif not _SLUG.match(word):
        near = slug_of(word)
        report.fault(
            "id-not-slug",
            f"{_word(word)} is not an id: a lower-case letter, then letters, digits or `_`, 64 at most",
            path,
            help=f"write `{near}`" if near else "",
            key=key,
        )
    return word


def check_name(report: Report, name: str, path: Path_) -> str:
    """``name``, after a fault if it is blank or holds control characters."""
    if not name.strip():
        report.fault("text-empty", "must not be blank", path, help="leave the key out when it is unknown")
    found = _NOT_IN_NAMES.search(name)
    if found is not None:
        code = f"U+{ord(found.group()):04X}"
        report.fault("name-control-character", f"a name cannot hold the character {code}", path)
    return name
