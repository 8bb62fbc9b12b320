"""Large packs as files, for the loading benchmark."""

from __future__ import annotations

import random
from pathlib import Path

__all__ = ["write_pack"]

_PACK = """\
format: 1
id: grown
name: Grown
version: "1"
distance: {unit: pace, named: {close: 0.8}}
levels:
  high: {hits: [standing, airborne], blocked_by: [standing]}
  mid: {hits: [standing, crouching, airborne], blocked_by: [standing]}
  low: {hits: [standing, crouching, grounded], blocked_by: [crouching]}
tags: {hand: a bare hand, foot: a foot}
none_when_absent: [airborne, crouching, invulnerable, armour, parry, sidestep, displacement, counter_state, breaks,
  tracking, leaves]
system:
  - {id: guard, name: Guard, kind: guard, guard: [{frames: [1, held], with: [standing, crouching]}]}
"""


def write_pack(folder: Path, *, characters: int, moves: int) -> None:
    """Write a pack of that size, one move a line, some fifteen properties each."""
    rng = random.Random(7)
    (folder / "characters").mkdir(parents=True)
    (folder / "pack.yaml").write_text(_PACK, encoding="utf-8")
    for c in range(characters):
        lines = [f"id: fighter_{c}", f"name: Fighter {c}", "health: 180", "moves:"]
        for m in range(moves):
            active, recovery, block = rng.randint(1, 4), rng.randint(12, 30), -rng.randint(0, 16)
            lines.append(
                f"  - {{id: move_{m}, name: Move {m}, input: in {m}, level: {rng.choice(['high', 'mid', 'low'])}, "
                f"startup: {rng.randint(10, 25)}, active: {active}, recovery: {recovery}, "
                f"damage: {rng.randint(5, 40)}, "
                f"on_block: {block}, on_hit: {rng.randint(0, 12)}, on_counter_hit: {rng.randint(0, 20)}, "
                f"reach: {rng.randint(8, 30) / 10}, pushback: 0.3, tags: [{rng.choice(['hand', 'foot'])}]}}"
            )
        (folder / "characters" / f"fighter_{c}.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
