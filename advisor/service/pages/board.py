"""What the desk lays out before the first question: packs, characters, named places, and a question to open with."""

from __future__ import annotations

from msgspec import Struct

from advisor.facts.question import Blocked, Fighter, Neutral, Question
from advisor.library import Library
from advisor.pack.model import Character, Move, Pack
from advisor.service.wire import CharacterInfo, character_info
from advisor.units import from_micro

__all__ = ["Board", "Lying", "Table", "board", "opening"]


class Lying(Struct, kw_only=True, frozen=True):
    """A knockdown state and what it means."""

    id: str
    meaning: str


class Table(Struct, kw_only=True):
    """One pack: named distances in its unit, knockdown states, characters, and the stances that moves ask of each."""

    id: str
    name: str
    version: str
    unit: str
    distances: dict[str, float]
    knockdowns: list[Lying]
    characters: list[CharacterInfo]
    stances: dict[str, list[str]]
    opening: Question | None


class Board(Struct, kw_only=True):
    """All packs, and which of them is meant when a question names none."""

    default: str
    packs: list[Table]


def board(library: Library) -> Board:
    """The board of what is loaded."""
    return Board(default=library.default, packs=[_table(shelf.pack) for shelf in library.shelves.values()])


def _table(pack: Pack) -> Table:
    conventions = pack.conventions
    return Table(
        id=pack.id, name=pack.name, version=pack.version, unit=conventions.distance_unit,
        distances={name: from_micro(away) for name, away in conventions.distances.items()},
        knockdowns=[Lying(id=state.id, meaning=state.meaning) for state in conventions.knockdowns.values()],
        characters=[character_info(character) for character in pack.characters.values()],
        stances={character.id: _stances(character) for character in pack.characters.values()},
        opening=opening(pack),
    )  # fmt: skip


def _stances(character: Character) -> list[str]:
    asked = (move.requires.stance for move in character.moves.values() if move.requires is not None)
    return sorted({stance for stance in asked if stance is not None})


def opening(pack: Pack) -> Question | None:
    """A question that the pack can answer: a key move of the second character was blocked at close range.

    Both are free when nobody has a move that can be blocked; None for a pack without characters.
    """
    people = list(pack.characters.values())
    if not people:
        return None
    me, others = people[0], [*people[1:], people[0]]
    named = pack.conventions.distances
    near = min(named, key=lambda name: named[name], default=None)
    away = 0 if near is None else named[near]
    struck = next(((them, move) for them in others if (move := _weakest(pack, them, me, away)) is not None), None)
    them = struck[0] if struck else others[0]
    return Question(
        pack=pack.id, me=Fighter(character=me.id), them=Fighter(character=them.id), distance=near,
        moment=Blocked(attacker="them", move=struck[1].id) if struck else Neutral(),
    )  # fmt: skip


def _weakest(pack: Pack, them: Character, me: Character, away: int) -> Move | None:
    """A move of theirs that a guard blocks and that starts from anywhere, one worth a look.

    Rather one that a move of mine answers in time and in reach (micro-units ``away`` and pushback), a key move,
    one that no string goes on from; then the one that leaves them latest.
    """
    quick = [(hit.first_active, hit.reach) for move in me.moves.values() for hit in move.hits[:1]
             if move.requires is None and hit.first_active is not None and hit.reach is not None]  # fmt: skip
    found = []
    for move in them.moves.values():
        hit = move.hits[0] if move.hits else None
        if move.requires is not None or hit is None or hit.on_block is None or hit.level is None:
            continue
        if pack.conventions.levels[hit.level].blocked_by:
            apart, late = away + (hit.pushback_block or 0), -hit.on_block
            answered = any(first <= late and reach >= apart for first, reach in quick)
            found.append((not answered, move.id not in them.key_moves, bool(move.follow_ups), hit.on_block, move.id))
    return them.moves[min(found)[-1]] if found else None
