"""What the ids in a path or on the command line stand for."""

from __future__ import annotations

from advisor.errors import Unanswerable, did_you_mean
from advisor.facts.lookup import character_in
from advisor.library import Library
from advisor.pack.model import Character, Move, Pack
from advisor.service.problems import ParameterError

__all__ = ["the_character", "the_move", "the_pack"]


def the_pack(library: Library, pack: str) -> Pack:
    """The pack of an id. Errors: ``ParameterError`` ``pack-unknown``."""
    try:
        return library.shelf(pack, "").pack
    except Unanswerable as error:
        raise ParameterError(error.code, error.message, name="pack", help=error.help) from None


def the_character(pack: Pack, character: str) -> Character:
    """The character of an id. Errors: ``ParameterError`` ``character-unknown``."""
    try:
        return character_in(pack, character, "")
    except Unanswerable as error:
        raise ParameterError(error.code, error.message, name="character", help=error.help) from None


def the_move(pack: Pack, character: Character, move: str) -> Move:
    """The character's move or else the system option of an id. Errors: ``ParameterError`` ``move-unknown``."""
    known = {**pack.system, **character.moves}
    found = known.get(move)
    if found is None:
        raise ParameterError(
            "move-unknown",
            f"`{character.id}` of pack `{pack.id}` has no move `{move}`",
            name="move",
            help=did_you_mean(move, known) or "the moves of the character are listed one level up",
        )
    return found
