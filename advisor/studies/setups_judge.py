"""A sequence weighed against every wake-up option: the exchange that decides, and what the rules say of it."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from advisor.advice import Evaluator
from advisor.advice.answer import Missing
from advisor.facts import Entry, Pair, Ready, Situation, pair_of
from advisor.rules.model import RuleSet
from advisor.studies.setups_model import Met
from advisor.studies.weighing import WINS, Weigher, tags_of
from advisor.timeline.side import timeline_of

__all__ = ["Jury", "after"]


def after(situation: Situation, used: int, distance: int) -> Situation:
    """The situation once I have used up ``used`` frames, standing at ``distance`` micro-units.

    The clock starts anew: I am free at 0, they are ``used`` frames further on.
    """
    free = situation.free
    assert free.them_free is not None
    left = free.them_free - used
    clock = replace(
        free, me_free=0, me_held="none", me_prior=None, them_free=left,
        them_prior_frame=free.them_prior_frame + used,
    )
    return replace(
        situation, free=clock, contact=None, advantage=left, distance=distance, nearest=distance, farthest=distance
    )


class _Place(Struct):
    """A state of the search as a situation, with the replies made ready in it."""

    situation: Situation
    theirs: list[Ready]
    weigher: Weigher


class Jury:
    """Judges sequences; what is known of one stretch of a sequence is kept for the next that has it too."""

    def __init__(
        self, situation: Situation, replies: Sequence[Entry], rules: RuleSet, evaluator: Evaluator,
        *, ground: bool = False,
    ) -> None:
        self.situation = situation
        self.replies = replies
        self.rules = rules
        self.evaluator = evaluator
        self.ground = ground
        self.missing: dict[Missing, int] = {}
        self._places: dict[tuple[int, int], _Place] = {}
        self._rows: dict[tuple[int, int, str], list[Met]] = {}
        self._pairs: dict[tuple[int, int, str, int], Pair] = {}

    def weigh(self, sequence: Sequence[Entry]) -> list[Met]:
        """The sequence against every reply, in their order."""
        assert self.situation.distance is not None
        used, distance = 0, self.situation.distance
        early: dict[int, Met] = {}
        for entry in sequence[:-1]:
            total = entry.move.total or 0
            for r in range(len(self.replies)):
                if r not in early and self._interrupted(used, distance, entry, r):
                    early[r] = self._before(used, distance, entry, r)
            used += total
            distance = max(0, distance - timeline_of(entry.move).moved(total))
        last = self._row(used, distance, sequence[-1])
        return [early.get(r, met) for r, met in enumerate(last)]

    def _place(self, used: int, distance: int) -> _Place:
        key = (used, distance)
        if key not in self._places:
            situation = after(self.situation, used, distance)
            theirs = [Ready(situation, entry, "theirs") for entry in self.replies]
            self._places[key] = _Place(situation, theirs, Weigher(situation, self.rules, self.evaluator))
        return self._places[key]

    def _pair(self, used: int, distance: int, entry: Entry, r: int) -> Pair:
        key = (used, distance, entry.key, r)
        if key not in self._pairs:
            place = self._place(used, distance)
            self._pairs[key] = pair_of(place.situation, Ready(place.situation, entry, "mine"), place.theirs[r])
        return self._pairs[key]

    def _interrupted(self, used: int, distance: int, entry: Entry, r: int) -> bool:
        """Whether something touches, or may, while an action that only uses up frames is under way."""
        exchange = self._pair(used, distance, entry, r).exchange
        total = entry.move.total or 0
        if exchange is None or exchange.armoured is None:
            return True
        if any(frame <= total for _, frame in exchange.armoured):
            return True
        if not exchange.decided:
            return True
        return exchange.by != "none" and (exchange.frame is None or exchange.frame <= total)

    def _before(self, used: int, distance: int, entry: Entry, r: int) -> Met:
        pair = self._pair(used, distance, entry, r)
        return self._met(self._place(used, distance), [pair], used, entry.key)[0]

    def _row(self, used: int, distance: int, entry: Entry) -> list[Met]:
        key = (used, distance, entry.key)
        if key not in self._rows:
            pairs = [self._pair(used, distance, entry, r) for r in range(len(self.replies))]
            self._rows[key] = self._met(self._place(used, distance), pairs, used, None)
        return self._rows[key]

    def _met(self, place: _Place, pairs: list[Pair], used: int, before: str | None) -> list[Met]:
        """The rules' word on pairs of one place."""
        judged = place.weigher.judge(pairs)
        out = []
        for pair, one in zip(pairs, judged, strict=True):
            exchange, outcome = pair.exchange, pair.outcome
            lacks = place.weigher.missing([pair], [one])
            for missing in lacks:
                self.missing[missing] = self.missing.get(missing, 0) + 1
            frame = exchange.frame if exchange else None
            out.append(
                Met(
                    reply=pair.theirs.key,
                    name=pair.theirs.name,
                    covered=before is None and one.verdict in WINS and _in_time(pair, self.ground),
                    verdict=one.verdict,
                    by=exchange.by if exchange else "unknown",
                    effect=exchange.effect if exchange else "unknown",
                    frame=None if frame is None else used + frame,
                    before=before,
                    dealt=outcome.dealt if outcome else None,
                    taken=outcome.taken if outcome else None,
                    tags=tags_of(one),
                    sentence=place.weigher.why(pair, one)[1],
                    hangs_on=lacks,
                )
            )
        return out


def _in_time(pair: Pair, ground: bool) -> bool:
    """Whether the deciding contact comes while their option runs; before it they lie there, later they are free."""
    if pair.exchange is None or pair.them is None or pair.exchange.frame is None:
        return False
    over, frame = pair.them.over(), pair.exchange.frame
    return (ground or frame > pair.them.begins) and (over is None or frame <= over)
