"""What of mine loses to one option of theirs, begun at once or later: their delays are weighed in windows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from msgspec import Struct

from advisor.advice import Evaluator
from advisor.advice.answer import Missing
from advisor.errors import QuestionError
from advisor.facts import Question, Ready, ready, settle
from advisor.facts.question import Advantage, Moment, Neutral
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.beats_cast import character_of, move_of
from advisor.studies.coverage_cells import Grid, Timed
from advisor.studies.coverage_timing import longest
from advisor.studies.exposed_answer import Exposed, Lost
from advisor.studies.weighing import FrameRun, Weigher, runs_of, tags_of
from advisor.units import from_micro

__all__ = ["LOST", "LosingSide", "losing"]

LOST = ("loses", "trades", "unknown")
"""What does not stand, worst first."""


class LosingSide(Struct, kw_only=True):
    """Options of mine that do not stand, worst first; how many got each verdict, how many lose at once."""

    lost: list[Lost]
    counts: dict[str, int]
    at_once: int
    missing: list[Missing]


def losing(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Exposed, away: int) -> LosingSide:
    """Every option of mine begun at once against theirs on each of its delays.

    An option counts by its worst verdict over these. Units: ``away`` in micro-units.
    Errors: as ``exposed``.
    """
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
    return _sorted(Weigher(situation, rules, evaluator), ours, others[0], request)


def _sorted(weigher: Weigher, ours: Sequence[Ready], theirs: Ready, request: Exposed) -> LosingSide:
    grid = Grid(weigher.situation, request.delays, "them")
    cells = [grid.cell(one, theirs) for one in ours]
    grid.judge(cells, weigher)
    words = list(weigher.rules.vocabulary.verdicts)
    counts = Counter(_worst(cell, words) for cell in cells)
    lost = [_lost(weigher, cell, word) for cell in cells if (word := _worst(cell, words)) in LOST]
    lost.sort(key=lambda row: (LOST.index(row.verdict), -sum(r.width for r in row.delays), -(row.taken or 0.0)))
    wanted = Counter(missing for row in lost for missing in row.hangs_on)
    return LosingSide(
        lost=lost[: request.limit],
        counts={word: counts[word] for word in words if counts[word]},
        at_once=sum(row.at_once == "loses" for row in lost),
        missing=sorted(wanted, key=lambda m: (-wanted[m], m)),
    )


def _worst(cell: Timed, words: Sequence[str]) -> str:
    """The worst verdict over their delays; one that is sure comes before one that is open."""
    found = {window.verdict for window in cell.windows}
    return next((word for word in LOST if word in found), max(found, key=words.index))


def _lost(weigher: Weigher, cell: Timed, word: str) -> Lost:
    runs = runs_of(d for w in cell.windows if w.verdict == word for d in range(w.first, w.last + 1))
    pair, judged = cell.asked[runs[0].first]
    exchange, outcome, mine = pair.exchange, pair.outcome, cell.mine.entry
    last = cell.windows[-1].last
    return Lost(
        option=mine.key, name=mine.name, kind=mine.move.kind, verdict=word, at_once=cell.windows[0].verdict,
        delays=runs, width=longest(runs), windows=cell.windows,
        effect=exchange.effect if exchange else "unknown", frame=exchange.frame if exchange else None,
        taken=outcome.taken if outcome else None, tags=tags_of(judged),
        hangs_on=weigher.missing([pair], [judged]) if word == "unknown" else [],
        sentence=f"{weigher.why(pair, judged)[1]}{_timing(runs, last)}",
    )


def _timing(runs: Sequence[FrameRun], last: int) -> str:
    """On which delays of theirs that is so; nothing to say when no other was tried."""
    if not last:
        return ""
    if runs == [FrameRun(first=0, last=last)]:
        return in_words(" So it does however late they start.")
    if runs == [FrameRun(first=0, last=0)]:
        return in_words(" Only if they start at once.")
    shown = ", ".join(run.shown() for run in runs)
    return say(" That is so when they start {shown} frames late.", shown=shown)
