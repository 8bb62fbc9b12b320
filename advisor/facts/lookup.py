"""Ids and names that a question uses, looked up in the pack; an unknown one offers the nearest.

Errors: ``Unanswerable`` with the JSON pointer of the value, from every function here.
"""

from __future__ import annotations

from collections.abc import Iterable

from advisor.errors import Unanswerable, did_you_mean
from advisor.pack.model import Character, Move, Pack
from advisor.units import to_micro

__all__ = ["character_in", "distance_in", "move_in", "no_option"]

NAMED = 12
"""Most ids that an error lists."""


def character_in(pack: Pack, wanted: str, pointer: str) -> Character:
    """The character of an id."""
    found = pack.characters.get(wanted)
    if found is None:
        raise Unanswerable(
            "character-unknown",
            f"pack `{pack.id}` has no character `{wanted}`",
            help=did_you_mean(wanted, pack.characters) or f"it has {', '.join(sorted(pack.characters)[:NAMED])}",
            pointer=pointer,
        )
    return found


def move_in(pack: Pack, character: Character, wanted: str, pointer: str) -> Move:
    """A move of the character by id."""
    found = character.moves.get(wanted)
    if found is None:
        raise Unanswerable(
            "move-unknown",
            f"fighter `{character.id}` has no move `{wanted}` in pack `{pack.id}` {pack.version}",
            help=did_you_mean(wanted, character.moves),
            pointer=pointer,
        )
    return found


def distance_in(pack: Pack, given: float | str | None, pointer: str = "/distance") -> int | None:
    """Micro-units of a distance given as a number (the pack's unit) or by its name; None stays unknown."""
    if given is None or not isinstance(given, str):
        return None if given is None else to_micro(given)
    named = pack.conventions.distances
    if given not in named:
        raise Unanswerable(
            "distance-unknown",
            f"pack `{pack.id}` has no distance named `{given}`",
            help=did_you_mean(given, named) or f"it names {', '.join(sorted(named))}",
            pointer=pointer,
        )
    return named[given]


def no_option(pack: Pack, character: Character, wanted: str, known: Iterable[str], pointer: str) -> Unanswerable:
    """The error for an id that is no option of the character; ``known`` are those that are."""
    return Unanswerable(
        "option-unknown",
        f"`{wanted}` is neither a move of `{character.id}` nor a system option of `{pack.id}`",
        help=did_you_mean(wanted, known),
        pointer=pointer,
    )
