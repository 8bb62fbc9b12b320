"""An active window made longer at its end never loses a contact.

Checked on random exchanges for the closed form and the frame walk alike; common practice, no
published source.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random

import msgspec

from advisor.pack.model import Move
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side
from tests.oracle.frame_walk import Body, Walked, walk
from tests.oracle.random_moves import Meeting, random_meeting, shown

EXCHANGES = 6_000


def lengthened(rng: Random, option: Move, room: int) -> tuple[Move, int] | None:
    """The attack with one hit active for up to ``room`` frames more, and the first own frame added.

    The move grows with it where it must; None when the next hit leaves no room.
    """
    number = rng.randrange(len(option.hits))
    hits = list(option.hits)
    stop = hits[number].active_stop
    total = option.total
    assert stop is not None
    assert total is not None
    longer = stop + rng.randint(1, room)
    if number + 1 < len(hits):
        longer = min(longer, hits[number + 1].first_active or 0)
    if longer <= stop:
        return None
    hits[number] = msgspec.structs.replace(hits[number], active_stop=longer)
    return msgspec.structs.replace(option, hits=tuple(hits), total=max(total, longer - 1)), stop


def side(body: Body) -> Side:
    return Side(
        option=body.option, free_at=body.free_at, held=body.held, prior=body.prior,
        prior_frame=body.prior_frame, delay=body.delay, lying=body.lying,
    )  # fmt: skip


def met(meeting: Meeting) -> Exchange:
    return meet(meeting.conventions, side(meeting.me), side(meeting.them), meeting.distance)


def walked(meeting: Meeting) -> Walked:
    return walk(meeting.conventions, meeting.me, meeting.them, meeting.distance)


def of_me(result: Exchange | Walked) -> bool:
    """Whether my attack has a part in what decides."""
    return result.by in ("me", "both")


def told(meeting: Meeting, before: Exchange | Walked, after: Exchange | Walked) -> str:
    here, there = ((one.by, one.effect, one.frame) for one in (before, after))
    return f"{here} became {there} in\n{shown(meeting)}"


def test_a_longer_active_window_never_loses_a_contact() -> None:
    rng = Random(7)
    seen: Counter[str] = Counter()
    for seed in range(EXCHANGES):
        meeting = random_meeting(seed)
        if not meeting.me.option.hits:
            continue
        longer = lengthened(rng, meeting.me.option, 6)
        if longer is None:
            continue
        option, stop = longer
        grown = replace(meeting, me=replace(meeting.me, option=option))
        added = meeting.me.free_at + meeting.me.delay + stop
        for run in (met, walked):
            before, after = run(meeting), run(grown)
            if of_me(before):
                assert before.frame is not None
                assert of_me(after), told(grown, before, after)
                assert after.frame is not None
                assert after.frame <= before.frame, told(grown, before, after)
                if before.frame < added:
                    alike = (before.by, before.effect, before.frame) == (after.by, after.effect, after.frame)
                    assert alike, told(grown, before, after)
                    seen["contact kept"] += 1
            elif of_me(after):
                seen[f"contact won from {before.by}"] += 1
            if before.by == "them":
                # Theirs is only lost to a contact of mine, never to a miss.
                assert after.by != "none", told(grown, before, after)
    assert seen["contact kept"] >= 2_000
    assert seen["contact won from none"] >= 100
    assert seen["contact won from them"] >= 20


def test_its_own_first_contact_stays() -> None:
    """What the closed form says of one attack by itself, whoever comes first."""
    rng = Random(11)
    kept = 0
    for seed in range(EXCHANGES // 2):
        meeting = random_meeting(seed)
        longer = lengthened(rng, meeting.me.option, 4) if meeting.me.option.hits else None
        if longer is None:
            continue
        grown = replace(meeting, me=replace(meeting.me, option=longer[0]))
        before, after = met(meeting).mine, met(grown).mine
        if before is not None:
            kept += 1
            assert after is not None, shown(grown)
            assert after.frame is not None
            assert before.frame is not None
            assert after.frame <= before.frame, shown(grown)
    assert kept >= 800
