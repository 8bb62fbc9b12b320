"""The characters, options and distances that a request names, found in the pack or refused with a pointer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from advisor.errors import QuestionError
from advisor.facts.lookup import character_in, distance_in, no_option
from advisor.facts.question import Fighter
from advisor.pack.model import Character, Move, Pack
from advisor.sentences import say
from advisor.units import from_micro

__all__ = [
    "assumed_distance", "attacks_of", "character_of", "listed_ids", "move_of", "options_of", "roster",
]

NAMED = 12


def character_of(pack: Pack, fighter: Fighter, pointer: str) -> Character:
    """The character of a fighter. Errors: ``Unanswerable`` at ``pointer`` + ``/character``."""
    return character_in(pack, fighter.character, f"{pointer}/character")


def roster(pack: Pack, fighter: Fighter | None, pointer: str) -> list[tuple[Fighter, Character]]:
    """The one fighter that is named, or every character of the pack."""
    if fighter is not None:
        return [(fighter, character_of(pack, fighter, pointer))]
    return [(Fighter(character=key), one) for key, one in pack.characters.items()]


def options_of(pack: Pack, character: Character) -> Mapping[str, Move]:
    """Everything the character can do by id: its moves, and what every fighter has."""
    return {**pack.system, **pack.wake_ups, **character.moves}


def move_of(pack: Pack, character: Character, key: str, pointer: str, *, attack: bool = False) -> Move:
    """An option of the character by id.

    Errors: ``Unanswerable`` for an id that it does not have, ``QuestionError`` when it must be an
    ``attack`` and is none.
    """
    known = options_of(pack, character)
    found = known.get(key)
    if found is None:
        raise no_option(pack, character, key, known, pointer)
    if attack and not found.hits:
        raise QuestionError(
            "question-impossible",
            f"`{key}` is not an attack",
            help="name a move with an active window",
            pointer=pointer,
        )
    return found


def attacks_of(character: Character) -> list[Move]:
    """Its moves that have an active window."""
    return [move for move in character.moves.values() if move.hits]


def assumed_distance(pack: Pack, given: float | str | None) -> tuple[int, list[str]]:
    """The distance to weigh at: as given, or the nearest that the pack names, with a line that says so.

    Units: micro-units. Errors: ``Unanswerable``.
    """
    away = distance_in(pack, given)
    if away is not None:
        return away, []
    near = min(pack.conventions.distances.values(), default=0)
    said = say(
        "No distance was given: weighed at {near:g} {unit}, the nearest that the pack names.",
        near=from_micro(near), unit=pack.conventions.distance_unit,
    )  # fmt: skip
    return near, [said]


def listed_ids(ids: Sequence[str]) -> str:
    """Ids for a help text."""
    return ", ".join(f"`{key}`" for key in ids[:NAMED])
