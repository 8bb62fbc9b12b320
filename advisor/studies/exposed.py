"""The other way round: what of mine loses to an option of theirs, and which of my moves are punishable by whom."""

from __future__ import annotations

from collections import Counter

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.errors import QuestionError
from advisor.facts import Question, pair_of, ready, settle
from advisor.facts.question import Advantage, Moment, Neutral
from advisor.pack.model import Character, Pack
from advisor.rules.model import RuleSet
from advisor.studies.beats_cast import assumed_distance, attacks_of, character_of, move_of, roster
from advisor.studies.exposed_answer import Exposed, ExposedAnswer, ExposedMove, Lost
from advisor.studies.exposed_punish import dangers, exposed_move, opponents
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref, tags_of
from advisor.units import from_micro

__all__ = ["STUDY", "Exposed", "ExposedAnswer", "exposed"]

LOST = ("loses", "trades", "unknown")


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
        lost, counts, missing = _losing(pack, rules, evaluator, request, away)
        summary = _lost_summary(lost, counts)
    else:
        rows, counts, missing = _punishable(pack, rules, evaluator, request, me, away)
        said = counts["punishable"]
        after = "blocked" if request.when == "after_block" else "missed"
        summary = f"{said} of {sum(counts.values())} attacks of {me.name} are punishable when {after}."
        summary += f" The worst: {rows[0].sentence}" if rows and said else ""
    return ExposedAnswer(
        summary=summary, me=me.id, them=request.them.character if request.them else None, option=request.option,
        distance=from_micro(away), unit=pack.conventions.distance_unit, lost=lost, moves=rows, counts=counts,
        missing=missing, cautions=[*CAUTIONS, *assumed], pack=pack_ref(pack, rules, evaluator),
    )


def _losing(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Exposed, away: int
) -> tuple[list[Lost], dict[str, int], list[Missing]]:
    """Every option of mine begun at once against theirs; those that do not stand, worst first."""
    if request.them is None or request.option is None:
        raise QuestionError(
            "question-impossible", "`option` needs `them`",
            help="name the character that has it, or leave `option` out", pointer="/them",
        )
    them = character_of(pack, request.them, "/them")
    theirs = move_of(pack, them, request.option, "/option")
    moment: Moment = (
        Advantage(frames=request.advantage, held=request.held) if request.advantage else Neutral()
    )
    mine = character_of(pack, request.me, "/me")
    for i, key in enumerate(request.moves or ()):
        move_of(pack, mine, key, f"/moves/{i}")
    situation = settle(
        pack,
        Question(
            me=request.me, them=request.them, moment=moment, distance=from_micro(away),
            responses=request.moves, replies=[theirs.id],
        ),
    )
    ours, others, _ = ready(situation)
    pairs = [pair_of(situation, one, others[0]) for one in ours]
    weigher = Weigher(situation, rules, evaluator)
    judged = weigher.judge(pairs)
    counts = Counter(one.verdict for one in judged)
    out = []
    wanted: Counter[Missing] = Counter()
    for pair, one in zip(pairs, judged, strict=True):
        if one.verdict not in LOST:
            continue
        hangs = weigher.missing([pair], [one]) if one.verdict == "unknown" else []
        wanted.update(hangs)
        exchange, outcome = pair.exchange, pair.outcome
        out.append(
            Lost(
                option=pair.mine.key, name=pair.mine.name, kind=pair.mine.move.kind, verdict=one.verdict,
                effect=exchange.effect if exchange else "unknown", frame=exchange.frame if exchange else None,
                taken=outcome.taken if outcome else None, tags=tags_of(one), hangs_on=hangs,
                sentence=weigher.why(pair, one)[1],
            )
        )
    out.sort(key=lambda row: (LOST.index(row.verdict), -(row.taken or 0.0), row.option))
    ranked = {word: counts[word] for word in rules.vocabulary.verdicts if counts[word]}
    return out[: request.limit], ranked, sorted(wanted, key=lambda m: (-wanted[m], m))


def _lost_summary(lost: list[Lost], counts: dict[str, int]) -> str:
    loses, trades = counts.get("loses", 0), counts.get("trades", 0)
    of = sum(counts.values())
    text = f"{loses} of {of} options of yours lose to it"
    text += f", {trades} trade" if trades else ""
    return f"{text}; the worst: {lost[0].sentence}" if lost and loses else f"{text}."


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
        "Which options of mine lose to one option of theirs or trade with it; or, without one, which of my moves are "
        "punishable after a block or a miss, by whom and with what."
    ),
    example={"me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "limit": 5},
)
