"""Stun and advantage from each other, and the doubts that a pack is loaded with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from advisor.errors import Finding
from tests.unit.pack.pack_folder import loaded, one_move


def warned(tmp_path: Path, moves: str) -> list[Finding]:
    return list(loaded(tmp_path, moves).warnings)


DERIVED: list[tuple[str, dict[str, Any]]] = [
    ("on_block: +1, active: 2, recovery: 15", {"blockstun": 17}),
    ("on_hit: +8, active: 2, recovery: 15", {"hitstun": 24}),
    ("blockstun: 14, active: 3, recovery: 20", {"on_block": -8}),
    ("hitstun: 30, active: 1, recovery: 20", {"on_hit": 10}),
    ("on_block: -5, startup: 10, total: 30", {"blockstun": 15}),
    ("blockstun: 15, startup: 10, total: 30", {"on_block": -5}),
    ("on_block: -5, active: 2", {"blockstun": None}),
    ("on_block: -5, active: 2, total: 30", {"blockstun": None}),
    ("on_block: -5, startup: 10, total: held", {"blockstun": None}),
    ("on_block: -22, active: 3, recovery: 20", {"blockstun": 0}),
]


@pytest.mark.parametrize(("keys", "expected"), DERIVED)
def test_stun_and_advantage_follow_from_each_other(
    tmp_path: Path, keys: str, expected: dict[str, Any]
) -> None:
    result = loaded(tmp_path, f"{{name: Tap, {keys}}}")
    move = result.pack.characters["ash"].moves["tap"]
    for name, value in expected.items():
        assert getattr(move.hits[0], name) == value
        assert (f"hits[0].{name}" in move.derived) is (value is not None)
    assert result.warnings == ()


def test_derived_formulas_hold_for_the_numbers(tmp_path: Path) -> None:
    keys = [
        "on_block: -5, startup: 10, active: 3, recovery: 20",
        "blockstun: 15, startup: 10, total: 30",
        "on_block: -5, startup: 10, total: 30",
        "blockstun: 14, startup: 9, active: 3, recovery: 20",
    ]
    for written in keys:
        move = one_move(tmp_path, f"{{name: Tap, {written}}}")
        hit = move.hits[0]
        stated = dict(part.split(": ") for part in written.split(", "))
        numbers = {name: int(value) for name, value in stated.items()}
        numbers |= {"total": move.total, "first_active": hit.first_active}  # type: ignore[dict-item]
        for name, formula in move.derived.items():
            value = move.total if name == "total" else getattr(hit, name.removeprefix("hits[0]."))
            assert eval(formula, {}, numbers) == value, (name, formula)


# Doubts.


def test_advantage_that_disagrees_names_all_numbers(tmp_path: Path) -> None:
    (told,) = warned(
        tmp_path, "{name: Tap, startup: 10, active: 3, recovery: 20, on_block: -12, blockstun: 14}"
    )
    assert (told.code, told.severity, told.path) == ("advantage-disagrees", "warning", "moves[0].on_block")
    assert told.message == (
        "on_block -12 does not follow from blockstun 14, active 3 and recovery 20, which give -8"
    )
    assert "blockstun 10" in told.help
    assert (told.line, told.column > 1) == (3, True)


def test_the_stated_total_is_named_too(tmp_path: Path) -> None:
    keys = "startup: 10, active: 3, recovery: 20, total: 32, on_hit: 4, hitstun: 30"
    (told,) = warned(tmp_path, f"{{name: Tap, {keys}}}")
    assert told.message == (
        "on_hit +4 does not follow from hitstun 30, active 3, recovery 20 and total 32, which give +8"
    )


def test_the_stated_advantage_is_kept(tmp_path: Path) -> None:
    hit = one_move(tmp_path, "{name: Tap, active: 3, recovery: 20, on_block: -12, blockstun: 14}").hits[0]
    assert (hit.on_block, hit.blockstun) == (-12, 14)


def test_advantage_is_checked_against_a_total_alone(tmp_path: Path) -> None:
    (told,) = warned(tmp_path, "{name: Tap, startup: 10, total: 30, on_block: -4, blockstun: 15}")
    assert told.message == (
        "on_block -4 does not follow from blockstun 15, first active frame 10 and total 30, which give -5"
    )


def test_the_last_of_several_hits_is_checked(tmp_path: Path) -> None:
    hits = "hits: [{startup: 5, active: 1}, {startup: 12, active: 2, on_block: -3, blockstun: 14}]"
    (told,) = warned(tmp_path, f"{{name: Two, recovery: 18, {hits}}}")
    assert (told.code, told.path) == ("advantage-disagrees", "moves[0].hits[1].on_block")


def test_advantage_below_any_blockstun_is_told_and_nothing_derived(tmp_path: Path) -> None:
    result = loaded(tmp_path, "{name: Tap, active: 3, recovery: 20, on_block: -23}")
    assert [told.code for told in result.warnings] == ["advantage-disagrees"]
    assert result.pack.characters["ash"].moves["tap"].hits[0].blockstun is None


PARRY = "{{name: Ward, parry: [{{frames: [2, 10], catches: {catches}, outcomes: [{{of: {of}}}]}}]}}"
EXCEPT = PARRY.replace("outcomes", "except: {out}, outcomes")
BOTH_TAGS = "\n{name: Tap, level: low, tags: [hand, tool]}"


@pytest.mark.parametrize(
    ("move", "told"),
    [
        (PARRY.format(catches="{tags: [hand]}", of="{tags: [tool]}"), True),
        (PARRY.format(catches="{levels: [high]}", of="{levels: [low]}"), True),
        (PARRY.format(catches="{tags: [hand]}", of="{tags: [hand, tool]}"), False),
        (PARRY.format(catches="{}", of="{tags: [tool]}"), False),
        (PARRY.format(catches="{tags: [hand]}", of="{}"), False),
        (EXCEPT.format(catches="{}", out="{levels: [low]}", of="{levels: [low]}"), True),
        (EXCEPT.format(catches="{}", out="{levels: [low]}", of="{levels: [low, high]}"), False),
        # An attack of the pack that has both tags makes sense of it.
        (PARRY.format(catches="{tags: [hand]}", of="{tags: [tool]}") + BOTH_TAGS, False),
        (EXCEPT.format(catches="{tags: [hand]}", out="{levels: [low]}", of="{tags: [tool]}") + BOTH_TAGS,
         True),
    ],
)  # fmt: skip
def test_an_outcome_that_never_applies_is_told(tmp_path: Path, move: str, told: bool) -> None:
    found = [(one.code, one.path) for one in warned(tmp_path, move)]
    assert found == ([("outcome-idle", "moves[0].parry[0].outcomes[0].of")] if told else [])


@pytest.mark.parametrize(
    ("keys", "code", "path"),
    [
        ("guard: unknown", "unknown-not-kept", "guard"),
        ("cannot_block: unknown", "unknown-not-kept", "cannot_block"),
        ("follow_ups: unknown", "unknown-not-kept", "follow_ups"),
        ("requires: unknown", "unknown-not-kept", "requires"),
        ("recovery: 12", "key-idle", "recovery"),
        ("startup: 5, cannot_block: [1, 3]", "key-idle", "cannot_block"),
    ],
)
def test_what_is_written_in_vain_is_told(tmp_path: Path, keys: str, code: str, path: str) -> None:
    assert [(one.code, one.path) for one in warned(tmp_path, f"{{name: Tap, {keys}}}")] == [
        (code, f"moves[0].{path}")
    ]
