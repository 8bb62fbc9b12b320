"""From the written form to the normalised one: conventions, kinds, every property, windows, several hits."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.pack.load import load_pack
from advisor.pack.model import (
    Armour,
    Catch,
    CatchOutcome,
    Displacement,
    FollowUp,
    Guard,
    Hit,
    Knockdown,
    Leaves,
    Move,
    Parry,
    Requires,
    Shield,
    Sidestep,
)
from advisor.units import FOREVER, Span
from tests.unit.pack.pack_folder import PACK, loaded, one_move, write_pack

BOTH = frozenset({"standing", "crouching"})


# How startup is counted.


@pytest.mark.parametrize(
    ("convention", "startup", "first"),
    [("first_active", 10, 10), ("before_active", 10, 11), ("first_active", 1, 1), ("before_active", 0, 1)],
)
def test_startup_is_counted_as_the_pack_says(
    tmp_path: Path, convention: str, startup: int, first: int
) -> None:
    pack = PACK + f"startup_counts: {convention}\n"
    move = one_move(tmp_path, f"{{name: Tap, startup: {startup}, active: 3, recovery: 12}}", pack=pack)
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
    move = one_move(tmp_path, f"{{name: Tap, {keys}}}" if keys else "{name: Tap}")
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
    assert one_move(tmp_path, f"{{name: '{name}'}}").id == made


def test_the_name_is_the_id_without_one(tmp_path: Path) -> None:
    assert one_move(tmp_path, "{id: tap}").name == "tap"


# Every property, once.


def test_every_property_is_read(tmp_path: Path) -> None:
    keys = (
        "id: tap, name: Tap, input: A, level: high, startup: 10, active: 2, recovery: 15, damage: 8, "
        "chip: 1.5, "
        "reach: far, tracking: left, breaks: [left], on_block: -1, on_hit: 8, on_counter_hit: 12, "
        "pushback: {block: 0.4, hit: 1}, tags: [hand, tool], note: Quick, source: own count, "
        "leaves: {block: {distance: 0.5}, hit: {knockdown: face_up}, "
        "counter_hit: {wall: sticks, floor: breaks}}, "
        "airborne: [4, 9], crouching: [[1, 2], [12, 13]], counter_state: [20, held], "
        "invulnerable: [{frames: [1, 3]}], "
        "armour: [{frames: [2, 5], levels: [high], tags: [hand], hits: 2}], "
        "sidestep: [{frames: [3, 6], side: right}], displacement: [{frames: [1, 3], forward: 1}], cost: 20, "
        "requires: {stance: low, back_turned: true, near_wall: false, health_below: 0.25, meter: 20, "
        "follows: true}"
    )
    move = one_move(tmp_path, f"{{{keys}}}")
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
    move = one_move(
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
        one_move(tmp_path, "{name: Tap, follow_ups: [{move: backstep, begins: 3}]}").follow_ups[0].move
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
    assert conventions.breakable_in == frozenset({"free", "startup"})
    assert conventions.blockstun_immune == Catch(levels=frozenset({"throw"}))
    assert conventions.knockdowns == {
        "face_up": Knockdown(id="face_up", meaning="on the back", wake_ups=("get_up", "roll")),
        "face_down": Knockdown(id="face_down", meaning="on the front"),
    }


def test_wake_up_options_stand_apart_from_the_system_options(tmp_path: Path) -> None:
    pack = load_pack(write_pack(tmp_path)).pack
    assert list(pack.system) == ["guard", "backstep"]
    assert list(pack.wake_ups) == ["get_up", "roll"]
    assert pack.wake_ups["get_up"].grounded == (Span(1, 9),)
    assert pack.wake_ups["roll"].grounded == (Span(1, 7), Span(11, 17))
    assert pack.wake_ups["roll"].wakes_from == frozenset()


def test_states_that_a_move_wakes_from(tmp_path: Path) -> None:
    moves = load_pack(write_pack(tmp_path)).pack.characters["ash"].moves
    assert moves["spring"].wakes_from == frozenset({"face_up"})
    assert moves["spring"].grounded == (Span(1, 8),)
    assert moves["tap"].wakes_from == frozenset()


@pytest.mark.parametrize(
    ("written", "spans"),
    [("", ()), (", grounded: none", ()), (", grounded: unknown", None), (", grounded: null", None),
     (", grounded: [3, held]", (Span(3, 21),)), (", grounded: [[1, 2], [5, 5]]", (Span(1, 3), Span(5, 6)))],
)  # fmt: skip
def test_frames_on_the_ground(tmp_path: Path, written: str, spans: tuple[Span, ...] | None) -> None:
    """Left out they are none, in any pack: only wake-up options have them."""
    move = one_move(tmp_path, f"{{id: rise, kind: movement, total: 20{written}}}")
    assert move.grounded == spans


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
    assert one_move(tmp_path, f"{{name: Step, {keys}}}").guard == tuple(
        Guard(span=span, guards=BOTH) for span in spans
    )


def test_an_option_with_a_held_window_is_held(tmp_path: Path) -> None:
    assert one_move(tmp_path, "{name: Duck, kind: movement, crouching: [1, held]}").total == FOREVER
    assert one_move(tmp_path, "{name: Duck, kind: movement, total: held}").total == FOREVER
    assert one_move(tmp_path, "{name: Duck, kind: movement, crouching: [1, 9]}").total is None
    assert one_move(tmp_path, "{name: Wait, kind: attack, crouching: [1, held]}").total is None


@pytest.mark.parametrize(
    ("way", "step"), [("forward: 0.8", 57_143), ("back: 1.2", -85_714), ("forward: 0", 0)]
)
def test_movement_is_a_step_a_frame(tmp_path: Path, way: str, step: int) -> None:
    move = one_move(tmp_path, f"{{name: Dash, displacement: [{{frames: [1, 14], {way}}}]}}")
    assert move.displacement == (Displacement(span=Span(1, 15), step=step),)


# Several hits.


def test_tags_of_the_move_count_for_each_hit(tmp_path: Path) -> None:
    move = one_move(tmp_path, "{name: Two, tags: [hand], hits: [{startup: 9}, {startup: 20, tags: [tool]}]}")
    assert [hit.tags for hit in move.hits] == [frozenset({"hand"}), frozenset({"hand", "tool"})]
    assert move.tags == {"hand"}


def test_tags_of_a_hit_are_unknown_when_either_is(tmp_path: Path) -> None:
    move = one_move(tmp_path, "{name: Two, tags: unknown, hits: [{startup: 9, tags: [hand]}]}")
    assert move.hits[0].tags is None
    move = one_move(tmp_path, "{name: Two, tags: [hand], hits: [{startup: 9, tags: unknown}]}")
    assert move.hits[0].tags is None


def test_the_total_follows_the_last_hit_and_stun_is_not_guessed(tmp_path: Path) -> None:
    move = one_move(
        tmp_path,
        "{name: Two, recovery: 18, hits: [{startup: 12, active: 2, on_block: -3}, "
        "{startup: 20, active: 2, on_block: -5}]}",
    )
    assert move.total == 20 - 1 + 2 + 18
    assert [hit.blockstun for hit in move.hits] == [None, None]
