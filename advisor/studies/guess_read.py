"""A read in a guess: what I expect of them, the best response, what it risks, and how far the mix may lean."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from advisor.errors import QuestionError, did_you_mean
from advisor.sentences import say
from advisor.solver import lean as leaning
from advisor.solver.matrix import Equilibrium
from advisor.solver.reads import (
    BestResponse,
    Prior,
    Read,
    best_response,
    observations_needed,
    read_from_counts,
    read_from_odds,
)
from advisor.studies.guess_model import Counted, Lean, ReadAnswer, StatedOdds
from advisor.studies.guess_table import Table

__all__ = ["read_answer"]

STEPS = 8
SHOWN = 1e-6


def read_answer(
    table: Table, mix: Equilibrium, read: Counted | StatedOdds, risk: float | None
) -> ReadAnswer:
    """What the read changes in the game of ``table``.

    What was seen of an option that they may begin at several timings is spread over those as their own mix has
    it. Errors: ``QuestionError`` for an option that is none of theirs, or when nothing of the read is in the table.
    """
    given: Mapping[str, float] = read.counts if isinstance(read, Counted) else read.odds
    weights, unused = _weights(table, mix, given, "/read/counts" if isinstance(read, Counted) else "/read/odds")
    names = [plan.name for plan in table.theirs]
    needed = None
    if isinstance(read, Counted):
        prior = Prior(strength=read.prior, base=mix.columns)
        counts = [round(w) for w in weights]
        believed = read_from_counts(counts, prior)
        needed = observations_needed(table.payoff, counts, prior) if sum(counts) else None
    else:
        believed = read_from_odds(weights)
    best = best_response(table.payoff, believed.mix, mix)
    mix_earns = float(np.array(mix.rows) @ table.payoff @ np.array(believed.mix))
    leans = leaning.frontier(table.payoff, believed.mix, STEPS, mix)
    chosen = None if risk is None else _lean(table, leaning.lean(table.payoff, believed.mix, risk, mix))
    return ReadAnswer(
        expected={name: share for name, share in zip(names, believed.mix, strict=True) if share > SHOWN},
        unused=unused,
        best=[table.mine[i].name for i in best.options],
        earns=best.earns,
        mix_earns=mix_earns,
        exposure=best.worst,
        worst_reply=names[best.worst_reply],
        lean=chosen,
        frontier=[_lean(table, one) for one in leans],
        observations=needed,
        sentence=_sentence(table, believed, best, mix_earns, needed),
    )  # fmt: skip


def _weights(
    table: Table, mix: Equilibrium, given: Mapping[str, float], pointer: str
) -> tuple[list[float], list[str]]:
    """The weight of each column, and the options of the read that are no column."""
    columns: dict[str, list[int]] = {}
    for j, plan in enumerate(table.theirs):
        columns.setdefault(plan.ready.entry.key, []).append(j)
    known = [plan.key for plan in table.theirs]
    out = [0.0] * len(known)
    unused = []
    for key, weight in given.items():
        if key in known:
            out[known.index(key)] += weight
        elif key in columns:
            places = columns[key]
            played = sum(mix.columns[j] for j in places)
            for j in places:
                out[j] += weight * (mix.columns[j] / played if played > SHOWN else 1 / len(places))
        else:
            unused.append(key)
    if not sum(out):
        word = unused[0] if unused else ""
        raise QuestionError(
            "question-impossible", "nothing of the read is an option of theirs here",
            help=did_you_mean(word, [*known, *columns]) or f"their options here are {', '.join(sorted(columns)[:12])}",
            pointer=pointer,
        )  # fmt: skip
    return out, unused


def _lean(table: Table, found: leaning.Lean) -> Lean:
    shares = {table.mine[i].name: share for i, share in enumerate(found.rows) if share > SHOWN}
    return Lean(risk=found.loss, earns=found.earns, worst=found.worst, mix=shares)


def _sentence(table: Table, read: Read, best: BestResponse, mix_earns: float, needed: int | None) -> str:
    name, reply = table.mine[best.option].name, table.theirs[best.worst_reply].name
    text = say(
        "{name} earns {earns:.2f} if it is right, {more:.2f} more than the mix, and {worst:.2f} if they answer "
        "with {reply}",
        name=name, earns=best.earns, more=best.earns - mix_earns, worst=best.worst, reply=reply,
    )  # fmt: skip
    if needed is None:
        return f"{text}."
    if needed == 0:
        return say("{said}; the prior alone is enough to act on.", said=text)
    return say(
        "{said}; {needed} observations in these proportions make it worth acting on (95 %), {observations} were seen.",
        said=text, needed=needed, observations=read.observations,
    )  # fmt: skip


