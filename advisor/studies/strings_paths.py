"""The strings of a character: every way along follow-ups that continue a contact."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from advisor.pack.model import Character, FollowUp, Move
from advisor.timeline.side import timeline_of

__all__ = ["CONTACTS", "MOST_STRINGS", "Link", "distance_at_contact", "links_of", "paths_of"]

CONTACTS = ("block", "hit", "counter_hit")
"""Results of a hit that a string can go on from, in the pack's words."""

MOST_STRINGS = 400


class Link(Struct, frozen=True, kw_only=True):
    """One step of a string: after ``path`` (its last move has just touched) comes ``move``."""

    path: tuple[Move, ...]
    move: Move
    follow: FollowUp

    @property
    def parent(self) -> Move:
        return self.path[-1]


def paths_of(character: Character, starter: Move | None, most: int) -> Iterator[tuple[Move, ...]]:
    """Every string of 2 to ``most`` moves, a string before those that go on from it.

    Without ``starter`` they begin with every attack that may be used by itself. A move that a
    string already holds does not come again.
    """
    starters = [starter] if starter is not None else [
        move for move in character.moves.values() if not (move.requires and move.requires.follows)
    ]
    for move in starters:
        yield from _onward(character, (move,), most)


def _onward(character: Character, path: tuple[Move, ...], most: int) -> Iterator[tuple[Move, ...]]:
    for link in links_of(character, path):
        if len(path) < most:
            longer = (*path, link.move)
            yield longer
            yield from _onward(character, longer, most)


def links_of(character: Character, path: tuple[Move, ...]) -> list[Link]:
    """The moves that may follow a contact of the last move of ``path``, in the pack's order."""
    parent = path[-1]
    if not parent.hits:
        return []
    found = []
    for follow in parent.follow_ups:
        move = character.moves.get(follow.move)
        if move is not None and all(move is not m for m in path) and not follow.on.isdisjoint(CONTACTS):
            found.append(Link(path=path, move=move, follow=follow))
    return found


def distance_at_contact(settled: int | None, move: Move) -> int | None:
    """Micro-units between the two when ``move`` touches: what was settled before, less what it moves.

    None when either is unknown.
    """
    timeline = timeline_of(move)
    first = move.hits[0].first_active if move.hits else None
    if settled is None or first is None or timeline.moves is None:
        return None
    return max(0, settled - timeline.moved(first))
