"""How strict a response is: on how many frames it may be started and still win."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from advisor.facts import Pair, Situation
from advisor.timeline.exchange import Exchange, meet
from advisor.verdicts import Judged

__all__ = ["window_of"]

MOST = 60
LANDS = ("hit", "counter_hit")


def window_of(situation: Situation, pairs: Sequence[Pair], judged: Sequence[Judged]) -> int | None:
    """Frames of the window, the first one included, over all replies that it beats.

    None when it beats nothing or continues a string. Units: frames; 1 is a just frame, ``MOST`` means
    that many or more.
    """
    widths = [
        _width(situation, pair, verdict.verdict)
        for pair, verdict in zip(pairs, judged, strict=True)
        if verdict.verdict in ("guaranteed", "beats") and pair.exchange and not pair.mine.follows
    ]
    return min(widths) if widths else None


def _width(situation: Situation, pair: Pair, verdict: str) -> int:
    """Delay my option frame by frame until the outcome is no longer the one that wins."""
    me, them, first = pair.me, pair.them, pair.exchange
    assert me is not None and them is not None and first is not None
    limit = them.free_at if verdict == "guaranteed" and them.held != "none" else None
    if limit is None and them.option.kind == "guard":
        return MOST  # a held guard does not change, whatever the delay
    delay = 1
    while delay < MOST:
        later = meet(situation.pack.conventions, msgspec.structs.replace(me, delay=delay), them, situation.distance)
        if not _same(first, later) or (limit is not None and (later.frame is None or later.frame > limit)):
            break
        delay += 1
    return delay


def _same(first: Exchange, later: Exchange) -> bool:
    if not later.decided or later.by != first.by:
        return False
    return later.effect == first.effect or (later.effect in LANDS and first.effect in LANDS)
