"""A strip over a random meeting of the oracle, so that both can be asked about the same frames."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from advisor.facts import Pair, Situation
from advisor.studies.replay_frames import Strip
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side
from tests.oracle.frame_walk import Body
from tests.oracle.random_moves import Meeting

__all__ = ["side_of", "strip_of"]


def side_of(body: Body) -> Side:
    return Side(
        option=body.option, free_at=body.free_at, held=body.held, prior=body.prior, prior_frame=body.prior_frame,
        delay=body.delay, lying=body.lying,
    )  # fmt: skip


def strip_of(meeting: Meeting) -> tuple[Strip, Exchange]:
    """The strip of a meeting; of situation and pair it has what the strip looks at."""
    me, them = side_of(meeting.me), side_of(meeting.them)
    exchange = meet(meeting.conventions, me, them, meeting.distance)
    pack: Any = SimpleNamespace(conventions=meeting.conventions)
    situation = SimpleNamespace(
        pack=pack, distance=meeting.distance, nearest=meeting.distance, farthest=meeting.distance,
        me=SimpleNamespace(name="Left"), them=SimpleNamespace(name="Right"),
    )  # fmt: skip
    pair = SimpleNamespace(
        outcome=None, exchange=exchange, me=me, them=them, mine=SimpleNamespace(move=me.option),
        theirs=SimpleNamespace(move=them.option),
    )  # fmt: skip
    return Strip(cast(Situation, situation), cast(Pair, pair), me, them, exchange), exchange
