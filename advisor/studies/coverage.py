"""Coverage: my options set against theirs over every delay, and which of mine covers most of theirs at one timing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence, Set
from typing import Annotated, Literal

from msgspec import Meta

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.wording import fitted, setting
from advisor.errors import QuestionError, Unanswerable, did_you_mean
from advisor.facts import Question, Ready, Situation, ready, settle
from advisor.facts.question import Asked, Id, Ids, KnockedDown
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.coverage_answer import Cell, CoverageAnswer, ReplyHead, Row
from advisor.studies.coverage_cells import Grid, Timed, lands, loses
from advisor.studies.coverage_rows import Terms, cell_of, partners_of, row_of, row_order
from advisor.studies.coverage_timing import best_timing
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref, runs_of

__all__ = ["STUDY", "Coverage", "coverage"]

MOST_CELLS = 1800
"""Cells that one request has judged; rows beyond that are ranked by contact alone and not listed."""

SPARE = 6
"""Rows judged beyond those listed, as contact alone may rank them otherwise."""


class Coverage(Asked, kw_only=True, forbid_unknown_fields=True):
    """Which of my options covers which of theirs, and with what timing?"""

    responses: Annotated[Ids | None, Meta(description="Only these options of mine; all when left out.")] = None
    replies: Annotated[
        Ids | str | None,
        Meta(description="Their options: ids, or `key` or `all`; chosen by the situation when left out."),
    ] = None
    cover: Annotated[
        Ids | None, Meta(description="The replies to be covered, some of `replies`; all of them when left out.")
    ] = None
    delays: Annotated[int, Meta(ge=0, le=120, description="Longest delay to try, frames.")] = 60
    spread: Annotated[
        Annotated[float, Meta(gt=0, le=120)] | None,
        Meta(description="My timing spread (standard deviation) in frames; no chance is given when left out."),
    ] = None
    limit: Annotated[int, Meta(ge=1, le=100, description="How many rows to list.")] = 10
    picture: Annotated[
        Literal["table", "timing"],
        Meta(description="What a picture of the answer shows: all rows, or one row over every delay."),
    ] = "table"
    row: Annotated[
        Id | None, Meta(description="With `timing`: the option of mine to show, a row; the best one when left out.")
    ] = None


def coverage(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Coverage) -> CoverageAnswer:
    """The table of my options against theirs, best rows first.

    Errors: ``QuestionError`` and ``Unanswerable``, see ``advisor.facts.settle``, and for ``cover`` and ``row``.
    """
    situation = settle(pack, _question(request))
    mine, theirs, further = ready(situation)
    theirs = [*theirs, *further]
    moment = request.moment
    timed_by = "them" if isinstance(moment, KnockedDown) and moment.floored == "me" else _timed_by(situation)
    names = {r.entry.key: r.entry.name for r in theirs}
    terms = Terms(
        timed_by=timed_by, cover=_cover(request, names), names=names, spread=request.spread,
        vocabulary=rules.vocabulary,
    )  # fmt: skip
    grid = Grid(situation, request.delays, timed_by)
    listed = _promising(grid, mine, theirs, terms, request.limit)
    weigher = Weigher(situation, rules, evaluator)
    grid.judge([cell for row in listed for cell in row], weigher)
    rows = [row_of(row, [cell_of(cell, terms, weigher) for cell in row], terms) for row in listed]
    rows.sort(key=lambda row: row_order(row, terms))
    shown = rows[: request.limit]
    _check_row(request, shown, {r.entry.key for r in mine})
    for row in shown:
        row.partners = partners_of(row, rows, terms)
    return CoverageAnswer(
        summary=_summary(shown, terms),
        situation=setting(situation, list(names)),
        timed_by="me" if timed_by == "me" else "them",
        delays=request.delays,
        spread=request.spread,
        replies=[ReplyHead(reply=key, name=name, chosen=key in terms.cover) for key, name in names.items()],
        rows=shown,
        considered=len(mine),
        judged=len(rows),
        missing=_most_wanted([cell for row in shown for cell in row.cells]),
        cautions=[*CAUTIONS, *situation.assumed, *_cut_short(len(shown), min(request.limit, len(mine)))],
        pack=pack_ref(pack, rules, evaluator),
    )


def _question(request: Coverage) -> Question:
    replies = request.replies
    if isinstance(replies, str) and replies not in ("key", "all"):
        raise QuestionError(
            "value-invalid", f"`replies` is `{replies}`", help="give a list of ids, `key` or `all`", pointer="/replies"
        )
    return request.question(responses=request.responses, replies=replies)  # type: ignore[arg-type]


def _timed_by(situation: Situation) -> str:
    """Who lies on the ground is timed by the other; else the delay is mine."""
    return "them" if situation.free.me_held == "knockdown" else "me"


def _cover(request: Coverage, names: dict[str, str]) -> tuple[str, ...]:
    """The replies that count. Errors: ``QuestionError`` for none, ``Unanswerable`` for one that is no column."""
    if request.cover is None:
        return tuple(names)
    if not request.cover:
        raise QuestionError(
            "question-impossible", "`cover` is empty", help="name at least one reply, or leave it out",
            pointer="/cover",
        )  # fmt: skip
    for i, key in enumerate(request.cover):
        if key not in names:
            raise Unanswerable(
                "option-unknown",
                f"`{key}` is none of the replies here",
                help=did_you_mean(key, names) or f"they are {', '.join(names)}",
                pointer=f"/cover/{i}",
            )
    return tuple(dict.fromkeys(request.cover))


def _check_row(request: Coverage, shown: Sequence[Row], tried: Set[str]) -> None:
    """Errors: ``Unanswerable`` for a row to show that is none of those listed; ``tried`` are all options of mine."""
    listed = [row.option for row in shown]
    if request.row is None or request.row in listed:
        return
    if request.row in tried:
        help = f"raise `limit` above {request.limit}, or name it in `responses`"
    else:
        help = did_you_mean(request.row, listed) or f"they are {', '.join(listed) or 'none'}"
    raise Unanswerable("option-unknown", f"`{request.row}` is none of the rows here", help=help, pointer="/row")


def _promising(
    grid: Grid, mine: Sequence[Ready], theirs: Sequence[Ready], terms: Terms, limit: int
) -> list[list[Timed]]:
    """The rows worth judging: by contact alone, as many as are listed and some more."""
    rows = [[grid.cell(a, b) for b in theirs] for a in mine]
    room = max(1, min(2 * limit + SPARE, MOST_CELLS // max(1, len(theirs))))
    return sorted(rows, key=lambda row: _promise(row, terms))[:room]


def _promise(row: Sequence[Timed], terms: Terms) -> tuple[int, ...]:
    chosen = [cell for cell in row if cell.theirs.entry.key in terms.cover]
    lost = sum(p.width for cell in chosen for p in cell.pieces if loses(p))
    if terms.timed_by == "them":
        return sum(any(loses(p) for p in cell.pieces) for cell in chosen), lost
    timing = best_timing(
        {
            cell.theirs.entry.key: runs_of(
                d for p in cell.pieces if lands(p) for d in range(p.first, p.last + 1)
            )
            for cell in chosen
        }
    )  # fmt: skip
    return -len(timing.covers), -timing.width, lost


def _cut_short(shown: int, wanted: int) -> list[str]:
    if shown >= wanted:
        return []
    said = say(
        "Only {shown} of {wanted} rows were worked out; fewer `replies` leave room for more.",
        shown=shown, wanted=wanted,
    )  # fmt: skip
    return [said]


def _most_wanted(cells: Sequence[Cell]) -> list[Missing]:
    """Missing properties, the one on which most cells hang first."""
    count = Counter(missing for cell in cells for missing in cell.hangs_on)
    return sorted(count, key=lambda m: (-count[m], m))


def _summary(rows: Sequence[Row], terms: Terms) -> str:
    if not rows:
        return in_words("No option left to weigh.")
    best = rows[0]
    name = fitted(best.name, 32)
    if terms.timed_by == "them":
        beaten = len(best.loses_to)
        if not beaten and best.covered == best.of:
            return fitted(say("{name} holds against all {of}, however they time it", name=name, of=best.of))
        return fitted(say(
            "{name} holds against {covered} of {of}, {beaten} can beat it if timed well",
            name=name, covered=best.covered, of=best.of, beaten=beaten,
        ))
    if not best.covered:
        return fitted(say("Nothing covers any of the {of}; {name} comes nearest", of=best.of, name=name))
    strict = in_words("just frame") if best.width == 1 else say("{width} frames", width=best.width)
    return fitted(say(
        "{name} covers {covered} of {of}, begun {aim} late, {strict} wide",
        name=name, covered=best.covered, of=best.of, aim=best.aim, strict=strict,
    ))


STUDY = Study(
    name="coverage",
    request=Coverage,
    answer=CoverageAnswer,
    run=coverage,
    summary="Coverage of their options over every delay",
    description=(
        "My options against theirs (their wake-up options after a knockdown), each cell with its verdict, reason and "
        "delay windows; for each option of mine the most replies that one timing covers, how wide that window is, "
        "the chance to hit it, what it loses to, and which option beats that."
    ),
    example={
        "me": {"character": "marl"}, "them": {"character": "wenna"},
        "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 20},
        "distance": "close", "spread": 1.5, "limit": 3,
    },
)
