"""From the written form to the normalised one: unknowns, conventions, windows, derived numbers, doubts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from advisor.errors import Finding
from advisor.pack.load import Loaded, load_pack
from advisor.pack.model import (
    Armour,
    Catch,
    CatchOutcome,
    Displacement,
    FollowUp,
    Guard,
    Hit,
    Leaves,
    Move,
    Parry,
    Requires,
    Shield,
    Sidestep,
)
from advisor.units import FOREVER, Span
from tests.unit.pack.pack_folder import PACK, spoiled, write_pack

ABSENT = "none_when_absent: [airborne, crouching]"
EVERY = (
    "none_when_absent: [airborne, crouching, invulnerable, armour, parry, sidestep, displacement, "
    "counter_state, follow_ups, breaks, tracking, cost, requires, tags]"
)
BOTH = frozenset({"standing", "crouching"})


def loaded(tmp_path: Path, moves: str, *, pack: str = PACK) -> Loaded:
    lines = "".join(f"  - {move}\n" for move in moves.splitlines())
    return load_pack(write_pack(tmp_path, pack, {"ash": f"id: ash\nmoves:\n{lines}"}))


def one(tmp_path: Path, move: str, *, pack: str = PACK) -> Move:
    return next(iter(loaded(tmp_path, move, pack=pack).pack.characters["ash"].moves.values()))


def warned(tmp_path: Path, moves: str) -> list[Finding]:
    return list(loaded(tmp_path, moves).warnings)


# Absent is never zero.

HIT_PROPERTIES = list(Hit.__struct_fields__)
MAYBE_NONE = [
    "airborne", "crouching", "invulnerable", "armour", "parry", "sidestep", "displacement", "counter_state",
]  # fmt: skip


@pytest.mark.parametrize("name", HIT_PROPERTIES)
def test_an_absent_property_of_a_hit_is_unknown(tmp_path: Path, name: str) -> None:
    move = one(tmp_path, "{name: Tap, kind: attack}", pack=spoiled(PACK, ABSENT, "none_when_absent: []"))
    assert len(move.hits) == 1
    assert getattr(move.hits[0], name) is None


@pytest.mark.parametrize("name", [*MAYBE_NONE, "total", "cost", "requires", "input"])
def test_an_absent_property_of_a_move_is_unknown(tmp_path: Path, name: str) -> None:
    move = one(tmp_path, "{name: Tap, kind: attack}", pack=spoiled(PACK, ABSENT, "none_when_absent: []"))
    assert getattr(move, name) is None


@pytest.mark.parametrize("name", MAYBE_NONE)
def test_an_absent_property_is_none_of_it_where_the_pack_says_so(tmp_path: Path, name: str) -> None:
    pack = spoiled(PACK, ABSENT, f"none_when_absent: [{name}]")
    move = one(tmp_path, "{name: Tap, kind: attack}", pack=pack)
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
    hit = one(tmp_path, "{name: Tap, kind: attack}", pack=pack).hits[0]
    assert getattr(hit, read) == frozenset()
    assert [name for name in ("tags", "tracks", "breaks") if getattr(hit, name) is not None] == [read]


def test_an_absent_cost_is_nothing_where_the_pack_says_so(tmp_path: Path) -> None:
    pack = spoiled(PACK, ABSENT, "none_when_absent: [cost, requires, follow_ups]")
    move = one(tmp_path, "{name: Tap}", pack=pack)
    assert (move.cost, move.requires, move.follow_ups) == (0, None, ())


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize("name", [*MAYBE_NONE, "cost"])
def test_written_as_unknown_it_stays_unknown(tmp_path: Path, name: str, value: str) -> None:
    move = one(tmp_path, f"{{name: Tap, {name}: {value}}}", pack=spoiled(PACK, ABSENT, EVERY))
    assert getattr(move, name) is None


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize("key", ["tags", "tracking", "breaks"])
def test_sets_written_as_unknown_stay_unknown(tmp_path: Path, key: str, value: str) -> None:
    pack = spoiled(PACK, ABSENT, EVERY)
    hit = one(tmp_path, f"{{name: Tap, kind: attack, {key}: {value}}}", pack=pack).hits[0]
    assert getattr(hit, "tracks" if key == "tracking" else key) is None


@pytest.mark.parametrize("value", ["unknown", "null"])
@pytest.mark.parametrize(
    "key",
    ["level", "startup", "active", "damage", "chip", "reach", "on_block", "on_hit", "on_counter_hit",
     "blockstun", "hitstun", "pushback", "leaves"],
)  # fmt: skip
def test_hit_keys_written_as_unknown_are_absent(tmp_path: Path, key: str, value: str) -> None:
    move = one(tmp_path, f"{{name: Tap, {key}: {value}}}")
    assert (move.kind, move.hits) == ("attack", (Hit(),))


@pytest.mark.parametrize("name", MAYBE_NONE)
def test_none_is_none_without_the_pack_saying_so(tmp_path: Path, name: str) -> None:
    assert getattr(one(tmp_path, f"{{name: Tap, {name}: none}}"), name) == ()


def test_zero_is_not_unknown(tmp_path: Path) -> None:
    hit = one(tmp_path, "{name: Tap, damage: 0, on_block: 0, reach: 0, pushback: 0, blockstun: 0}").hits[0]
    assert (hit.damage, hit.on_block, hit.reach, hit.blockstun) == (0, 0, 0, 0)
    assert (hit.pushback_block, hit.pushback_hit) == (0, 0)


# How startup is counted.


@pytest.mark.parametrize(
    ("convention", "startup", "first"),
    [("first_active", 10, 10), ("before_active", 10, 11), ("first_active", 1, 1), ("before_active", 0, 1)],
)
def test_startup_is_counted_as_the_pack_says(
    tmp_path: Path, convention: str, startup: int, first: int
) -> None:
    pack = PACK + f"startup_counts: {convention}\n"
    move = one(tmp_path, f"{{name: Tap, startup: {startup}, active: 3, recovery: 12}}", pack=pack)
    assert (move.hits[0].first_active, move.hits[0].active_stop) == (first, first + 3)
    assert move.total == first - 1 + 3 + 12
    assert ("hits[0].first_active" in move.derived) is (convention == "before_active")


# Kinds.


@pytest.mark.parametrize(
    ("keys", "kind", "hits"),
    [
        ("", "movement", 0),
        ("total: 20", "movement", 0),
        ("startup: unknown", "attack", 1),
        ("damage: 5", "attack", 1),
        ("hits: [{startup: 3}, {startup: 9}]", "attack", 2),
        ("parry: [{frames: [2, 9], catches: {}}]", "parry", 0),
        ("parry: [{frames: [2, 9], catches: {}}], startup: 4", "attack", 1),
        ("parry: [{frames: [2, 9], catches: {}}], startup: 12, kind: parry", "parry", 1),
        ("kind: attack", "attack", 1),
        ("kind: attack, hits: unknown", "attack", 1),
        ("kind: parry", "parry", 0),
        ("kind: guard", "guard", 0),
        ("tags: [hand]", "movement", 0),
    ],
)
def test_the_kind_follows_from_the_keys(tmp_path: Path, keys: str, kind: str, hits: int) -> None:
    move = one(tmp_path, f"{{name: Tap, {keys}}}" if keys else "{name: Tap}")
    assert (move.kind, len(move.hits)) == (kind, hits)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("Bell Tap", "bell_tap"),
        ("  Low -- Sweep! ", "low_sweep"),
        ("Caf\u00e9 2", "cafe_2"),
        ("x" * 80, "x" * 64),
    ],
)
def test_the_id_is_made_from_the_name(tmp_path: Path, name: str, made: str) -> None:
    assert one(tmp_path, f"{{name: '{name}'}}").id == made


def test_the_name_is_the_id_without_one(tmp_path: Path) -> None:
    assert one(tmp_path, "{id: tap}").name == "tap"


# Every property, once.


def test_every_property_is_read(tmp_path: Path) -> None:
    keys = (
        "id: tap, name: Tap, input: A, level: high, startup: 10, active: 2, recovery: 15, damage: 8, chip: 1.5, "
        "reach: far, tracking: left, breaks: [left], on_block: -1, on_hit: 8, on_counter_hit: 12, "
        "pushback: {block: 0.4, hit: 1}, tags: [hand, tool], note: Quick, source: own count, "
        "leaves: {block: {distance: 0.5}, hit: {knockdown: face_up}, counter_hit: {wall: sticks, floor: breaks}}, "
        "airborne: [4, 9], crouching: [[1, 2], [12, 13]], counter_state: [20, held], "
        "invulnerable: [{frames: [1, 3]}], armour: [{frames: [2, 5], levels: [high], tags: [hand], hits: 2}], "
        "sidestep: [{frames: [3, 6], side: right}], displacement: [{frames: [1, 3], forward: 1}], cost: 20, "
        "requires: {stance: low, back_turned: true, near_wall: false, health_below: 0.25, meter: 20, follows: true}"
    )
    move = one(tmp_path, f"{{{keys}}}")
    assert move == Move(
        id="tap",
        name="Tap",
        kind="attack",
        input="A",
        hits=(
            Hit(
                first_active=10,
                active_stop=12,
                level="high",
                damage=8,
                chip=1.5,
                reach=3_000_000,
                tags=frozenset({"hand", "tool"}),
                tracks=frozenset({"left"}),
                breaks=frozenset({"left"}),
                on_block=-1,
                on_hit=8,
                on_counter_hit=12,
                blockstun=15,
                hitstun=24,
                pushback_block=400_000,
                pushback_hit=1_000_000,
                leaves_block=Leaves(distance=500_000),
                leaves_hit=Leaves(knockdown="face_up"),
                leaves_counter_hit=Leaves(wall="sticks", floor="breaks"),
            ),
        ),
        total=26,
        airborne=(Span(4, 10),),
        crouching=(Span(1, 3), Span(12, 14)),
        counter_state=(Span(20, 27),),
        invulnerable=(Shield(span=Span(1, 4), to=Catch()),),
        armour=(
            Armour(span=Span(2, 6), to=Catch(levels=frozenset({"high"}), tags=frozenset({"hand"})), hits=2),
        ),
        sidestep=(Sidestep(span=Span(3, 7), side="right"),),
        displacement=(Displacement(span=Span(1, 4), step=333_333),),
        cost=20,
        requires=Requires(
            stance="low", back_turned=True, near_wall=False, health_below=0.25, meter=20, follows=True
        ),
        tags=frozenset({"hand", "tool"}),
        note="Quick",
        source="own count",
        derived={
            "total": "first_active - 1 + active + recovery",
            "hits[0].blockstun": "on_block - 1 + active + recovery",
            "hits[0].hitstun": "on_hit - 1 + active + recovery",
        },
    )


def test_a_parry_is_read(tmp_path: Path) -> None:
    move = one(
        tmp_path,
        "{name: Ward, recovery: 14, parry: [{frames: [2, 10], catches: {tags: [hand], levels: [high]}, "
        "except: {levels: [low]}, outcomes: [{of: {tags: [hand]}, name: Turn, damage: 20, advantage: +12, "
        "leaves: {knockdown: face_up, distance: close}}, {damage: 5}]}]}",
    )
    assert move.parry == (
        Parry(
            span=Span(2, 11),
            catches=Catch(levels=frozenset({"high"}), tags=frozenset({"hand"})),
            excepting=Catch(levels=frozenset({"low"})),
            outcomes=(
                CatchOutcome(
                    of=Catch(tags=frozenset({"hand"})),
                    name="Turn",
                    damage=20,
                    advantage=12,
                    leaves=Leaves(knockdown="face_up", distance=800_000),
                ),
                CatchOutcome(of=Catch(), damage=5),
            ),
        ),
    )
    assert (move.total, move.derived) == (24, {"total": "last parry frame + recovery"})


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ("arrives: 17", FollowUp(move="next", arrives=Span(17, 18))),
        (
            "arrives: [17, 20], on: [block]",
            FollowUp(move="next", arrives=Span(17, 21), on=frozenset({"block"})),
        ),
        ("begins: [15, 20]", FollowUp(move="next", begins=Span(15, 21))),
        ("arrives: unknown", FollowUp(move="next")),
    ],
)
def test_follow_ups_are_read(tmp_path: Path, keys: str, expected: FollowUp) -> None:
    moves = f"{{name: Tap, total: 30, follow_ups: [{{move: next, {keys}}}]}}\n{{name: Next}}"
    move = loaded(tmp_path, moves).pack.characters["ash"].moves["tap"]
    assert move.follow_ups == (expected,)


def test_a_follow_up_may_be_a_system_option(tmp_path: Path) -> None:
    assert (
        one(tmp_path, "{name: Tap, follow_ups: [{move: backstep, begins: 3}]}").follow_ups[0].move
        == "backstep"
    )


def test_conventions_are_read(tmp_path: Path) -> None:
    pack = PACK + (
        "frame_rate: 50\nguards: {standing: {posture: standing}, crouching: {posture: crouching}}\n"
        "same_frame: {strike_strike: first}\ncounter_hit: [startup, recovery]\n"
    )
    conventions = loaded(tmp_path, "{name: Tap}", pack=pack).pack.conventions
    assert conventions.frame_rate == 50
    assert conventions.same_frame == {
        ("strike", "strike"): "first",
        ("strike", "throw"): "first",
        ("throw", "strike"): "second",
        ("throw", "throw"): "break",
    }
    assert conventions.counter_hit == {"startup", "recovery"}
    assert conventions.distances == {"close": 800_000, "far": 3_000_000}
    assert conventions.distance_unit == "pace"
    assert conventions.levels["high"].hits == {"standing", "airborne"}
    assert conventions.levels["throw"].kind == "throw"
    assert conventions.throw_breaks["left"].window == 20
    assert conventions.breakable_in == {"free", "startup"}
    assert conventions.blockstun_immune == Catch(levels=frozenset({"throw"}))
    assert conventions.knockdowns == {"face_up": "on the back"}


def test_conventions_have_defaults_that_are_not_guesses(tmp_path: Path) -> None:
    bare = "format: 1\nid: kiln\nlevels: {high: {hits: [standing], blocked_by: [standing]}}\n"
    conventions = loaded(tmp_path, "{name: Tap}", pack=bare).pack.conventions
    assert (conventions.frame_rate, conventions.startup_counts) == (60, "first_active")
    assert conventions.guards == {"standing": "standing", "crouching": "crouching"}
    assert conventions.counter_hit == {"startup"}
    assert conventions.breakable_in is None
    assert conventions.blockstun_immune is None
    assert conventions.same_frame[("strike", "strike")] == "trade"


# Guards and held options.


@pytest.mark.parametrize(
    ("keys", "spans"),
    [
        ("kind: movement, total: 24", []),
        ("kind: movement, total: 24, cannot_block: [1, 24]", []),
        ("kind: movement, total: 24, cannot_block: none", [Span(1, 25)]),
        ("kind: movement, total: 24, cannot_block: [1, 12]", [Span(13, 25)]),
        ("kind: movement, total: 24, cannot_block: [[10, 12], [1, 3]]", [Span(4, 10), Span(13, 25)]),
        ("kind: movement, total: 24, cannot_block: [[1, 9], [5, 7]]", [Span(10, 25)]),
        ("kind: movement, cannot_block: [1, 12]", [Span(13, FOREVER)]),
        ("kind: movement, total: 24, cannot_block: [5, held]", [Span(1, 5)]),
        ("kind: guard, guard: [{frames: [3, held], with: [standing, crouching]}]", [Span(3, FOREVER)]),
        ("kind: guard, total: 9, guard: [{frames: [3, held], with: [standing, crouching]}]", [Span(3, 10)]),
    ],
)
def test_frames_on_which_it_blocks(tmp_path: Path, keys: str, spans: list[Span]) -> None:
    assert one(tmp_path, f"{{name: Step, {keys}}}").guard == tuple(
        Guard(span=span, guards=BOTH) for span in spans
    )


def test_an_option_with_a_held_window_is_held(tmp_path: Path) -> None:
    assert one(tmp_path, "{name: Duck, kind: movement, crouching: [1, held]}").total == FOREVER
    assert one(tmp_path, "{name: Duck, kind: movement, total: held}").total == FOREVER
    assert one(tmp_path, "{name: Duck, kind: movement, crouching: [1, 9]}").total is None
    assert one(tmp_path, "{name: Wait, kind: attack, crouching: [1, held]}").total is None


@pytest.mark.parametrize(
    ("way", "step"), [("forward: 0.8", 57_143), ("back: 1.2", -85_714), ("forward: 0", 0)]
)
def test_movement_is_a_step_a_frame(tmp_path: Path, way: str, step: int) -> None:
    move = one(tmp_path, f"{{name: Dash, displacement: [{{frames: [1, 14], {way}}}]}}")
    assert move.displacement == (Displacement(span=Span(1, 15), step=step),)


# Several hits.


def test_tags_of_the_move_count_for_each_hit(tmp_path: Path) -> None:
    move = one(tmp_path, "{name: Two, tags: [hand], hits: [{startup: 9}, {startup: 20, tags: [tool]}]}")
    assert [hit.tags for hit in move.hits] == [{"hand"}, {"hand", "tool"}]
    assert move.tags == {"hand"}


def test_tags_of_a_hit_are_unknown_when_either_is(tmp_path: Path) -> None:
    move = one(tmp_path, "{name: Two, tags: unknown, hits: [{startup: 9, tags: [hand]}]}")
    assert move.hits[0].tags is None
    move = one(tmp_path, "{name: Two, tags: [hand], hits: [{startup: 9, tags: unknown}]}")
    assert move.hits[0].tags is None


def test_the_total_follows_the_last_hit_and_stun_is_not_guessed(tmp_path: Path) -> None:
    move = one(
        tmp_path,
        "{name: Two, recovery: 18, hits: [{startup: 12, active: 2, on_block: -3}, "
        "{startup: 20, active: 2, on_block: -5}]}",
    )
    assert move.total == 20 - 1 + 2 + 18
    assert [hit.blockstun for hit in move.hits] == [None, None]


# What follows from what.

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
    keys = ["on_block: -5, startup: 10, active: 3, recovery: 20", "blockstun: 15, startup: 10, total: 30",
            "on_block: -5, startup: 10, total: 30", "blockstun: 14, startup: 9, active: 3, recovery: 20"]  # fmt: skip
    for written in keys:
        move = one(tmp_path, f"{{name: Tap, {written}}}")
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
    hit = one(tmp_path, "{name: Tap, active: 3, recovery: 20, on_block: -12, blockstun: 14}").hits[0]
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
EXCEPT = "{{name: Ward, parry: [{{frames: [2, 10], catches: {catches}, except: {out}, outcomes: [{{of: {of}}}]}}]}}"


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
        (PARRY.format(catches="{tags: [hand]}", of="{tags: [tool]}") + "\n{name: Tap, level: low, tags: [hand, tool]}",
         False),
        (EXCEPT.format(catches="{tags: [hand]}", out="{levels: [low]}", of="{tags: [tool]}")
         + "\n{name: Tap, level: low, tags: [hand, tool]}", True),
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
