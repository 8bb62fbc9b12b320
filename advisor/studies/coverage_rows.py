"""From judged cells to rows: what a row covers at one timing, what it loses to, and which row helps it out."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from advisor.advice.wording import listed
from advisor.rules.vocabulary import Vocabulary
from advisor.sentences import in_words, say
from advisor.studies.coverage_answer import Cell, Partner, Row
from advisor.studies.coverage_cells import Timed
from advisor.studies.coverage_timing import Timing, best_timing, longest, success_of
from advisor.studies.weighing import STANDS, WINS, FrameRun, Weigher, runs_of, tags_of

__all__ = ["Terms", "cell_of", "partners_of", "row_of", "row_order"]

MOST_PARTNERS = 3
LOST = ("loses",)


class Terms(Struct, frozen=True, kw_only=True):
    """What holds for all rows: who times, the chosen replies, the spread in frames, the order of verdicts."""

    timed_by: str
    cover: tuple[str, ...]
    names: dict[str, str]
    spread: float | None
    vocabulary: Vocabulary


def cell_of(timed: Timed, terms: Terms, weigher: Weigher) -> Cell:
    """One cell in words and numbers, at the delay that is best for whoever times it."""
    rank = {word: i for i, word in enumerate(terms.vocabulary.verdicts)}
    sign = 1 if terms.timed_by == "me" else -1
    window = min(timed.windows, key=lambda w: (sign * rank[w.verdict], w.first))
    pair, judged = timed.asked[window.first]
    rule, sentence = weigher.why(pair, judged)
    covers, loses = _runs(timed, WINS), _runs(timed, LOST)
    width = longest(covers if terms.timed_by == "me" else loses)
    outcome = pair.outcome
    return Cell(
        reply=timed.theirs.entry.key,
        name=timed.theirs.entry.name,
        verdict=window.verdict,
        by=window.by,
        effect=window.effect,
        delay=window.first,
        frame=pair.exchange.frame if pair.exchange else None,
        dealt=outcome.dealt if outcome else None,
        taken=outcome.taken if outcome else None,
        sentence=sentence,
        rule=rule,
        windows=timed.windows,
        covers=covers,
        loses=loses,
        width=width,
        success=success_of(width, terms.spread),
        tags=tags_of(judged),
        hangs_on=weigher.missing([pair], [judged]) if window.verdict == "unknown" else [],
    )


def _runs(timed: Timed, verdicts: Sequence[str]) -> list[FrameRun]:
    return runs_of(d for w in timed.windows if w.verdict in verdicts for d in range(w.first, w.last + 1))


def row_of(timed: Sequence[Timed], cells: list[Cell], terms: Terms) -> Row:
    """One option of mine over its cells; ``partners`` is filled in once all rows are known."""
    entry = timed[0].mine.entry
    chosen = [cell for cell in cells if cell.reply in terms.cover]
    timing = _mine(chosen) if terms.timed_by == "me" else _theirs(chosen)
    if terms.timed_by == "me":
        lost = [c.reply for c in chosen if timing.aim is not None and _at(c, timing.aim) in LOST]
        if timing.aim is None:
            lost = [c.reply for c in chosen if c.verdict in LOST]
    else:
        lost = [c.reply for c in chosen if c.loses]
    dealt = [_dealt(t, timing.aim) for t in timed if t.theirs.entry.key in timing.covers]
    damage = None if not dealt or None in dealt else min(d for d in dealt if d is not None)
    row = Row(
        option=entry.key,
        name=entry.name,
        kind=entry.move.kind,
        first_active=entry.move.hits[0].first_active if entry.move.hits else None,
        covered=len(timing.covers),
        of=len(chosen),
        covers=list(timing.covers),
        loses_to=lost,
        left=[c.reply for c in chosen if c.reply not in timing.covers and c.reply not in lost],
        windows=list(timing.windows),
        width=timing.width,
        aim=timing.aim,
        success=success_of(timing.width, terms.spread) if terms.timed_by == "me" else None,
        damage=damage,
        partners=[],
        needs=list(entry.unmet),
        sentence="",
        cells=cells,
    )
    row.sentence = _sentence(row, terms)
    return row


def _mine(chosen: Sequence[Cell]) -> Timing:
    return best_timing({cell.reply: cell.covers for cell in chosen})


def _theirs(chosen: Sequence[Cell]) -> Timing:
    """The replies that never beat it, and the delays of theirs on which none of the chosen ones does."""
    stands = tuple(c.reply for c in chosen if all(w.verdict in STANDS for w in c.windows))
    reach = min((c.windows[-1].last for c in chosen), default=-1)
    bad = {
        d for c in chosen for w in c.windows if w.verdict not in STANDS for d in range(w.first, w.last + 1)
    }  # fmt: skip
    return Timing(covers=stands, windows=tuple(runs_of(d for d in range(reach + 1) if d not in bad)))


def _at(cell: Cell, delay: int) -> str:
    """The verdict of a cell at a delay; beyond its own delays (a follow-up) its last one."""
    return next((w.verdict for w in cell.windows if w.first <= delay <= w.last), cell.windows[-1].verdict)


def _dealt(timed: Timed, aim: int | None) -> float | None:
    """Damage at the asked delay nearest to the aim among those that win."""
    wins = [d for d, (_, judged) in timed.asked.items() if judged.verdict in WINS]
    if aim is None or not wins:
        return None
    outcome = timed.asked[min(wins, key=lambda d: (abs(d - aim), d))][0].outcome
    return outcome.dealt if outcome else None


def row_order(row: Row, terms: Terms) -> tuple[float, ...]:
    """Sort key, best first: replies covered, fewest lost, width, damage, how much is won over all delays, speed.

    When they time it: fewest replies that beat it, then fewest of their timings that do.
    """
    chosen = [c for c in row.cells if c.reply in terms.cover]
    won = sum(run.width for c in chosen for run in c.covers)
    speed = row.first_active if row.first_active is not None else 1000
    if terms.timed_by == "me":
        return (-row.covered, -row.width, -(row.damage or 0.0), len(row.loses_to), -won, speed)
    lost = sum(run.width for c in chosen for run in c.loses)
    return (len(row.loses_to), lost, -row.covered, -won, speed)


def partners_of(row: Row, rows: Sequence[Row], terms: Terms) -> list[Partner]:
    """The rows that cover most of what ``row`` loses to (else leaves open), at one timing of theirs; best first."""
    wanted = row.loses_to or row.left
    found = []
    for other in rows:
        if other.option == row.option:
            continue
        cells = [c for c in other.cells if c.reply in wanted]
        timing = _mine(cells) if terms.timed_by == "me" else _theirs(cells)
        if timing.covers:
            found.append((-len(timing.covers), -timing.width, row_order(other, terms), other, timing))
    found.sort(key=lambda f: f[:3])
    return [
        Partner(
            option=other.option, name=other.name, covers=list(timing.covers), of=len(wanted),
            windows=list(timing.windows), width=timing.width,
        )
        for _, _, _, other, timing in found[:MOST_PARTNERS]
    ]  # fmt: skip


def _sentence(row: Row, terms: Terms) -> str:
    """What it covers, when, how strict that is, and what it loses to."""
    lost = ""
    if row.loses_to:
        lost += say("; loses to {loses_to}", loses_to=listed([terms.names[r] for r in row.loses_to]))
    if row.left:
        lost += say("; nothing is won against {left}", left=listed([terms.names[r] for r in row.left]))
    if terms.timed_by == "them":
        if not row.loses_to and row.covered == row.of:
            return say("{row} holds against all {of}, however they time it.", row=row.name, of=row.of)
        widths = [
            say("{reply} ({width} of their timings)", reply=c.name, width=c.width)
            for c in row.cells if c.reply in row.loses_to
        ]  # fmt: skip
        beaten = say("; {widths} can beat it", widths=listed(widths)) if widths else ""
        return say(
            "{row} holds against {covered} of {of} however they time it{beaten}.",
            row=row.name, covered=row.covered, of=row.of, beaten=beaten,
        )
    if not row.windows:
        return say("{row} covers none of the {of}{lost}.", row=row.name, of=row.of, lost=lost)
    run = max(row.windows, key=lambda r: r.width)
    strict = in_words("a just frame") if row.width == 1 else say("{width} frames", width=row.width)
    when = say("Begun {run} frames late", run=run.shown()) if run.last else in_words("Begun at once")
    chance = say(", hit {success:.0%} of the time", success=row.success) if row.success is not None else ""
    return say(
        "{when} ({strict}{chance}) {row} covers {covered} of {of}{lost}.",
        when=when, strict=strict, chance=chance, row=row.name, covered=row.covered, of=row.of, lost=lost,
    )
