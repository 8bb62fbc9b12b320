"""My own hands in a payoff table: how often an option comes off, and what happens when it does not."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from advisor.errors import QuestionError, Unanswerable, did_you_mean
from advisor.facts import Pair, meeting_of
from advisor.facts.outcome import Outcome
from advisor.solver.intervals import Trials, posterior
from advisor.studies.coverage_cells import Grid, later
from advisor.studies.guess_model import OwnTrials
from advisor.studies.guess_table import LATE, Plan, Table, lands_on
from advisor.studies.guess_worth import Worth

__all__ = ["executed"]


def executed(
    table: Table, grid: Grid, worth: Worth, spread: float | None, trials: Sequence[OwnTrials]
) -> Table:
    """The table with the payoffs that a player's hands really reach.

    With own trials an option comes off with (successes + 1/2) / (tries + 1), the mean of the Jeffreys posterior;
    else it counts as begun ``LATE`` frames late, and what it would still touch then does not count. With a timing
    spread every frame on which it may be begun counts with its chance. A follow-up of a string and what they time
    has no timing of mine.

    Errors: ``Unanswerable`` for trials of an option that is no row.
    """
    own = _own(table, trials)
    payoff = table.payoff.copy()
    chance: list[float | None] = [None] * len(table.mine)
    missed = np.full_like(payoff, np.nan)
    late: dict[int, NDArray[np.float64]] = {}
    timings: dict[int, list[int]] = {}
    for i, plan in enumerate(table.mine):
        timings.setdefault(id(plan.ready), []).append(i)
    for i, plan in enumerate(table.mine):
        given = own.get(plan.ready.entry.key)
        by_hand = spread is not None and grid.timed_by == "me" and not plan.ready.entry.follows
        if given is None and not by_hand:
            continue
        if id(plan.ready) not in late:
            late[id(plan.ready)] = _late(plan, table.theirs, grid, worth)
        idle = late[id(plan.ready)]
        if given is not None:
            p = posterior(Trials(given.successes, given.tries)).mean
            miss = idle
        else:
            assert spread is not None
            others = timings[id(plan.ready)]
            shares, lost = lands_on([table.mine[k] for k in others], plan, spread)
            p = shares[others.index(i)]
            miss = _mean([(s, table.payoff[k]) for s, k in zip(shares, others, strict=True) if k != i], (lost, idle))
        chance[i], missed[i] = p, miss
        payoff[i] = p * table.payoff[i] + ((1 - p) * miss if p < 1 else 0.0)
    return msgspec.structs.replace(table, payoff=payoff, chance=chance, missed=missed)


NEGLIGIBLE = 1e-9


def _mean(
    parts: list[tuple[float, NDArray[np.float64]]], last: tuple[float, NDArray[np.float64]]
) -> NDArray[np.float64]:
    """The mean of lines by their weights; what hardly ever happens does not make the rest unknown."""
    kept = [(weight, line) for weight, line in (*parts, last) if weight > NEGLIGIBLE]
    if not kept:
        return last[1]
    total = sum(weight for weight, _ in kept)
    return np.sum([weight / total * line for weight, line in kept], axis=0)  # type: ignore[no-any-return]


def _late(plan: Plan, theirs: Sequence[Plan], grid: Grid, worth: Worth) -> NDArray[np.float64]:
    """What the option is worth against each of theirs when it is begun so late that it does not count."""
    out = []
    for column in theirs:
        other = later(column.ready, column.delay) if grid.timed_by == "them" else column.ready
        value = worth(_unstruck(meeting_of(grid.situation, plan.ready, other, LATE))).value
        out.append(np.nan if value is None else value)
    return np.array(out)


def _unstruck(pair: Pair) -> Pair:
    """The pair without what my attack would still do ``LATE`` frames on: it was lost, so nothing comes of it."""
    exchange, outcome = pair.exchange, pair.outcome
    if exchange is None or outcome is None or exchange.by not in ("me", "both"):
        return pair
    return msgspec.structs.replace(
        pair, exchange=msgspec.structs.replace(exchange, by="none", effect="none"),
        outcome=Outcome(dealt=0.0, taken=0.0),
    )  # fmt: skip


def _own(table: Table, trials: Sequence[OwnTrials]) -> dict[str, OwnTrials]:
    known = {plan.ready.entry.key for plan in table.mine}
    for i, one in enumerate(trials):
        if one.option not in known:
            raise Unanswerable(
                "option-unknown", f"`{one.option}` is none of my options here",
                help=did_you_mean(one.option, known) or f"they are {', '.join(sorted(known)[:12])}",
                pointer=f"/trials/{i}/option",
            )  # fmt: skip
        if one.successes > one.tries:
            raise QuestionError(
                "value-invalid", f"{one.successes} successes in {one.tries} tries",
                help="give no more successes than tries", pointer=f"/trials/{i}/successes",
            )  # fmt: skip
    return {one.option: one for one in trials}
