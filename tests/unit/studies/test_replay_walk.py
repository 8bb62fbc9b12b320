"""The strip against the tests' own simulator: the same phases, postures, distances, misses and armour, frame by frame.

Outside check: none published; the walk is a second implementation that shares no code with the product.
"""

from __future__ import annotations

import os
from collections import Counter
from functools import cache

from advisor.studies.replay_events import events_of
from advisor.studies.replay_frames import OTHER
from advisor.units import from_micro
from tests.oracle.frame_walk import Tally as Used
from tests.oracle.frame_walk import active_hit, guards, moved, phase, posture, walk
from tests.oracle.random_moves import random_meeting, shown
from tests.unit.studies.replay_walk import strip_of

SEED = int(os.environ.get("REPLAY_SEED", "0"))
MEETINGS = 1500
FRAMES = 60


@cache
def walked() -> Counter[str]:
    """Every frame of many meetings held against the walk; what came up is counted."""
    seen: Counter[str] = Counter()
    for seed in range(SEED, SEED + MEETINGS):
        meeting = random_meeting(seed)
        strip, exchange = strip_of(meeting)
        bodies = {"me": meeting.me, "them": meeting.them}
        upto = FRAMES if exchange.frame is None else exchange.frame
        for frame in range(1, upto + 1):
            found = strip.at(frame)
            apart = meeting.distance - moved(meeting.me, frame) - moved(meeting.them, frame)
            assert found.distance == from_micro(apart), shown(meeting)
            for who, body in bodies.items():
                side = getattr(found, who)
                assert (side.phase, side.posture) == (phase(body, frame), posture(body, frame)), shown(meeting)
                on = {g for w in side.windows if w.kind == "guard" for g in w.to.split(", ")}
                assert on == guards(meeting.conventions, body, frame), shown(meeting)
                active = active_hit(body, Used(), frame)
                numbers = [w.number for w in side.windows if w.kind == "active"]
                assert numbers[:1] == ([] if active is None else [active[0] + 1]), shown(meeting)
                seen[side.phase] += 1
                seen[f"posture {side.posture}"] += 1
    return seen


def test_every_frame_is_as_the_walk_has_it() -> None:
    seen = walked()
    for word in ("free", "startup", "active", "recovery", "blockstun", "hitstun", "knockdown", "moving", "guarding"):
        assert seen[word] > 300, (word, seen)
    for word in ("standing", "crouching", "airborne", "grounded"):
        assert seen[f"posture {word}"] > 300, (word, seen)


def test_misses_and_armour_are_those_of_the_walk() -> None:
    seen: Counter[str] = Counter()
    for seed in range(SEED, SEED + MEETINGS):
        meeting = random_meeting(seed)
        strip, exchange = strip_of(meeting)
        told = walk(meeting.conventions, meeting.me, meeting.them, meeting.distance)
        upto = FRAMES if exchange.frame is None else exchange.frame
        events = events_of(strip, upto)
        missed = {
            (e.by, frame): e.kind for e in events if e.kind in ("reach", "posture", "invulnerable", "sidestep")
            for frame in range(e.frame, e.last + 1)
        }  # fmt: skip
        assert missed.keys() == {(by, frame) for by, frame, _ in told.evaded if frame <= upto}, shown(meeting)
        for by, frame, reason in told.evaded:
            if frame <= upto and missed[by, frame] != "reach":
                # Both look at posture, invulnerability and sidestep in that order; reach comes first or last.
                assert missed[by, frame] == reason, shown(meeting)
            seen[reason] += 1
        taken = {(e.by, frame) for e in events if e.kind == "armoured" for frame in range(e.frame, e.last + 1)}
        assert taken == set(told.armoured), shown(meeting)
        seen["armoured"] += len(taken)
        assert not [e for e in events if e.kind in ("may_touch", "would_touch")], shown(meeting)
        deciding = [(e.kind, e.frame) for e in events if e.kind == told.effect]
        assert deciding == [(told.effect, told.frame if told.frame is not None else upto)], shown(meeting)
    for word in ("reach", "posture", "invulnerable", "sidestep", "armoured"):
        assert seen[word] > 30, (word, seen)


def test_the_struck_side_is_the_one_that_the_attack_was_not_of() -> None:
    """After a contact that lands the attacker goes on with its option and the struck side with nothing."""
    held = 0
    for seed in range(SEED, SEED + 300):
        strip, exchange = strip_of(random_meeting(seed))
        if exchange.frame is None or exchange.effect not in ("hit", "counter_hit", "blocked"):
            continue
        later = strip.at(exchange.frame + 1)
        assert getattr(later, OTHER[exchange.by]).doing == "held"
        assert getattr(later, OTHER[exchange.by]).own is None
        assert later.after and later.distance is None
        held += 1
    assert held > 60
