"""The part of a payoff table that is known, what had to stay out of it, and what would bring it in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from advisor.advice.answer import Missing
from advisor.advice.proof import missing_of
from advisor.advice.wording import listed, property_name
from advisor.errors import QuestionError
from advisor.facts import Pair, unknown_among
from advisor.sentences import in_words, say
from advisor.studies.guess_table import Table, known_lines
from advisor.studies.guess_worth import Priced
from advisor.studies.weighing import Weigher
from advisor.verdicts import Judged

__all__ = ["known_part"]

OPEN = Judged(verdict="unknown", conclusions=[])
FACTS = {
    "the damage": ("exchange.damage_dealt", "exchange.damage_taken"),
    "the advantage that is left": ("exchange.advantage_after",),
    "what the situation that is left is worth": ("exchange.distance_after",),
}
"""What a priced pair lacks, and the facts that would say it."""


def known_part(table: Table, weigher: Weigher) -> tuple[Table, dict[str, str], list[Missing]]:
    """The lines without an unknown payoff, why the others are left out, and what is missing (most wanted first).

    Errors: ``QuestionError`` when nothing stays.
    """
    blank = np.isnan(table.payoff)
    rows, columns = known_lines(table.payoff)
    out: dict[str, str] = {}
    wanted: Counter[Missing] = Counter()
    gone = set(range(blank.shape[1])) - set(columns)
    for j in sorted(gone):
        lacks = _lacking(table, ((i, j) for i in range(blank.shape[0]) if blank[i, j]), weigher)
        out[f"their {table.theirs[j].key}"] = _said(lacks)
        wanted.update(lacks)
    stays = {table.mine[i].ready.entry.key for i in rows}
    for i in sorted(set(range(blank.shape[0])) - set(rows)):
        lacks = _lacking(table, ((i, j) for j in columns if blank[i, j]), weigher)
        if columns and table.mine[i].ready.entry.key not in stays:
            out[table.mine[i].ready.entry.key] = _said(lacks)
        wanted.update(lacks)
    missing = sorted(wanted, key=lambda m: (-wanted[m], m))
    if not rows:
        names = listed([property_name(m) for m in missing])
        raise QuestionError(
            "question-impossible", "every payoff of this situation hangs on something unknown",
            help=f"say or record {names}" if names else "record more of the moves", pointer="/moment",
        )  # fmt: skip
    return table.only(rows, columns), out, missing


def _lacking(table: Table, places: Iterable[tuple[int, int]], weigher: Weigher) -> set[Missing]:
    return {m for place in places for m in _missing(table.pairs[place], table.priced[place], weigher)}


def _missing(pair: Pair, priced: Priced, weigher: Weigher) -> set[Missing]:
    """The properties that would price one pair."""
    here = weigher.situation
    if pair.missing:
        return missing_of(here, weigher.record, [pair], [OPEN], weigher.rules).get(0, set())
    found = [s for fact in FACTS.get(priced.lacks, ()) for s in unknown_among(fact, pair, here)]
    return {Missing(move=s.move, property=s.property) for s in found}


def _said(lacks: Iterable[Missing]) -> str:
    names = listed([property_name(m) for m in sorted(lacks)])
    return say("hangs on {names}", names=names) if names else in_words("its worth is unknown")
