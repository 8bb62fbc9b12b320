"""The closed-form exchange against a frame-by-frame walk of the same two sides.

Outside check: none published; the walk is a second implementation, itself held to the worked
checks at the end of this module (common practice, no published source).
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from random import Random

import msgspec
import pytest

from advisor.pack.model import Armour, Catch, Conventions, Guard, Hit, Level, Move, Parry, Shield, Sidestep
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side
from advisor.units import FOREVER, Span
from tests.oracle.frame_walk import Body, Walked, walk
from tests.oracle.random_moves import Meeting, random_meeting, shown

FIRST_SEED = int(os.environ.get("EXCHANGE_SEED", "0"))
EXCHANGES = 10_000
MANY = 50_000
"""Exchanges of the longer run, see ``-m full``."""
BLANKED = 8_000
FIELDS = ("by", "effect", "frame", "posture", "breakable")

HIT_FIELDS = ("first_active", "active_stop", "level", "reach", "tags", "tracks")
MOVE_FIELDS = (
    "airborne", "crouching", "grounded", "invulnerable", "armour", "parry", "sidestep", "displacement", "total",
)  # fmt: skip
SWAPPED = {"me": "them", "them": "me", "both": "both", "none": "none"}


def side(body: Body) -> Side:
    return Side(
        option=body.option,
        free_at=body.free_at,
        held=body.held,
        prior=body.prior,
        prior_frame=body.prior_frame,
        delay=body.delay,
        lying=body.lying,
    )


def met(meeting: Meeting) -> Exchange:
    return meet(meeting.conventions, side(meeting.me), side(meeting.them), meeting.distance)


def walked(meeting: Meeting) -> Walked:
    return walk(meeting.conventions, meeting.me, meeting.them, meeting.distance)


def outcome(result: Exchange | Walked) -> dict[str, object]:
    return {name: getattr(result, name) for name in FIELDS}


def case_counts(meeting: Meeting, result: Walked) -> list[str]:
    """Names of the cases that this exchange exercises."""
    cases = [*setting(meeting, result)]
    cases += [f"effect {result.effect}", f"by {result.by}", f"posture {result.posture}"]
    cases += {f"evaded by {reason}" for _, _, reason in result.evaded}
    if result.breakable:
        cases.append("breakable")
    if result.armoured:
        cases.append("armoured")
    if len({frame for _, frame in result.armoured}) < len(result.armoured):
        cases.append("together armoured armoured")
    if result.together is not None:
        plain = sorted("hit" if effect == "counter_hit" else effect for effect in result.together)
        cases.append("together " + " ".join(plain))
    return cases


def setting(meeting: Meeting, result: Walked) -> Iterator[str]:
    """Where the two stood when the deciding contact came: delayed, held, on which option, by a throw or not."""
    sides = {"me": meeting.me, "them": meeting.them}
    if result.by not in sides or result.frame is None:
        return
    striker = sides[result.by]
    struck = sides[SWAPPED[result.by]]
    if striker.delay:
        yield "delayed striker"
    if struck.delay and result.frame > struck.free_at + struck.delay:
        yield "delayed struck"
    if result.frame <= struck.free_at:
        yield f"held {struck.held}"
    else:
        yield f"on a {struck.option.kind}"
        if struck.held == "knockdown":
            yield "getting up"
    own = result.frame - striker.free_at - striker.delay
    for hit in striker.option.hits:
        if hit.first_active is None or hit.active_stop is None or not hit.first_active <= own < hit.active_stop:
            continue
        if meeting.conventions.levels[hit.level or ""].kind == "throw":
            yield f"throw {result.effect}"
            yield f"throw on {result.posture}"


LEAST = {
    **{f"effect {effect}": 200 for effect in ("blocked", "parried", "trade", "break", "none")},
    "effect hit": 2000,
    "effect counter_hit": 2000,
    **{f"by {by}": 200 for by in ("me", "them", "both", "none")},
    **{f"posture {posture}": 400 for posture in ("standing", "crouching", "airborne", "grounded")},
    **{f"held {held}": 200 for held in ("recovery", "blockstun", "hitstun", "knockdown")},
    **{f"on a {kind}": 400 for kind in ("attack", "parry", "movement", "guard")},
    **{f"delayed {side}": 2000 for side in ("striker", "struck")},
    "getting up": 400,
    "throw hit": 400,
    "throw parried": 50,
    "throw on grounded": 100,
    "throw on crouching": 50,
    **{f"evaded by {reason}": 300 for reason in ("posture", "invulnerable", "sidestep", "reach")},
    "breakable": 300,
    "armoured": 300,
    "together armoured armoured": 10,
    "together hit hit": 300,
    "together parried parried": 20,
    "together hit parried": 50,
    "together blocked parried": 20,
    "together armoured parried": 20,
    "together blocked hit": 50,
    "together armoured hit": 50,
    "together blocked blocked": 10,
    "together armoured blocked": 15,
}
"""The least count of each case in the longer run, so that agreement is not agreement on nothing."""


@pytest.mark.parametrize("exchanges", [EXCHANGES, pytest.param(MANY, marks=pytest.mark.full)])
def test_exchange_agrees_with_the_frame_walk(exchanges: int) -> None:
    counts: Counter[str] = Counter()
    differing: list[str] = []
    for seed in range(FIRST_SEED, FIRST_SEED + exchanges):
        meeting = random_meeting(seed)
        true = walked(meeting)
        counts.update(case_counts(meeting, true))
        found = met(meeting)
        armoured = found.armoured is not None and sorted(found.armoured) == sorted(true.armoured)
        if outcome(found) != outcome(true) or not found.decided or not armoured:
            differing.append(
                f"{shown(meeting)}\nwalk: {outcome(true)} armoured {true.armoured}\n"
                f"meet: {outcome(found)} armoured {found.armoured}, decided {found.decided}, "
                f"missing {sorted(found.missing)}"
            )
    assert not differing, f"{len(differing)} of {exchanges} differ\n\n" + "\n\n".join(differing[:3])
    short = {case: counts[case] for case, least in LEAST.items() if counts[case] < least * exchanges // MANY}
    assert not short, f"too few of {short}"


def mirrored(meeting: Meeting) -> Meeting:
    """The same exchange seen from the other side."""
    turn = {"first": "second", "second": "first"}
    table = meeting.conventions.same_frame
    conventions = msgspec.structs.replace(
        meeting.conventions,
        same_frame={(theirs, mine): turn.get(word, word) for (mine, theirs), word in table.items()},
    )
    return replace(meeting, conventions=conventions, me=meeting.them, them=meeting.me)


def test_swapping_the_sides_mirrors_the_outcome() -> None:
    for seed in range(FIRST_SEED, FIRST_SEED + 3_000):
        meeting = random_meeting(seed)
        for run in (met, walked):
            here, there = outcome(run(meeting)), outcome(run(mirrored(meeting)))
            there["by"] = SWAPPED[str(there["by"])]
            assert here == there, f"{run.__name__}: {here} but mirrored {there}\n{shown(meeting)}"


def hit_blanked(rng: Random, option: Move) -> tuple[Move, str]:
    name = rng.choice(HIT_FIELDS)
    number = rng.randrange(len(option.hits))
    hits = list(option.hits)
    hits[number] = msgspec.structs.replace(hits[number], **{name: None})
    return msgspec.structs.replace(option, hits=tuple(hits)), name


def with_body(meeting: Meeting, whose: str, body: Body) -> Meeting:
    return replace(meeting, me=body) if whose == "me" else replace(meeting, them=body)


def blanked(rng: Random, meeting: Meeting) -> tuple[Meeting, str]:
    """The exchange with one more property unknown, and whose it is with its field: ``theirs.reach``."""
    whose = rng.choice(("me", "them"))
    role = {"me": "mine", "them": "theirs"}[whose]
    body: Body = getattr(meeting, whose)
    option = body.option
    if body.held == "recovery" and body.prior is not None and rng.random() < 0.3:
        name = rng.choice(("airborne", "crouching", "grounded", "invulnerable"))
        changed = replace(body, prior=msgspec.structs.replace(body.prior, **{name: None}))
        return with_body(meeting, whose, changed), f"{role}.prior.{name}"
    if option.hits and rng.random() < 0.6:
        option, name = hit_blanked(rng, option)
    else:
        name = rng.choice([name for name in MOVE_FIELDS if name != "total" or option.kind != "guard"])
        option = msgspec.structs.replace(option, **{name: None})
    return with_body(meeting, whose, replace(body, option=option)), f"{role}.{name}"


@pytest.mark.parametrize("exchanges", [BLANKED, pytest.param(20_000, marks=pytest.mark.full)])
def test_what_is_decided_without_a_property_is_true(exchanges: int) -> None:
    """One property unknown, or up to four: a decided answer is the one that the whole truth gives."""
    rng = Random(FIRST_SEED)
    decided: Counter[str] = Counter()
    undecided: Counter[str] = Counter()
    wrong: list[str] = []
    for seed in range(FIRST_SEED, FIRST_SEED + exchanges):
        meeting = random_meeting(seed)
        true = walked(meeting)
        partial, blank = blanked(rng, meeting)
        blanks = [blank]
        for _ in range(rng.choice((0, 0, 0, 1, 3))):
            partial, blank = blanked(rng, partial)
            blanks.append(blank)
        found = met(partial)
        tally = decided if found.decided else undecided
        if len(blanks) == 1:
            tally[blank.rsplit(".", 1)[1]] += 1
        if not found.decided:
            roles = {blank.split(".")[0] for blank in blanks}
            named = {name.split(".")[0] for name in found.missing}
            if not named or not named <= roles:
                wrong.append(f"{blanks} unknown, but missing {sorted(found.missing)}\n{shown(partial)}")
            continue
        same = (found.by, found.effect) == (true.by, true.effect)
        if not same or found.frame not in (None, true.frame):
            wrong.append(f"without {blanks}\n{shown(meeting)}\nwalk: {outcome(true)}\nmeet: {outcome(found)}")
    assert not wrong, f"{len(wrong)} of {exchanges} wrong\n\n" + "\n\n".join(wrong[:3])
    # Both answers must be common for every property: never deciding would be sound, and useless.
    for field in (*HIT_FIELDS, *MOVE_FIELDS):
        assert decided[field] >= 20, f"`{field}` unknown: decided only {decided[field]} times"
        assert undecided[field] >= 3, f"`{field}` unknown: undecided only {undecided[field]} times"


def test_unknown_reach_and_first_frame_do_not_rule_out_a_contact() -> None:
    """Armour may take the hit early, or the hit comes after it: nothing is decided without both."""
    armoured = option("movement", armour=(Armour(span=Span(1, 5), to=Catch()),))
    late = strike(10)
    partial = msgspec.structs.replace(late.hits[0], first_active=None, reach=None)
    unknown = msgspec.structs.replace(late, hits=(partial,))
    assert ended(Body(late), Body(armoured)) == ("me", "hit", 10)
    assert ended(Body(strike(4)), Body(armoured)) == ("none", "none", None)
    assert not meet(RULES, Side(option=unknown), Side(option=armoured), 0).decided


@pytest.mark.parametrize(
    ("windows", "level"),
    [({"invulnerable": (Shield(span=Span(10, 12), to=Catch()),)}, "high"), ({"airborne": (Span(10, 12),)}, "throw")],
)
def test_unknown_reach_is_not_ruled_out_by_a_miss_for_another_reason(windows: dict[str, object], level: str) -> None:
    """A miss on 10 may be evasion and not reach, and then frame 12, past the armour, still counts."""
    whole = strike(10, level, active_stop=14)
    known = option("movement", total=11, armour=(Armour(span=Span(10, 12), to=Catch()),), **windows)
    unknown = msgspec.structs.replace(known, **dict.fromkeys(windows))
    partial = msgspec.structs.replace(whole, hits=(msgspec.structs.replace(whole.hits[0], reach=None),))
    rules = msgspec.structs.replace(RULES, guards={})
    evading = walk(rules, Body(whole), Body(known), 0)
    assert (evading.by, evading.effect, evading.frame) == ("me", "hit", 12)
    assert not meet(rules, Side(option=partial), Side(option=unknown), 0).decided


# The walk itself, on the domain's worked checks: common practice, no published source.

HIGH = Level(id="high", hits=frozenset({"standing", "airborne"}), blocked_by=frozenset({"standing"}))
UNBLOCKABLE = Level(id="unblockable", hits=frozenset({"standing", "airborne"}), blocked_by=frozenset())
LOW = Level(id="low", hits=frozenset({"standing", "grounded"}), blocked_by=frozenset({"crouching"}))
THROW = Level(id="throw", hits=frozenset({"standing"}), blocked_by=frozenset(), kind="throw")
RULES = Conventions(
    levels={level.id: level for level in (HIGH, UNBLOCKABLE, LOW, THROW)},
    breakable_in=frozenset({"free"}),
)
RUN = Span(1, 40)


NO_WINDOWS = Move(
    id="none",
    name="none",
    kind="movement",
    total=39,
    airborne=(),
    crouching=(),
    invulnerable=(),
    armour=(),
    parry=(),
    sidestep=(),
    displacement=(),
    counter_state=(),
)
HAND = Hit(level="high", tags=frozenset({"hand"}), tracks=frozenset(), breaks=frozenset())


def option(kind: str, **windows: object) -> Move:
    return msgspec.structs.replace(NO_WINDOWS, id=kind, name=kind, kind=kind, **windows)


def strike(first_active: int, level: str = "high", reach: int = 10, **more: object) -> Move:
    hit = msgspec.structs.replace(
        HAND, **{"first_active": first_active, "active_stop": first_active + 1, "level": level, "reach": reach, **more}
    )
    return option("attack", hits=(hit,))


GUARDING = option("guard", total=FOREVER, guard=(Guard(span=Span(1, FOREVER), guards=frozenset({"standing"})),))
CATCHING = option(
    "parry",
    parry=(
        Parry(
            span=Span(2, 11),
            catches=Catch(tags=frozenset({"hand"})),
            excepting=Catch(tags=frozenset({"elbow", "weapon"})),
        ),
    ),
)


def ended(me: Body, them: Body, distance: int = 0) -> tuple[str, str, int | None]:
    result = walk(RULES, me, them, distance)
    return result.by, result.effect, result.frame


@pytest.mark.parametrize(("left", "effect"), [(11, "hit"), (10, "hit"), (9, "blocked")])
def test_punish_up_to_the_last_frame(left: int, effect: str) -> None:
    recovering = Body(GUARDING, free_at=left, held="recovery")
    assert ended(Body(strike(10)), recovering) == ("me", effect, 10)


@pytest.mark.parametrize(("left", "effect"), [(0, "parried"), (6, "parried"), (7, "parried"), (8, "parried"),
                                              (9, "counter_hit"), (10, "hit")])  # fmt: skip
def test_parry_after_a_blocked_move_meets_a_ten_frame_punch(left: int, effect: str) -> None:
    me = Body(CATCHING, free_at=left, held="recovery")
    assert ended(me, Body(strike(10))) == ("them", effect, 10)


@pytest.mark.parametrize(("free_at", "effect"), [(-1, "hit"), (0, "parried")])
def test_parry_ends_after_its_last_frame(free_at: int, effect: str) -> None:
    assert ended(Body(CATCHING, free_at=free_at), Body(strike(10)))[1] == effect


def test_tags_and_not_levels_decide_a_catch() -> None:
    me = Body(CATCHING, free_at=8, held="recovery")
    elbow = strike(10, tags=frozenset({"elbow"}))
    both = strike(10, tags=frozenset({"hand", "weapon"}))
    assert ended(me, Body(elbow)) == ("them", "hit", 10)
    assert ended(me, Body(both)) == ("them", "hit", 10)
    assert ended(me, Body(strike(10, "unblockable"))) == ("them", "parried", 10)


@pytest.mark.parametrize(
    ("arrives", "effect"), [(14, "blocked"), (15, "counter_hit"), (16, "parried"), (17, "parried")]
)
def test_string_jails_or_leaves_a_gap(arrives: int, effect: str) -> None:
    me = Body(CATCHING, free_at=14, held="blockstun")
    assert ended(me, Body(strike(arrives))) == ("them", effect, arrives)


def test_reach_decides_before_frames() -> None:
    lying = Body(GUARDING, free_at=30, held="recovery")
    assert ended(Body(strike(9, reach=5)), lying, 6) == ("none", "none", None)
    assert ended(Body(strike(10, reach=6)), lying, 6) == ("me", "hit", 10)


def test_small_low_against_wake_up_options() -> None:
    def roll(to: str) -> Body:
        return Body(option("movement", sidestep=(Sidestep(span=RUN, side=to),)))

    low = Body(strike(12, "low", tracks=frozenset({"left"})))
    assert ended(low, roll("left")) == ("me", "hit", 12)
    assert ended(low, roll("right")) == ("none", "none", None)
    assert ended(low, Body(strike(20))) == ("me", "counter_hit", 12)


def test_move_that_looks_worse_baits_the_punish_into_the_parry() -> None:
    jump = option("attack", hits=strike(5).hits, airborne=(Span(1, 20),))
    me = Body(CATCHING, free_at=8, held="recovery", prior=jump, prior_frame=12)
    assert ended(me, Body(strike(10))) == ("them", "parried", 10)
    slower = Body(option("attack", hits=strike(20).hits), free_at=8, held="recovery", prior=jump)
    assert walk(RULES, slower, Body(strike(8)), 0).posture == "airborne"
    assert walk(RULES, slower, Body(strike(9)), 0).posture == "standing"


@pytest.mark.parametrize(
    ("advantage", "result"),
    [(3, ("me", "counter_hit", 12)), (2, ("both", "trade", 12)), (1, ("them", "counter_hit", 11)),
     (-2, ("them", "counter_hit", 10))],
)  # fmt: skip
def test_duel_goes_to_the_earlier_contact(advantage: int, result: tuple[str, str, int]) -> None:
    me = Body(strike(12), free_at=max(0, -advantage))
    them = Body(strike(10), free_at=max(0, advantage))
    assert ended(me, them) == result


def test_same_frame_defaults() -> None:
    hit, throw = Body(strike(10)), Body(strike(10, "throw"))
    assert ended(hit, hit) == ("both", "trade", 10)
    assert ended(hit, throw) == ("me", "hit", 10)
    assert ended(throw, hit) == ("them", "hit", 10)
    assert ended(throw, throw) == ("both", "break", 10)


def test_invulnerable_frames_let_a_strike_pass_but_not_a_throw() -> None:
    step = option("movement", invulnerable=(Shield(span=RUN, to=Catch(levels=frozenset({"high"}))),))
    assert ended(Body(strike(10)), Body(step)) == ("none", "none", None)
    assert ended(Body(strike(10, "throw")), Body(step)) == ("me", "hit", 10)
