"""What comparing two versions costs: 40 fighters of 120 moves, one move in twenty changed, beside asking everything."""

from __future__ import annotations

import random
import time

import msgspec

from advisor.advice import advise
from advisor.bench.roster import grown_pack
from advisor.facts import Question
from advisor.facts.question import Blocked, Fighter
from advisor.library import Shelf, bundled_rules, load_shelf
from advisor.pack.model import Hit, Move, Pack
from advisor.units import from_micro
from advisor.versions import compare

__all__ = ["edited", "run"]

ROSTER, MOVES = 40, 120
SHARE = 0.05
ASKED = 24
"""Questions that are timed; the cost of asking everything is scaled up from them."""


def edited(pack: Pack, share: float, seed: int = 1) -> tuple[Pack, int]:
    """The pack with that share of its attacks some frames worse or quicker, and how many they are."""
    rng = random.Random(seed)
    count = 0
    characters = {}
    for key, one in pack.characters.items():
        moves = dict(one.moves)
        for name, move in one.moves.items():
            if move.hits and rng.random() < share:
                moves[name] = _edited(move, rng)
                count += 1
        characters[key] = msgspec.structs.replace(one, moves=moves)
    return msgspec.structs.replace(pack, characters=characters), count


def _edited(move: Move, rng: random.Random) -> Move:
    hit: Hit = move.hits[0]
    if hit.on_block is not None and rng.random() < 0.5:
        hit = msgspec.structs.replace(hit, on_block=hit.on_block - rng.randrange(1, 4))
    else:
        hit = msgspec.structs.replace(hit, damage=(hit.damage or 0.0) + rng.randrange(1, 4))
        if hit.first_active is not None and hit.first_active > 1:
            hit = msgspec.structs.replace(hit, first_active=hit.first_active - 1)
    return msgspec.structs.replace(move, hits=(hit, *move.hits[1:]))


def run() -> None:
    """Print seconds of processor time, and the ratio to one question a move, opponent, distance and version."""
    shelf = load_shelf(bundled_rules() / "packs" / "cold_frame")
    old = grown_pack(shelf.pack, ROSTER, MOVES)
    new, count = edited(old, SHARE)
    began = time.process_time()
    found = compare(old, new, shelf.rules, shelf.evaluator)
    took = time.process_time() - began
    whole = _asking(msgspec.structs.replace(shelf, pack=old))
    print(f"\nversions, {ROSTER} x {MOVES} moves, {count} changed, {len(found.distances)} distances")
    print(f"  {'compared':48} {took:10.1f} s of processor time, {len(found.consequences)} consequences")
    print(f"  {'asking everything (scaled up)':48} {whole:10.0f} s, {whole / took:.0f} times as long")


def _asking(shelf: Shelf) -> float:
    """Seconds for every attack blocked by every opponent at every distance in both versions."""
    pack = shelf.pack
    rng = random.Random(2)
    attacks = [(c.id, m.id) for c in pack.characters.values() for m in c.moves.values() if m.hits]
    named = pack.conventions.distances
    away = from_micro(min(named.values()))
    picks = [(*rng.choice(attacks), rng.choice(list(pack.characters))) for _ in range(ASKED)]
    began = time.process_time()
    for owner, move, them in picks:
        asked = Question(
            me=Fighter(character=them), them=Fighter(character=owner), moment=Blocked(attacker="them", move=move),
            distance=away, explain="none",
        )  # fmt: skip
        advise(pack, shelf.rules, shelf.evaluator, asked)
    return (time.process_time() - began) / ASKED * len(attacks) * ROSTER * len(named) * 2


if __name__ == "__main__":
    run()
