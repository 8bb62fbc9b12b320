"""What is absent or written as unknown stays unknown; what a pack calls none is none; zero is zero."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.pack.model import Hit
from tests.unit.pack.pack_folder import PACK, one_move, spoiled

ABSENT = "none_when_absent: [airborne, crouching]"
EVERY = (
    "none_when_absent: [airborne, crouching, invulnerable, armour, parry, sidestep, displacement, "
    "counter_state, follow_ups, breaks, tracking, cost, requires, tags]"
)


HIT_PROPERTIES = list(Hit.__struct_fields__)
MAYBE_NONE = [
    "airborne", "crouching", "invulnerable", "armour", "parry", "sidestep", "displacement", "counter_state",
]  # fmt: skip


@pytest.mark.parametrize("name", HIT_PROPERTIES)
def test_an_absent_property_of_a_hit_is_unknown(tmp_path: Path, name: str) -> None:
    move = one_move(tmp_path, "{name: Tap, kind: attack}", pack=spoiled(PACK, ABSENT, "none_when_absent: []"))
    assert len(move.hits) == 1
    assert getattr(move.hits[0], name) is None


@pytest.mark.parametrize("name", [*MAYBE_NONE, "total", "cost", "requires", "input"])
def test_an_absent_property_of_a_move_is_unknown(tmp_path: Path, name: str) -> None:
    move = one_move(tmp_path, "{name: Tap, kind: attack}", pack=spoiled(PACK, ABSENT, "none_when_absent: []"))
    assert getattr(move, name) is None


@pytest.mark.parametrize("name", MAYBE_NONE)
def test_an_absent_property_is_none_of_it_where_the_pack_says_so(tmp_path: Path, name: str) -> None:
    pack = spoiled(PACK, ABSENT, f"none_when_absent: [{name}]")
    move = one_move(tmp_path, "{name: Tap, kind: attack}", pack=pack)
    assert getattr(move, name) == ()
    others = [other for other in MAYBE_NONE if other != name]
    assert all(getattr(move, other) is None for other in others)


@pytest.mark.parametrize(
    ("written", "read"), [("tags", "tags"), ("tracking", "tracks"), ("breaks", "breaks")]
)
def test_an_absent_set_of_a_hit_is_empty_where_the_pack_says_so(
    tmp_path: Path, written: str, read: str
) -> None:
    pack = spoiled(PACK, ABSENT, f"none_when_absent: [{written}]")
    hit = one_move(tmp_path, "{name: Tap, kind: attack}", pack=pack).hits[0]
    assert getattr(hit, read) == frozenset()
    assert [name for name in ("tags", "tracks", "breaks") if getattr(hit, name) is not None] == [read]


def test_an_absent_cost_is_nothing_where_the_pack_says_so(tmp_path: Path) -> None:
    pack = spoiled(PACK, ABSENT, "none_when_absent: [cost, requires, follow_ups]")
    move = one_move(tmp_path, "{name: Tap}", pack=pack)
    assert (move.cost, move.requires, move.follow_ups) == (0, None, ())


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize("name", [*MAYBE_NONE, "cost"])
def test_written_as_unknown_it_stays_unknown(tmp_path: Path, name: str, value: str) -> None:
    move = one_move(tmp_path, f"{{name: Tap, {name}: {value}}}", pack=spoiled(PACK, ABSENT, EVERY))
    assert getattr(move, name) is None


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize("key", ["tags", "tracking", "breaks"])
def test_sets_written_as_unknown_stay_unknown(tmp_path: Path, key: str, value: str) -> None:
    pack = spoiled(PACK, ABSENT, EVERY)
    hit = one_move(tmp_path, f"{{name: Tap, kind: attack, {key}: {value}}}", pack=pack).hits[0]
    assert getattr(hit, "tracks" if key == "tracking" else key) is None


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize(
    "key",
    ["level", "startup", "active", "damage", "chip", "reach", "on_block", "on_hit", "on_counter_hit",
     "blockstun", "hitstun", "pushback", "leaves"],
)  # fmt: skip
def test_hit_keys_written_as_unknown_are_absent(tmp_path: Path, key: str, value: str) -> None:
    move = one_move(tmp_path, f"{{name: Tap, {key}: {value}}}")
    assert (move.kind, move.hits) == ("attack", (Hit(),))


@pytest.mark.parametrize("name", MAYBE_NONE)
def test_none_is_none_without_the_pack_saying_so(tmp_path: Path, name: str) -> None:
    assert getattr(one_move(tmp_path, f"{{name: Tap, {name}: none}}"), name) == ()


def test_zero_is_not_unknown(tmp_path: Path) -> None:
    hit = one_move(tmp_path, "{name: Tap, damage: 0, on_block: 0, reach: 0, pushback: 0, blockstun: 0}").hits[
        0
    ]
    assert (hit.damage, hit.on_block, hit.reach, hit.blockstun) == (0, 0, 0, 0)
    assert (hit.pushback_block, hit.pushback_hit) == (0, 0)
