"""Asking a study set again: which answers are the same, which changed and in what."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Literal, Protocol

import msgspec
from msgspec import Struct

from advisor.errors import AdvisorError
from advisor.facts.question import Question
from advisor.notebook.sets import Entry, Kept, Sets, request_type
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet

__all__ = ["EntryRerun", "Rerun", "answer_of", "differences", "rerun"]

WORDING = frozenset({"sentence", "sentences", "reasons", "cautions", "facts", "because", "why"})
DATA = frozenset({"pack", "hash", "rules", "evaluator"})
"""Which data an answer rests on is said apart from what it says."""
NAMES = ("option", "response", "reply", "id", "move", "name")
"""What names a row of a list, first one first."""
ABSENT = "(none)"


class Shelved(Protocol):
    """A pack with its rules, as the library has it."""

    pack: Pack
    rules: RuleSet


class Answers(Protocol):
    """What answers questions and studies: the library."""

    def shelf(self, pack: str | None) -> Shelved:
        """The shelf of a pack id, or of the default one."""

    def ask(self, question: Question) -> Any:
        """The advice for a question."""

    def study(self, name: str, request: Struct) -> Any:
        """The answer of a study."""


class EntryRerun(Struct, kw_only=True, frozen=True):
    """How an entry fared; ``changes`` are lines `where: before -> after`, or why it failed. ``new``: had no answer."""

    name: str
    outcome: Literal["same", "changed", "failed", "new"]
    changes: list[str]
    before: str
    after: str


class Rerun(Struct, kw_only=True, frozen=True):
    """How a set fared, entry by entry; ``same`` when nothing changed, failed or was new."""

    set: str
    entries: list[EntryRerun]
    accepted: bool

    @property
    def same(self) -> bool:
        """Every entry has the answer that it had."""
        return all(entry.outcome == "same" for entry in self.entries)


def answer_of(entry: Entry, library: Any) -> Kept:
    """The entry's answer now. Errors: as the question's or the study's."""
    request: Any = msgspec.convert(entry.request, request_type(entry.study))
    answers: Answers = library
    answer = answers.ask(request) if entry.study is None else answers.study(entry.study, request)
    shelf = answers.shelf(getattr(request, "pack", None))
    return Kept(
        answer=msgspec.json.decode(msgspec.json.encode(answer)), data_version=shelf.pack.version,
        pack_hash=shelf.pack.hash, rules_hash=shelf.rules.hash,
    )  # fmt: skip


def rerun(sets: Sets, name: str, library: Any, *, accept: bool = False, wording: bool = False) -> Rerun:
    """Ask every entry of the set again; with ``accept`` the new answers are stored (those of failed ones are not).

    ``wording`` compares the sentences too. Errors: ``AdvisorError`` ``set-unknown``.
    """
    _, found = sets.get(name)
    fresh: dict[str, Kept] = {}
    out: list[EntryRerun] = []
    for entry in found:
        before = _data(entry.kept)
        try:
            now = answer_of(entry, library)
        except AdvisorError as error:
            help_ = f" ({error.help})" if error.help else ""
            changes = [f"{error.code}: {error.message}{help_}"]
            out.append(EntryRerun(name=entry.name, outcome="failed", changes=changes, before=before, after=""))
            continue
        changes = [] if entry.kept is None else differences(entry.kept.answer, now.answer, wording=wording)
        if entry.kept is None or changes or _data(entry.kept) != _data(now):
            fresh[entry.name] = now
        outcome: Literal["same", "changed", "new"] = "new" if entry.kept is None else "changed" if changes else "same"
        out.append(EntryRerun(name=entry.name, outcome=outcome, changes=changes, before=before, after=_data(now)))
    if accept and fresh:
        sets.keep(name, fresh)
    return Rerun(set=name, entries=out, accepted=accept)


def differences(before: Any, after: Any, *, wording: bool = False) -> list[str]:
    """What differs in two answers as JSON has them: lines `where: before -> after`; rows go by their names."""
    left_out = DATA if wording else DATA | WORDING
    old, new = dict(_leaves(before, "", left_out)), dict(_leaves(after, "", left_out))
    places = [*old, *(place for place in new if place not in old)]
    return [
        f"{place or 'answer'}: {old.get(place, ABSENT)} -> {new.get(place, ABSENT)}" for place in places
        if old.get(place) != new.get(place)
    ]  # fmt: skip


def _data(kept: Kept | None) -> str:
    return "" if kept is None else f"{kept.data_version} {kept.pack_hash[:12]} rules {kept.rules_hash[:12]}"


def _leaves(value: Any, at: str, left_out: frozenset[str]) -> Iterator[tuple[str, str]]:
    """Each plain value with where it stands, and the order of each list of named rows."""
    if isinstance(value, dict):
        for key, part in value.items():
            if key not in left_out:
                yield from _leaves(part, f"{at}.{key}" if at else str(key), left_out)
    elif isinstance(value, list):
        names = _names(value)
        if names is None:
            yield at, msgspec.json.encode(value).decode() if not _nested(value) else f"{len(value)} rows"
            rows: Iterable[tuple[object, Any]] = enumerate(value) if _nested(value) else ()
        else:
            yield f"{at} (order)", ", ".join(names)
            rows = zip(names, value, strict=True)
        for name, part in rows:
            yield from _leaves(part, f"{at}[{name}]", left_out)
    else:
        yield at, msgspec.json.encode(value).decode()


def _nested(rows: list[Any]) -> bool:
    return any(isinstance(row, dict | list) for row in rows)


def _names(rows: list[Any]) -> list[str] | None:
    """A name for each row that no other has; None when there is no such name."""
    if not rows or not all(isinstance(row, dict) for row in rows):
        return None
    for key in NAMES:
        names = [str(row[key]) for row in rows if isinstance(row.get(key), str)]
        if len(names) == len(rows) == len(set(names)):
            return names
    return None
