"""A small good pack as text, and a folder written from it; tests spoil one line of it at a time."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from advisor.pack.load import Loaded, load_pack
from advisor.pack.model import Move

__all__ = ["CHARACTER", "PACK", "loaded", "one_move", "spoiled", "write_pack"]

PACK = """\
format: 1
id: kiln
name: Kiln Yard
version: "1.0"
distance: {unit: pace, named: {close: 0.8, far: 3.0}}
levels:
  high: {hits: [standing, airborne], blocked_by: [standing]}
  low: {hits: [standing], blocked_by: [crouching]}
  throw: {hits: [standing], blocked_by: [], kind: throw}
throws: {breaks: {left: {input: L, window: 20}}, breakable_in: [free, startup]}
blockstun: {immune_to: {levels: [throw]}}
tags: {hand: bare hand, tool: with a tool}
knockdowns: {face_up: {meaning: on the back, wake_ups: [get_up, roll]}, face_down: on the front}
none_when_absent: [airborne, crouching]
system:
  - {id: guard, kind: guard, guard: [{frames: [1, held], with: [standing, crouching]}]}
  - {id: backstep, name: Back Step, kind: movement, total: 24, displacement: [{frames: [1, 14], back: 1.4}]}
wake_ups:
  - {id: get_up, name: Get Up, kind: movement, total: 20, grounded: [1, 8], cannot_block: [1, 20]}
  - {id: roll, kind: movement, total: 30, grounded: [[1, 6], [11, 16]], sidestep: [{frames: [4, 18], side: left}]}
wall_effects: {sticks: {meaning: stays up, damage: 6, advantage: +20, knockdown: none}, splat: {knockdown: face_up}}
floor_effects: {breaks: {damage: unknown, distance: 0.5}}
"""

CHARACTER = """\
id: ash
name: Ash
health: 180
key_moves: [tap]
moves:
  - {id: tap, name: Clay Tap, level: high, startup: 10, active: 2, recovery: 15, on_block: +1, on_hit: +8, tags: [hand], follow_ups: [{move: sweep, arrives: 17}]}
  - {id: sweep, name: Low Sweep, level: low, startup: 16, active: 3, recovery: 20, on_block: -12, reach: close, leaves: {hit: {knockdown: face_up, distance: 1.0}}}
  - {id: grip, name: Grip, level: throw, startup: 12, active: 2, recovery: 22, breaks: [left], airborne: [3, 5], armour: [{frames: [2, 9], levels: [high]}]}
  - {id: ward, name: Ward, total: 30, parry: [{frames: [2, 10], catches: {tags: [hand]}, except: {levels: [low]}, outcomes: [{of: {tags: [hand]}, damage: 20}]}]}
  - {id: flurry, name: Flurry, recovery: 18, hits: [{level: high, startup: 12, active: 2}, {level: low, startup: 20, active: 2}]}
  - {id: spring, name: Spring Up, level: low, startup: 18, active: 2, recovery: 21, grounded: [1, 7], wakes_from: [face_up]}
"""  # noqa: E501


def write_pack(
    folder: Path, pack: str | bytes = PACK, characters: Mapping[str, str | bytes] | None = None
) -> Path:
    """Write a pack below ``folder``; the pack's own folder."""
    root = folder / "kiln"
    (root / "characters").mkdir(parents=True, exist_ok=True)
    files = {"ash": CHARACTER} if characters is None else characters
    for path, text in [
        (root / "pack.yaml", pack),
        *((root / "characters" / f"{name}.yaml", text) for name, text in files.items()),
    ]:
        path.write_bytes(text.encode() if isinstance(text, str) else text)
    return root


def spoiled(text: str, old: str, new: str) -> str:
    """``text`` with its one ``old`` replaced."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new)


def loaded(folder: Path, moves: str, *, pack: str = PACK) -> Loaded:
    """The pack whose one character has ``moves``, one a line."""
    lines = "".join(f"  - {move}\n" for move in moves.splitlines())
    return load_pack(write_pack(folder, pack, {"ash": f"id: ash\nmoves:\n{lines}"}))


def one_move(folder: Path, move: str, *, pack: str = PACK) -> Move:
    """The first move, normalised."""
    return next(iter(loaded(folder, move, pack=pack).pack.characters["ash"].moves.values()))
