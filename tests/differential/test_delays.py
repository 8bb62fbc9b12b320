"""Delay intervals against the frame-by-frame walk, and against ``meet`` where properties are unknown.

Outside check: none published; the walk is a second implementation.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from random import Random

import msgspec

from advisor.timeline.delays import DelayWindow, delay_windows
from advisor.timeline.exchange import meet
from tests.differential.test_exchange import SWAPPED, blanked, mirrored, side
from tests.oracle.frame_walk import walk
from tests.oracle.random_moves import Meeting, random_meeting, shown

FIRST_SEED = int(os.environ.get("DELAY_SEED", "0"))
PAIRS = 2_600
MOST = 19


def bare(meeting: Meeting) -> Meeting:
    """Every second exchange without armour: that is what is worked out over windows alone."""
    if meeting.seed % 2:
        return meeting
    me, them = (
        replace(body, option=msgspec.structs.replace(body.option, armour=())) for body in (meeting.me, meeting.them)
    )
    return replace(meeting, me=me, them=them)


def found(meeting: Meeting, most: int = MOST, *, fine: bool = False) -> list[DelayWindow]:
    return delay_windows(
        meeting.conventions, side(meeting.me), side(meeting.them), meeting.distance, most, fine=fine
    )  # fmt: skip


def spread(windows: list[DelayWindow], most: int = MOST) -> list[DelayWindow]:
    """The window of each delay; the intervals must follow each other from 0 on without holes."""
    out = [window for window in windows for _ in range(window.first, window.last + 1)]
    assert [w.first for w in windows] == [0, *(w.last + 1 for w in windows[:-1])]
    assert len(out) == most + 1
    return out


def test_delays_agree_with_the_frame_walk() -> None:
    compared = 0
    effects: Counter[str] = Counter()
    differing: list[str] = []
    for seed in range(FIRST_SEED, FIRST_SEED + PAIRS):
        meeting = bare(random_meeting(seed))
        for delay, window in enumerate(spread(found(meeting))):
            true = walk(meeting.conventions, replace(meeting.me, delay=delay), meeting.them, meeting.distance)
            compared += 1
            effects[true.effect] += 1
            frame_differs = delay == window.first and window.frame != true.frame
            if (window.by, window.effect) != (true.by, true.effect) or frame_differs:
                differing.append(f"{shown(meeting)}\ndelay {delay}\nwalk: {true}\nfound: {window}")
    assert not differing, f"{len(differing)} of {compared} differ\n\n" + "\n\n".join(differing[:3])
    assert compared >= 50_000
    assert all(effects[effect] >= 500 for effect in ("hit", "counter_hit", "blocked", "parried", "none"))
    assert all(effects[effect] >= 50 for effect in ("trade", "break")), effects


def test_fine_windows_tell_the_posture_and_what_can_be_broken() -> None:
    for seed in range(FIRST_SEED, FIRST_SEED + 400):
        meeting = bare(random_meeting(seed))
        for delay, window in enumerate(spread(found(meeting, fine=True))):
            true = walk(meeting.conventions, replace(meeting.me, delay=delay), meeting.them, meeting.distance)
            here = (window.by, window.effect, window.posture, window.breakable)
            assert here == (true.by, true.effect, true.posture, true.breakable), f"delay {delay}\n{shown(meeting)}"


def test_delays_with_unknown_properties_are_those_of_each_single_exchange() -> None:
    rng = Random(FIRST_SEED)
    hanging = 0
    for seed in range(FIRST_SEED, FIRST_SEED + 1_200):
        partial, _ = blanked(rng, bare(random_meeting(seed)))
        distance = None if rng.random() < 0.3 else partial.distance
        nearest, farthest = rng.choice(((0, None), (300_000, 1_200_000), (900_000, None)))
        me, them = side(partial.me), side(partial.them)
        windows = delay_windows(partial.conventions, me, them, distance, MOST, nearest=nearest, farthest=farthest)
        for delay, window in enumerate(spread(windows)):
            late = msgspec.structs.replace(me, delay=delay)
            single = meet(partial.conventions, late, them, distance, nearest=nearest, farthest=farthest)
            here = (window.by, window.effect, window.missing)
            assert here == (single.by, single.effect, single.missing), f"delay {delay}, {distance}\n{shown(partial)}"
            hanging += bool(window.missing)
    assert hanging >= 2_000


def test_swapping_the_sides_mirrors_delay_nought() -> None:
    for seed in range(FIRST_SEED, FIRST_SEED + 1_500):
        meeting = random_meeting(seed)
        meeting = replace(meeting, me=replace(meeting.me, delay=0), them=replace(meeting.them, delay=0))
        here, there = found(meeting, 0)[0], found(mirrored(meeting), 0)[0]
        assert (here.by, here.effect, here.frame) == (SWAPPED[there.by], there.effect, there.frame), shown(meeting)


def covered(meeting: Meeting) -> set[tuple[int, str]]:
    """Delays on which my attack touches, with what it does there."""
    return {(d, w.effect) for d, w in enumerate(spread(found(meeting))) if w.by == "me"}


def test_a_longer_active_window_loses_no_contact() -> None:
    """The last hit made longer at its end still does what it did on every delay on which it touched."""
    gained = 0
    for seed in range(FIRST_SEED, FIRST_SEED + 2_500):
        meeting = bare(random_meeting(seed))
        option = meeting.me.option
        if not option.hits or meeting.them.option.hits:
            continue
        last = option.hits[-1]
        longer = msgspec.structs.replace(last, active_stop=(last.active_stop or 0) + 2)
        changed = msgspec.structs.replace(option, hits=(*option.hits[:-1], longer), total=(option.total or 0) + 2)
        before, after = covered(meeting), covered(replace(meeting, me=replace(meeting.me, option=changed)))
        assert before <= after, shown(meeting)
        gained += len(after) > len(before)
    assert gained >= 50
