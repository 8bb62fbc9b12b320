"""Large packs for the benchmarks, grown from the demo pack by seeded small changes of its moves."""

from __future__ import annotations

import random
from itertools import cycle

import msgspec

from advisor.pack.model import Character, Hit, Move, Pack

__all__ = ["grown_character", "grown_pack"]


def grown_character(pack: Pack, name: str, moves: int, seed: int = 1) -> Character:
    """A character of ``moves`` moves: those of the demo fighters, again and again with other numbers."""
    rng = random.Random(seed)
    source = cycle([m for c in pack.characters.values() for m in c.moves.values()])
    out: dict[str, Move] = {}
    while len(out) < moves:
        move = next(source)
        key = f"{move.id}_{len(out)}"
        hits = tuple(_shifted(hit, rng) for hit in move.hits)
        out[key] = msgspec.structs.replace(move, id=key, hits=hits, follow_ups=())
    return Character(id=name, name=name, health=180.0, moves=out, key_moves=tuple(list(out)[:5]))


def _shifted(hit: Hit, rng: random.Random) -> Hit:
    shift = rng.choice((-1, 0, 0, 1))
    if hit.first_active is None or hit.active_stop is None or hit.first_active < 5:
        return hit
    return msgspec.structs.replace(
        hit,
        first_active=hit.first_active + shift,
        active_stop=hit.active_stop + shift,
        damage=None if hit.damage is None else hit.damage + rng.randrange(3),
    )


def grown_pack(pack: Pack, characters: int, moves: int) -> Pack:
    """The demo pack with a roster of ``characters`` fighters of ``moves`` moves each."""
    roster = {
        f"fighter_{i}": grown_character(pack, f"fighter_{i}", moves, seed=i) for i in range(characters)
    }
    return msgspec.structs.replace(pack, characters=roster)
