"""Windows of delays where the recovery of the one who delays is not recorded: what each single exchange says.

Outside check: none published; ``meet`` at every delay is checked by itself against the frame-by-frame walk.
"""

from __future__ import annotations

from collections import Counter
from random import Random

import msgspec

from advisor.timeline.delays import delay_windows
from advisor.timeline.exchange import meet
from advisor.timeline.side import Side
from tests.oracle.frame_walk import Body
from tests.oracle.random_moves import random_meeting, shown

PAIRS = 1_500
MOST = 30
BLANKS = ("reach", "tracks", "tags", "breaks", "level")


def side(body: Body) -> Side:
    return Side(
        option=body.option, free_at=body.free_at, held=body.held, prior=body.prior,
        prior_frame=body.prior_frame, lying=body.lying,
    )  # fmt: skip


def with_blanks(rng: Random, one: Side) -> Side:
    """Without its total, and every second time without a property of its first hit too."""
    option = msgspec.structs.replace(one.option, total=None)
    if option.hits and rng.random() < 0.5:
        hit = msgspec.structs.replace(option.hits[0], **{rng.choice(BLANKS): None})
        option = msgspec.structs.replace(option, hits=(hit, *option.hits[1:]))
    return msgspec.structs.replace(one, option=option)


def test_an_unknown_recovery_leaves_open_what_each_single_exchange_leaves_open() -> None:
    rng = Random(4)
    seen: Counter[str] = Counter()
    for seed in range(PAIRS):
        meeting = random_meeting(seed)
        me, them = with_blanks(rng, side(meeting.me)), side(meeting.them)
        if me.option.kind == "guard" or not them.option.hits:
            continue
        windows = delay_windows(meeting.conventions, me, them, meeting.distance, MOST, fine=True)
        assert [w.first for w in windows] == [0, *(w.last + 1 for w in windows[:-1])] and windows[-1].last == MOST
        for window in windows:
            for delay in range(window.first, window.last + 1):
                late = msgspec.structs.replace(me, delay=delay)
                single = meet(meeting.conventions, late, them, meeting.distance)
                assert (window.by, window.effect, window.missing) == (single.by, single.effect, single.missing), (
                    f"delay {delay}\n{shown(meeting)}\n{me.option}"
                )
                if delay == window.first:
                    assert window.frame == single.frame, f"delay {delay}\n{shown(meeting)}\n{me.option}"
                    touched = (single.phase, single.posture, single.breakable)
                    assert (window.phase, window.posture, window.breakable) == touched, shown(meeting)
                seen["open" if "mine.total" in single.missing else single.by] += 1
    assert seen["open"] >= 1_000
    assert all(seen[by] >= 1_000 for by in ("me", "them", "none")), seen
