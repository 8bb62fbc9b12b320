"""What beats this: all my answers to an option of theirs (a string, a habit) over its whole life.

Before it starts I interrupt it; while it runs I evade, parry, go through it or hit it first, and
between two hits of a string act in the gap; after a block I punish, after a miss I punish the whiff.
Physics alone finds what may answer (``beats_chance``); the rules judge what is listed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import fsum

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.errors import QuestionError
from advisor.facts.question import Fighter
from advisor.pack.model import Character, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.beats_answer import AnswerRow, Beats, BeatsAnswer, Open, Target
from advisor.studies.beats_cast import assumed_distance, character_of, listed_ids, move_of, roster
from advisor.studies.beats_chance import Chance, Kept, chances_of
from advisor.studies.beats_group import grouped
from advisor.studies.beats_rows import Bench, Group, order, row_of
from advisor.studies.beats_stage import Asked, Stage, after_block, after_whiff, gap, life
from advisor.studies.beats_target import target_of
from advisor.studies.study import Study
from advisor.studies.weighing import pack_ref
from advisor.units import from_micro

__all__ = ["STUDY", "Beats", "BeatsAnswer", "beats"]

WHEN = ("before", "during", "gap", "after_block", "after_whiff")
SHOWN = ("guaranteed", "in_range", "beats", "holds", "trades", "unknown")
JUDGED_FOR_ONE = 400
JUDGED_FOR_MANY = 3
"""How many times the limit is judged at each moment when the whole roster answers."""


def beats(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Beats) -> BeatsAnswer:
    """Everything that answers ``request.moves`` or ``request.string``, best first.

    Errors: ``Unanswerable`` for an id that the pack does not have, ``QuestionError`` when neither or
    both of ``moves`` and ``string`` are given or the string is none; with the JSON pointer.
    """
    them = character_of(pack, request.them, "/them")
    moves = _targets(pack, them, request)
    shares = _shares(request)
    away, assumed = assumed_distance(pack, request.distance)
    asked = Asked(pack=pack, them=request.them, distance=away, advantage=request.advantage, held=request.held)
    wanted = tuple(request.when or WHEN)
    groups: dict[str, list[Group]] = {when: [] for when in WHEN if when in wanted}
    targets: list[Target] = []
    open_: list[Open] = []
    considered = 0
    kept: Kept = {}
    for n, (fighter, _) in enumerate(roster(pack, request.me, "/me")):
        stages, shut = _stages(asked, fighter, moves, request.string is not None, wanted)
        considered += len(stages[0].situation.responses)
        if n == 0:
            lives = {stage.step.id: stage for stage in stages if stage.when == "life"}
            targets = [target_of(pack.conventions, move, lives.get(move.id)) for move in moves]
            open_ = [o for o in shut if o.when in wanted]
        for group in _found(stages, request.delays, kept, shares):
            if group.when in groups:
                groups[group.when].append(group)
    bench = Bench(rules, evaluator)
    rows = [row for found in groups.values() for row in _judged(bench, found, request)]
    return BeatsAnswer(
        summary=_summary(targets, rows, request.string is not None),
        them=them.id, me=request.me.character if request.me else None,
        distance=from_micro(away), unit=pack.conventions.distance_unit, advantage=request.advantage,
        targets=targets, rows=rows, considered=considered,
        found={when: len(found) for when, found in groups.items()}, open=open_, missing=_missing(rows, open_),
        cautions=[*CAUTIONS, *assumed], pack=pack_ref(pack, rules, evaluator),
    )


def _targets(pack: Pack, them: Character, request: Beats) -> list[Move]:
    """Their options that the request names."""
    if (request.moves is None) == (request.string is None):
        raise QuestionError(
            "question-ambiguous" if request.moves else "value-invalid",
            "`moves` and `string` are both given" if request.moves else "neither `moves` nor `string` is given",
            help="give `moves` for options weighed each by itself, or `string` for the hits of one string",
            pointer="/moves",
        )
    if request.moves is not None:
        found = [move_of(pack, them, key, f"/moves/{i}") for i, key in enumerate(request.moves)]
        return list({move.id: move for move in found}.values())
    path = [move_of(pack, them, key, f"/string/{i}", attack=True) for i, key in enumerate(request.string or [])]
    for i, (parent, child) in enumerate(pairwise(path), 1):
        following = [f.move for f in parent.follow_ups if "block" in f.on]
        if child.id not in following:
            raise QuestionError(
                "question-impossible", f"`{child.id}` does not follow `{parent.id}` when that is blocked",
                help=f"these do: {listed_ids(following)}" if following else f"nothing follows `{parent.id}`",
                pointer=f"/string/{i}",
            )
    return path


def _shares(request: Beats) -> dict[str, float]:
    """How much of what they do each option of a habit is, in sum 1; empty for a string.

    Errors: ``QuestionError`` when there is not one for each of ``moves``, or all are 0.
    """
    moves, given = request.moves, request.shares
    if moves is None:
        if given is not None:
            raise QuestionError(
                "question-impossible", "`shares` needs `moves`",
                help="a string is done as a whole; leave `shares` out", pointer="/shares",
            )
        return {}
    if given is not None and len(given) != len(moves):
        raise QuestionError(
            "question-impossible", f"`shares` has {len(given)} entries and `moves` has {len(moves)}",
            help="give one for each of `moves`, in the same order", pointer="/shares",
        )
    counts: Counter[str] = Counter()
    # A move that is named twice is done as often as both say; without shares it counts once.
    for key, count in zip(moves, given, strict=True) if given is not None else dict.fromkeys(moves, 1.0).items():
        counts[key] += count  # type: ignore[assignment]
    total = fsum(counts.values())
    if not total:
        raise QuestionError(
            "question-impossible", "`shares` are all 0", help="give at least one above 0", pointer="/shares"
        )
    return {key: count / total for key, count in counts.items()}


def _stages(
    asked: Asked, me: Fighter, moves: list[Move], string: bool, wanted: tuple[str, ...]
) -> tuple[list[Stage], list[Open]]:
    """The moments to look at, and those at which there is nothing to look at."""
    running = moves[:1] if string else moves
    out = [life(asked, me, move) for move in running]
    shut: list[Open] = []
    first = out[0]
    distance: int | None = asked.distance
    if string:
        for parent, child in pairwise(moves):
            found = list(gap(asked, me, parent, child, distance))
            out += found
            shut += _no_gap(parent, child, found)
            distance = found[0].situation.distance if found else None
    ends = [(moves[-1], distance, first)] if string else [
        (move, distance, stage) for move, stage in zip(moves, out, strict=True)
    ]
    for move, away, stage in ends:
        if not move.hits:
            continue
        for when in ("after_block", "after_whiff"):
            if when not in wanted:
                continue
            end = _after_block(asked, me, move, away, stage) if when == "after_block" else _whiff(asked, me, move)
            if isinstance(end, Stage):
                out.append(end)
            else:
                shut.append(end)
    return out, shut


def _no_gap(parent: Move, child: Move, found: list[Stage]) -> list[Open]:
    """Why nothing fits between two hits, when nothing does."""
    stun = parent.hits[0].blockstun
    arrivals = [s.theirs.arrives for s in found if s.theirs.arrives is not None]
    if stun is None or not arrivals:
        lacks = [Missing(move=parent.id, property="blockstun")] if stun is None else []
        lacks += [Missing(move=child.id, property="arrives")] if not arrivals else []
        said = _hangs(in_words("Whether there is a gap"), lacks)
        return [Open(when="gap", against=child.id, hangs_on=lacks, sentence=said)]
    if max(arrivals) <= stun:
        said = say(
            "{child} arrives {arrivals} frames after the block and the stun lasts {stun}: it jails.",
            child=child.name, arrivals=max(arrivals), stun=stun,
        )
        return [Open(when="gap", against=child.id, hangs_on=[], sentence=said)]
    return []


def _after_block(asked: Asked, me: Fighter, move: Move, distance: int | None, stage: Stage) -> Stage | Open:
    level = asked.pack.conventions.levels.get(move.hits[0].level or "")
    stands = stage.stands
    if level is not None and not level.blocked_by:
        said = say("No guard stops {move}.", move=move.name)
        return Open(when="after_block", against=move.id, hangs_on=[], sentence=said)
    if stage.step is move and stands is not None and stands.decided and stands.by != "them":
        said = say("{move} does not touch at this distance.", move=move.name)
        return Open(when="after_block", against=move.id, hangs_on=[], sentence=said)
    lead = move.hits[0].on_block
    if lead is None:
        lacks = [Missing(move=move.id, property="on_block")]
        said = _hangs(in_words("A punish"), lacks)
        return Open(when="after_block", against=move.id, hangs_on=lacks, sentence=said)
    if lead >= 0:
        said = say("Blocked, {move} leaves them {lead:+d}: there is nothing to punish.", move=move.name, lead=lead)
        return Open(when="after_block", against=move.id, hangs_on=[], sentence=said)
    found = after_block(asked, me, move, distance)
    return found or Open(when="after_block", against=move.id, hangs_on=[], sentence=in_words("The pack has no guard."))


def _whiff(asked: Asked, me: Fighter, move: Move) -> Stage | Open:
    found = after_whiff(asked, me, move)
    if found is not None and found.situation.free.them_free is not None:
        return found
    lacks = [Missing(move=move.id, property="recovery")]
    return Open(when="after_whiff", against=move.id, hangs_on=lacks, sentence=_hangs(in_words("A whiff punish"), lacks))


def _hangs(what: str, lacks: list[Missing]) -> str:
    names = ", ".join(f"{m.move}: {m.property.replace('_', ' ')}" for m in lacks)
    return say("{what} hangs on {names}, which nobody has recorded.", what=what, names=names)


def _found(stages: list[Stage], delays: int, kept: Kept, shares: Mapping[str, float]) -> Iterator[Group]:
    """The groups of all stages: a habit is answered by one option, each gap of a string by itself."""
    running = [s for s in stages if s.when == "life"]
    lazy = len(running) == 1
    yield from grouped(running, [c for s in running for c in chances_of(s, delays, lazy=lazy, kept=kept)], shares)
    for stage in stages:
        if stage.when == "gap":
            yield from grouped([stage], list(chances_of(stage, delays, lazy=True, kept=kept)), shares)
    for when in ("after_block", "after_whiff"):
        ended = [s for s in stages if s.when == when]
        found: list[Chance] = [c for s in ended for c in chances_of(s, delays)]
        yield from grouped(ended, found, shares)


def _judged(bench: Bench, groups: list[Group], request: Beats) -> list[AnswerRow]:
    """The best groups of one moment before the rules, best row first."""
    most = JUDGED_FOR_ONE if request.me else JUDGED_FOR_MANY * request.limit
    ready = sorted(groups, key=lambda g: g.worth, reverse=True)[:most]
    rows = [row_of(bench, group) for group in ready]
    kept = [row for row in rows if row.covers or row.verdict in SHOWN]
    return order(kept, list(bench.rules.vocabulary.verdicts))[: request.limit]


def _missing(rows: list[AnswerRow], open_: list[Open]) -> list[Missing]:
    count = Counter(m for row in rows for cell in row.cells for m in cell.hangs_on)
    count.update(m for one in open_ for m in one.hangs_on)
    return sorted(count, key=lambda m: (-count[m], m))


def _summary(targets: list[Target], rows: list[AnswerRow], string: bool) -> str:
    """The best answer in one line."""
    what = " > ".join(t.name for t in targets) if string else ", ".join(t.name for t in targets)
    won = [row for row in rows if row.covers]
    if not won:
        return say("Nothing listed beats {what}.", what=what)
    best = max(won, key=lambda r: (r.share, r.covers / r.of, r.damage or 0.0))
    when = {
        "before": in_words("before it lands"), "during": in_words("while it runs"), "gap": in_words("in the gap"),
        "after_block": in_words("after a block"), "after_whiff": in_words("after a miss"),
    }[best.when]
    damage = say(", {damage:g} damage", damage=best.damage) if best.damage is not None else ""
    count = ""
    if best.of > 1:
        values = {"covers": best.covers, "of": best.of, "share": best.share}
        count = say(" ({covers} of {of}, {share:.0%} of the habit)", **values)
    return say(
        "Against {what}: {best} {when}{damage}{count}.",
        what=what, best=best.name, when=when, damage=damage, count=count,
    )


STUDY = Study(
    name="beats",
    request=Beats,
    answer=BeatsAnswer,
    run=beats,
    summary="What beats this option",
    description=(
        "Everything that answers an option, a habit or a string of theirs over its whole life: before it lands, while "
        "it runs, in a gap, after a block, after a miss; for one character or the whole roster."
    ),
    example={
        "them": {"character": "ilko"}, "moves": ["sting"], "me": {"character": "wenna"}, "distance": "close",
        "limit": 5,
    },
)
