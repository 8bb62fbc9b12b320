"""Chances put before the rules, and what came of it as rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import fsum

from msgspec import Struct

from advisor.advice import Evaluator
from advisor.advice.answer import Missing
from advisor.advice.proof import left_by
from advisor.facts import Entry, Pair, Ready, pair_of
from advisor.rules.model import RuleSet
from advisor.studies.beats_answer import AnswerCell, AnswerRow, When
from advisor.studies.beats_chance import LANDS, Chance, runs_at
from advisor.studies.beats_followed import followed
from advisor.studies.beats_range import same_over
from advisor.studies.beats_stage import Stage
from advisor.studies.weighing import WINS, FrameRun, Weigher, tags_of
from advisor.timeline.exchange import Exchange
from advisor.units import from_micro
from advisor.verdicts import Judged

__all__ = ["Bench", "Group", "order", "row_of"]

CATCHES = ("guaranteed", "in_range", "beats")


class Group(Struct, kw_only=True):
    """One option of mine at one moment, over all it is set against (``asked``, ids of theirs in order).

    ``others`` are the running options of theirs against which it has no chance at that delay.
    ``delay`` is the one at which it answers most of them by ``shares``, ``runs`` the delays on which it does.
    """

    when: When
    entry: Entry
    chances: list[Chance]
    others: list[Stage]
    asked: list[str]
    delay: int
    runs: list[FrameRun]
    shares: Mapping[str, float] = {}

    def share(self, against: str) -> float:
        """How much of what they do one option of theirs is; all of it for the hit of a string."""
        return self.shares.get(against, 1.0)

    @property
    def worth(self) -> tuple[float, int, int, float]:
        """What to judge first."""
        sure = [c for c in self.chances if c.how != "open"]
        share = fsum(self.share(c.stage.step.id) for c in sure)
        return (share, len(sure), max(c.worth[0] for c in self.chances), min((c.gain for c in sure), default=0.0))


class Bench:
    """The rules at work; keeps one weigher for each situation."""

    def __init__(self, rules: RuleSet, evaluator: Evaluator) -> None:
        self.rules = rules
        self.evaluator = evaluator
        self.weighers: dict[int, Weigher] = {}

    def weigher(self, stage: Stage) -> Weigher:
        """The weigher of a stage's situation."""
        found = self.weighers.get(id(stage.situation))
        if found is None or found.situation is not stage.situation:
            found = self.weighers[id(stage.situation)] = Weigher(stage.situation, self.rules, self.evaluator)
        return found


def row_of(bench: Bench, group: Group) -> AnswerRow:
    """The row of a group, every cell judged at the group's delay."""
    cells = [_cell(bench, chance, group) for chance in group.chances]
    cells += [_other(bench, stage, group) for stage in group.others]
    cells.sort(key=lambda cell: group.asked.index(cell.against) if cell.against in group.asked else 0)
    rank = {word: i for i, word in enumerate(bench.rules.vocabulary.verdicts)}
    won = [cell for cell in cells if cell.verdict in CATCHES]
    gains = [_gain(cell) for cell in won]
    known = [g for g in gains if g is not None]
    move = group.entry.move
    return AnswerRow(
        character=group.chances[0].stage.fighter.character,
        option=group.entry.key, name=group.entry.name, input=move.input, kind=move.kind, when=group.when,
        verdict=max((cell.verdict for cell in cells), key=lambda word: rank[word]),
        covers=len(won), of=len(group.asked), share=_rounded(fsum(cell.share for cell in won)),
        damage=min(known) if known and len(known) == len(gains) else None,
        delay=group.delay if group.when in ("before", "during", "gap") else None,
        window=max((run.width for run in group.runs), default=None) if won else None,
        needs=list(group.entry.unmet), cells=cells,
    )


def _rounded(share: float) -> float:
    return round(min(1.0, share), 4)


def _gain(cell: AnswerCell) -> float | None:
    if cell.then:
        return cell.then[0].damage
    return cell.dealt


def order(rows: Iterable[AnswerRow], verdicts: Sequence[str]) -> list[AnswerRow]:
    """Rows, best first: share of what they do, how many options, verdict, damage, width, name."""
    rank = {word: i for i, word in enumerate(verdicts)}
    return sorted(
        rows,
        key=lambda r: (
            -r.share, -r.covers, rank[r.verdict], -(r.damage or 0.0), -(r.window or 0), r.character, r.option
        ),
    )


