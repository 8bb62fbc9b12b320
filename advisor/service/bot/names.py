"""The names that a command can mean, and the suggestions while somebody types."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from msgspec import Struct

from advisor.pack.model import Move, Pack
from advisor.service.bot.asked import MOMENTS, Value
from advisor.service.bot.lettering import plain, shortened

__all__ = ["CHOICES", "Choice", "Named", "Names", "matching", "names_of", "suggested"]

CHOICES, LONGEST = 25, 100
"""Suggestions that the platform takes, and characters of each."""


class Named(Struct, frozen=True):
    """An id with its name and, for a move, its input."""

    id: str
    name: str = ""
    input: str = ""

    def shown(self) -> str:
        """What somebody chooses by."""
        said = f"{self.name} ({self.input})" if self.input else self.name
        return f"{said}: {self.id}" if said else self.id


class Names(Struct, frozen=True, kw_only=True):
    """What a pack names; ``moves`` by character, ``system`` what everyone has."""

    pack: str
    characters: tuple[Named, ...]
    moves: Mapping[str, tuple[Named, ...]]
    system: tuple[Named, ...]
    distances: tuple[Named, ...]
    knockdowns: tuple[Named, ...]


class Choice(Struct, frozen=True):
    """One suggestion: what is shown, and what it stands for."""

    name: str
    value: str


def names_of(pack: Pack) -> Names:
    """The names of a loaded pack."""
    conventions = pack.conventions
    return Names(
        pack=pack.id,
        characters=tuple(Named(c.id, c.name) for c in pack.characters.values()),
        moves={c.id: _moves(c.moves) for c in pack.characters.values()},
        system=_moves(pack.system),
        distances=tuple(Named(name) for name in conventions.distances),
        knockdowns=tuple(Named(k.id, k.meaning) for k in conventions.knockdowns.values()),
    )


def _moves(moves: Mapping[str, Move]) -> tuple[Named, ...]:
    return tuple(Named(m.id, m.name, m.input or "") for m in moves.values())


def suggested(option: str, names: Names, given: Mapping[str, Value]) -> list[Choice]:
    """Suggestions for the option that is being typed, from what was typed of it and of the others."""
    typed = str(given.get(option, ""))
    if option in ("me", "them"):
        return matching(typed, names.characters)
    if option == "distance":
        return matching(typed, names.distances)
    if option == "knockdown":
        return matching(typed, names.knockdowns)
    if option == "move":
        _, attacker = MOMENTS.get(str(given.get("moment", "")), ("", "them"))
        return matching(typed, names.moves.get(_character(names, given, attacker or "them"), ()))
    if option == "moves":
        before, comma, last = typed.rpartition(",")
        theirs = (*names.moves.get(_character(names, given, "them"), ()), *names.system)
        return matching(last.strip(), theirs, before + comma)
    return []


def _character(names: Names, given: Mapping[str, Value], side: str) -> str:
    """The id of a side's character, which may have been typed as a name."""
    typed = str(given.get(side, "")).strip().lower()
    return next((c.id for c in names.characters if typed in (c.id.lower(), c.name.lower())), "")


def matching(typed: str, known: Iterable[Named], before: str = "") -> list[Choice]:
    """Those that begin so, then those that hold it, then those that are near; ``before`` stands before each value."""
    text, items = typed.strip().lower(), list(known)
    fields = {item: [part.lower() for part in (item.id, item.name, item.input) if part] for item in items}
    first = [i for i in items if any(field.startswith(text) for field in fields[i])]
    then = [i for i in items if i not in set(first) and any(text in field for field in fields[i])]
    found = first + then
    if not found:
        ids = {item.id: item for item in items}
        found = [ids[near] for near in difflib.get_close_matches(text, ids, n=3, cutoff=0.5)]
    choices = (Choice(shortened(plain(f"{before}{i.shown()}"), LONGEST), f"{before}{i.id}") for i in found)
    return [choice for choice in choices if len(choice.value) <= LONGEST][:CHOICES]
