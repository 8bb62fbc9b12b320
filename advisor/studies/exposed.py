"""The other way round: what of mine loses to an option of theirs, and which of my moves are punishable by whom."""

from __future__ import annotations

from collections import Counter

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.pack.model import Character, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import say
from advisor.studies.beats_cast import assumed_distance, attacks_of, character_of, move_of, roster
from advisor.studies.exposed_answer import Exposed, ExposedAnswer, ExposedMove, Lost
from advisor.studies.exposed_lost import LosingSide, losing
from advisor.studies.exposed_punish import dangers, exposed_move, opponents
from advisor.studies.study import Study
from advisor.studies.weighing import pack_ref
from advisor.units import from_micro

__all__ = ["STUDY", "Exposed", "ExposedAnswer", "exposed"]


def exposed(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Exposed) -> ExposedAnswer:
    """What of mine loses.

    Errors: ``Unanswerable`` for an id that the pack does not have, ``QuestionError`` for an
    ``option`` without ``them`` or a move of mine that is no attack; with the JSON pointer.
    """
    me = character_of(pack, request.me, "/me")
    away, assumed = assumed_distance(pack, request.distance)
    lost: list[Lost] = []
    rows: list[ExposedMove] = []
    if request.option is not None:
        found = losing(pack, rules, evaluator, request, away)
        lost, counts, missing = found.lost, found.counts, found.missing
        summary = _lost_summary(found)
    else:
        rows, counts, missing = _punishable(pack, rules, evaluator, request, me, away)
        said = counts["punishable"]
        values = {"said": said, "count": sum(counts.values()), "me": me.name}
        if request.when == "after_block":
            summary = say("{said} of {count} attacks of {me} are punishable when blocked.", **values)
        else:
            summary = say("{said} of {count} attacks of {me} are punishable when missed.", **values)
        summary += say(" The worst: {sentence}", sentence=rows[0].sentence) if rows and said else ""
    return ExposedAnswer(
        summary=summary, me=me.id, them=request.them.character if request.them else None, option=request.option,
        distance=from_micro(away), unit=pack.conventions.distance_unit, lost=lost, moves=rows, counts=counts,
        missing=missing, cautions=[*CAUTIONS, *assumed], pack=pack_ref(pack, rules, evaluator),
    )


def _lost_summary(found: LosingSide) -> str:
    loses, trades = found.counts.get("loses", 0), found.counts.get("trades", 0)
    text = say("{loses} of {count} options of yours lose to it", loses=loses, count=sum(found.counts.values()))
    if loses and found.at_once < loses:
        text += say(" ({at_once} when it starts at once)", at_once=found.at_once)
    text += say(", {trades} trade", trades=trades) if trades else ""
    if not loses:
        return f"{text}."
    worst = found.lost[0]
    return say("{said}; the worst: {lost}. {sentence}", said=text, lost=worst.name, sentence=worst.sentence)


def _punishable(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Exposed, me: Character, away: int
) -> tuple[list[ExposedMove], dict[str, int], list[Missing]]:
    """My attacks by who punishes them: most opponents, then most damage."""
    moves = attacks_of(me)
    if request.moves is not None:
        named = [move_of(pack, me, key, f"/moves/{i}", attack=True) for i, key in enumerate(request.moves)]
        moves = list({move.id: move for move in named}.values())
    entries = opponents(pack, request.me, [fighter for fighter, _ in roster(pack, request.them, "/them")])
    found = list(dangers(pack, request.me, moves, entries, request.when, away, request.them is not None))
    found.sort(key=lambda d: (-len(d.by), -(d.worst or 0.0), d.lead or 0, d.move.id))
    unsure = [d for d in found if not d.by and (d.unknown or d.hangs_on)]
    counts = {
        "punishable": sum(bool(d.by) for d in found),
        "unknown": len(unsure),
        "safe": sum(not d.by and not d.unknown and not d.hangs_on for d in found),
    }
    wanted: Counter[Missing] = Counter()
    for danger in found:
        wanted.update(danger.hangs_on)
        for lacks in danger.unknown.values():
            wanted.update(lacks)
    rows = [
        exposed_move(pack, rules, evaluator, request.me, danger, len(entries), request.when, request.limit)
        for danger in ([d for d in found if d.by] + unsure)[: request.limit]
    ]
    return rows, counts, sorted(wanted, key=lambda m: (-wanted[m], m))


STUDY = Study(
    name="exposed",
    request=Exposed,
    answer=ExposedAnswer,
    run=exposed,
    summary="What of mine loses",
    description=(
        "Which options of mine lose to one option of theirs or trade with it, and on which of its delays; or, without "
        "one, which of my moves are punishable after a block or a miss, by whom and with what."
    ),
    example={"me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "limit": 5},
)