def _cell(bench: Bench, chance: Chance, group: Group) -> AnswerCell:
    stage = chance.stage
    mine, theirs = stage.ready(chance.entry)
    pair = pair_of(stage.situation, mine, theirs, delay=group.delay)
    weigher = bench.weigher(stage)
    judged = weigher.judge([pair])[0]
    rule, sentence = weigher.why(pair, judged)
    runs = runs_at(stage, chance)
    if len(group.chances) == 1:
        group.runs = runs
    low, high = _range(stage, pair)
    cell = _bare(chance.when, stage, pair, judged, rule, sentence)
    cell.share = group.share(cell.against)
    cell.delays = runs
    cell.width = next((run.width for run in runs if run.first <= group.delay <= run.last), None)
    cell.works_from, cell.works_to = low, high
    cell.tags = tags_of(judged)
    if chance.how == "evades":
        cell.then = followed(pair, stage.situation, stage.fighter, bench.rules, bench.evaluator)
    cell.unless = _unless(bench, stage, mine) if judged.verdict in CATCHES else []
    if judged.verdict in ("unknown", "in_range"):
        cell.hangs_on = _hanging(stage, weigher.missing([pair], [judged]))
    return cell


def _hanging(stage: Stage, missing: list[Missing]) -> list[Missing]:
    """What it hangs on; a distance that is unknown for an unknown pushback hangs on that."""
    if "moment.pushback" not in stage.situation.missing or stage.situation.move is None:
        return missing
    push = Missing(move=stage.situation.move.id, property="pushback")
    return sorted({push if m == Missing(move="", property="distance") else m for m in missing})


def _other(bench: Bench, stage: Stage, group: Group) -> AnswerCell:
    """The option at the same delay against one of theirs that it has no chance against."""
    pair = pair_of(stage.situation, *stage.ready(group.entry), delay=group.delay)
    weigher = bench.weigher(stage)
    judged = weigher.judge([pair])[0]
    when: When = group.when if stage.when == "life" else stage.when
    cell = _bare(when, stage, pair, judged, *weigher.why(pair, judged))
    cell.share = group.share(cell.against)
    cell.tags = tags_of(judged)
    if judged.verdict in ("unknown", "in_range"):
        cell.hangs_on = _hanging(stage, weigher.missing([pair], [judged]))
    return cell


def _bare(when: When, stage: Stage, pair: Pair, judged: Judged, rule: str, sentence: str) -> AnswerCell:
    exchange, outcome = pair.exchange, pair.outcome
    return AnswerCell(
        against=stage.step.id if stage.when != "gap" else stage.theirs.key, share=1.0, when=when,
        verdict=judged.verdict,
        by=exchange.by if exchange else "unknown", effect=exchange.effect if exchange else "unknown",
        frame=exchange.frame if exchange else None, delays=[], width=None,
        dealt=outcome.dealt if outcome else None, taken=outcome.taken if outcome else None, leaves=left_by(pair),
        works_from=None, works_to=None, tags=[], then=[], unless=[], hangs_on=[], rule=rule, sentence=sentence,
    )


def _range(stage: Stage, pair: Pair) -> tuple[float | None, float | None]:
    """Distances at the start (or at the contact, after a block) over which the cell stays as it is."""
    within = pair.record.get("exchange.lands_within")
    situation, first = stage.situation, pair.exchange
    if situation.distance is None:
        return None, round(float(within), 4) if isinstance(within, int | float) else None
    if first is None or pair.me is None or pair.them is None or not first.decided:
        return None, None
    held = pair.them.free_at if stage.when in ("after_block", "after_whiff") else None

    def same(met: Exchange) -> bool:
        alike = met.by == first.by and (
            met.effect == first.effect or (met.effect in LANDS and first.effect in LANDS)
        )
        return met.decided and alike and (held is None or (met.frame is not None and met.frame <= held))

    found = same_over(situation.pack.conventions, pair.me, pair.them, situation.distance, same)
    if found is None:
        return None, None
    low, high = found
    low = None if low is None else low + stage.shift
    if stage.beyond is not None:
        low = stage.beyond if low is None else max(low, stage.beyond)
    return (
        _shown(low) if low is not None and low > 0 else None,
        None if high is None else _shown(high + stage.shift),
    )


def _shown(micro: int) -> float:
    return round(from_micro(micro), 4)


def _unless(bench: Bench, stage: Stage, mine: Ready) -> list[str]:
    """Their follow-ups against which the punish of a stop does not work."""
    if not stage.others:
        return []
    weigher = bench.weigher(stage)
    pairs = [pair_of(stage.situation, mine, Ready(stage.situation, other, "theirs")) for other in stage.others]
    judged = weigher.judge(pairs)
    return list(
        dict.fromkeys(
            pair.theirs.move.id for pair, one in zip(pairs, judged, strict=True) if one.verdict not in WINS
        )
    )
