"""The punish once their option has missed: the body that it leaves them on those frames decides what lands."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from advisor.advice import Evaluator
from advisor.facts import Entry, Pair, Question, Ready, Situation, pair_of, settle
from advisor.facts.clock import Clock
from advisor.facts.question import Advantage, Fighter
from advisor.rules.model import RuleSet
from advisor.studies.beats_answer import Followed
from advisor.studies.beats_stage import IDLE
from advisor.studies.weighing import Weigher
from advisor.timeline.exchange import meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER, from_micro

__all__ = ["best_punish", "distance_after", "followed", "missed_clock"]

NAMED_PUNISHES = 3
ASKED_PUNISHES = 12
LANDS = ("hit", "counter_hit")
CATCHES = ("guaranteed", "in_range", "beats")


def missed_clock(them: Side, lead: int) -> Clock:
    """The clock on which I am free at 0, ``lead`` frames before them, and their option still runs.

    ``them`` is their side on the clock of the exchange that has missed. Units: frames.
    """
    over = them.over()
    if over is None or over >= FOREVER:
        return Clock(me_free=0, them_free=lead, them_held="recovery")
    # Common frame 0 is the one on which I am free: over - lead on the clock before.
    return Clock(
        me_free=0, them_free=lead, them_held="recovery", them_prior=them.option,
        them_prior_frame=over - lead - them.begins,
    )


def _ready_to_punish(situation: Situation, lead: int) -> list[Entry]:
    """My attacks that are fast enough, most damage first."""
    found = [
        entry for entry in situation.responses
        if entry.move.hits and not entry.follows and (first := entry.move.hits[0].first_active) is not None
        and first <= lead
    ]
    return sorted(found, key=lambda entry: (-(entry.move.hits[0].damage or 0.0), entry.key))


def distance_after(distance: int | None, me: Side, them: Side, lead: int) -> int | None:
    """The distance when I am free after a miss, with all that both have moved; None: unknown. Micro-units."""
    mine, theirs = timeline_of(me.option), timeline_of(them.option)
    over = them.over()
    if distance is None or over is None or None in (mine.moves, theirs.moves):
        return None
    free = over - lead
    return max(0, distance - mine.moved(free - me.begins) - theirs.moved(free - them.begins))


def best_punish(situation: Situation, me: Side, them: Side, lead: int) -> Entry | None:
    """The attack of mine of most damage that lands before their missed option lets them go.

    Units: frames.
    """
    clock = missed_clock(them, lead)
    other = Side(
        option=IDLE, free_at=lead, held="recovery", prior=clock.them_prior, prior_frame=clock.them_prior_frame
    )
    distance = distance_after(situation.distance, me, them, lead)
    for entry in _ready_to_punish(situation, lead):
        met = meet(situation.pack.conventions, Side(option=entry.move), other, distance)
        if met.by == "me" and met.effect in LANDS and met.frame is not None and met.frame <= lead:
            return entry
    return None


def followed(pair: Pair, situation: Situation, me: Fighter, rules: RuleSet, evaluator: Evaluator) -> list[Followed]:
    """What of mine punishes the miss that ``pair`` is, most damage first.

    Frames choose what to ask about, the rules decide.
    """
    outcome = pair.outcome
    if outcome is None or outcome.advantage is None or outcome.advantage <= 0 or pair.me is None or pair.them is None:
        return []
    asked = _ready_to_punish(situation, outcome.advantage)[:ASKED_PUNISHES]
    if not asked:
        return []
    after = _after(situation, me, pair.me, pair.them, outcome.advantage, asked)
    weigher = Weigher(after, rules, evaluator)
    theirs = Ready(after, after.replies[0], "theirs")
    pairs = [pair_of(after, Ready(after, entry, "mine"), theirs) for entry in after.responses]
    judged = weigher.judge(pairs)
    won = [one for one, verdict in zip(pairs, judged, strict=True) if verdict.verdict in CATCHES]
    return _listed(won)


def _after(
    situation: Situation, fighter: Fighter, me: Side, them: Side, lead: int, asked: Sequence[Entry]
) -> Situation:
    """The situation once their option has missed: mine to act, theirs still in it."""
    away = distance_after(situation.distance, me, them, lead)
    settled = settle(
        situation.pack,
        Question(
            me=fighter, them=Fighter(character=situation.them.id),
            moment=Advantage(frames=lead, held="recovery"),
            distance=None if away is None else from_micro(away),
            responses=[entry.key for entry in asked],
        ),
    )
    return msgspec.structs.replace(settled, free=missed_clock(them, lead))


def _listed(won: Sequence[Pair]) -> list[Followed]:
    out = []
    for pair in won[:NAMED_PUNISHES]:
        hit = pair.mine.move.hits[0]
        assert hit.first_active is not None
        out.append(
            Followed(
                option=pair.mine.key, name=pair.mine.name, first_active=hit.first_active, damage=hit.damage,
                works_to=None if hit.reach is None else from_micro(hit.reach),
            )
        )
    return out
