"""Questions about the demo pack, in hundreds, and what answering them brings to light.

The questions are the same in every run: each attack of each character in each moment it can be
in, as mine and as theirs, with opponents, distances and states taken in turn.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import cycle
from pathlib import Path

import msgspec
from msgspec import Struct

from advisor.advice import Advice, Evaluator, advise
from advisor.facts import Question
from advisor.facts.question import Advantage, Blocked, CounterHit, Fighter, HitLanded, KnockedDown, Neutral, Whiffed
from advisor.library import Shelf, load_shelf
from advisor.pack.model import Move, Pack
from advisor.rules import Conclusion, Value
from advisor.rules.vocabulary import SCOPES

__all__ = ["FOLDER", "Onlooker", "Records", "Swept", "questions", "records_of", "shelf", "swept"]

FOLDER = Path(__file__).parents[3] / "rules" / "packs" / "cold_frame"
DISTANCES = (None, "touching", 0.9, None, "mid", 2.5, "far", 0.0)
AFTER = (Blocked, HitLanded, CounterHit, Whiffed)
LISTED = (1, 1, 1, 400)

Record = Mapping[str, Value]


@cache
def shelf() -> Shelf:
    """The demo pack, its rules run by the plain evaluator."""
    return load_shelf(FOLDER, engine="plain")


class Records(Struct):
    """What one call of the evaluator was given."""

    scope: str
    situation: Record
    records: list[Record]


class Onlooker:
    """An evaluator that keeps what it is given and hands it on; with none to hand it to, no rule speaks."""

    def __init__(self, inner: Evaluator | None = None) -> None:
        self.inner = inner
        self.name = inner.name if inner else "none"
        self.calls: list[Records] = []
        self.conclusions: list[Conclusion] = []

    def conclude(self, scope: str, situation: Record, records: Sequence[Record]) -> list[Conclusion]:
        self.calls.append(Records(scope, situation, list(records)))
        found = self.inner.conclude(scope, situation, records) if self.inner else []
        self.conclusions += found
        return found


def records_of(pack: Pack, question: Question) -> tuple[Record, list[Record]]:
    """The record of the situation and those of its exchanges, without any rule."""
    onlooker = Onlooker()
    advise(pack, shelf().rules, onlooker, question)
    exchanges = [call for call in onlooker.calls if call.scope == "exchange"]
    return exchanges[0].situation, [record for call in exchanges for record in call.records]


def questions() -> Iterator[Question]:
    """Every attack of the demo pack in every moment on either side, and some raw advantage."""
    characters = shelf().pack.characters
    distance, limit = cycle(DISTANCES), cycle(LISTED)
    stance, health = cycle((None, "kneel", None, "bow")), cycle((None, 12.0, None, 60.0, None))
    ids = list(characters)
    turn = cycle(("me", "them", "them"))
    for whose in ids:
        other = cycle(ids)
        attacks = [move.id for move in characters[whose].moves.values() if move.hits]
        for move in attacks:
            for after in AFTER:
                for attacker in ("me", "them") if after is Blocked else (next(turn),):
                    pair = (whose, next(other)) if attacker == "me" else (next(other), whose)
                    yield Question(
                        me=Fighter(character=pair[0], stance=next(stance), health=next(health), meter=100),
                        them=Fighter(character=pair[1], health=next(health)),
                        moment=after(attacker=attacker, move=move),
                        distance=next(distance),
                        limit=next(limit),
                    )
            # Shift the turns, so that moments and distances do not stay in step.
            next(distance)
            next(limit)
    for me in ids:
        for them in ids:
            for frames in (-14, -6, 0, 5, 13):
                for held in ("recovery", "blockstun", "hitstun"):
                    moment = Advantage(frames=frames, held=held) if frames else Neutral()
                    yield Question(
                        me=Fighter(character=me, near_wall=True, back_turned=held == "hitstun"),
                        them=Fighter(character=them),
                        moment=moment,
                        distance=next(distance),
                        limit=next(limit),
                        replies="all" if (frames, held, me) == (5, "recovery", them) else None,
                    )
            for state in shelf().pack.conventions.knockdowns:
                yield Question(
                    me=Fighter(character=me, meter=100),
                    them=Fighter(character=them),
                    moment=KnockedDown(floored=next(turn), state=state, frames=len(state) * 2),
                    distance=next(distance),
                    limit=next(limit),
                )
            # Between a wall and a floor that breaks, with little health: one of them, and both.
            beside = ids.index(them) == (ids.index(me) + 1) % len(ids)
            places = ((True, True, 30.0), (True, False, 40.0), (False, True, 45.0))
            for near, breaks, health in places if beside else ():
                yield Question(
                    me=Fighter(character=me, health=health, meter=100, near_wall=near, stance="draught"),
                    them=Fighter(character=them, health=health, meter=100, near_wall=near), moment=Neutral(),
                    distance="touching", floor_breaks=breaks, replies="all", limit=next(limit),
                )  # fmt: skip
            # Grips and parries, which are seldom among the replies that the situation suggests.
            rare = [m.id for m in characters[them].moves.values() if m.kind == "parry" or _grips(m)]
            for near in (None, "touching"):
                yield Question(
                    me=Fighter(character=me, meter=100), them=Fighter(character=them), moment=Neutral(),
                    distance=near, replies=rare, limit=next(limit),
                )  # fmt: skip


def _grips(move: Move) -> bool:
    return any(hit.level == "throw" for hit in move.hits)


class Swept(Struct):
    """What came of answering every question of ``questions``.

    ``produced`` are the names of all facts seen, by scope; ``values`` each fact with values of
    every kind seen; ``fired`` counts conclusions by rule.
    """

    asked: list[Question] = []
    answers: list[Advice] = []
    produced: dict[str, set[str]] = msgspec.field(default_factory=lambda: {scope: set() for scope in SCOPES})
    values: set[tuple[str, type, Value]] = set()
    fired: Counter[str] = msgspec.field(default_factory=Counter)


@cache
def swept() -> Swept:
    """Answer them all, once a run; any exception is the caller's failure."""
    out = Swept()
    at_hand = shelf()
    for question in questions():
        onlooker = Onlooker(at_hand.evaluator)
        out.answers.append(advise(at_hand.pack, at_hand.rules, onlooker, question))
        out.asked.append(question)
        out.fired.update(c.rule for c in onlooker.conclusions)
        for call in onlooker.calls:
            out.produced["situation"].update(call.situation)
            out.values.update((n, type(v), v) for n, v in call.situation.items())
            for record in call.records:
                out.produced[call.scope].update(record)
            for record in call.records[::5]:
                out.values.update([(n, type(v), v) for n, v in record.items()])
    return out
