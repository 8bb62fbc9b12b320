"""What my own hands change: the chance of each option, and the success rates at which the ranking flips."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.sentences import say
from advisor.solver.flips import belongs, flips
from advisor.solver.intervals import Trials, posterior
from advisor.solver.matrix import Equilibrium
from advisor.studies.guess_model import Execution, Flip, OwnTrials
from advisor.studies.guess_table import Table

__all__ = ["executions"]

ALWAYS = 1 - 1e-9


def executions(
    table: Table, mix: Equilibrium, rows: Sequence[int], trials: Sequence[OwnTrials]
) -> list[Execution]:
    """One for each of ``rows`` that may fail, in that order; ``table`` and ``mix`` are of the whole game."""
    own = {one.option: one for one in trials}
    chances = [1.0 if chance is None else chance for chance in table.chance]
    missed = np.where(np.isnan(table.missed), table.clean, table.missed)
    out = []
    for i in rows:
        plan = table.mine[i]
        chance, given = table.chance[i], own.get(plan.ready.entry.key)
        if chance is None or (given is None and chance > ALWAYS):
            continue
        found = flips(table.clean, missed, chances, i, columns=mix.columns)
        used = belongs(table.clean, missed, chances, i)
        shown = [
            Flip(chance=one.chance, below=table.mine[one.below[0]].name, above=table.mine[one.above[0]].name)
            for one in found
            if one.leads
        ]
        low = high = None
        if given is not None:
            between = posterior(Trials(given.successes, given.tries)).interval()
            low, high = between.low, between.high
        out.append(
            Execution(
                option=plan.key, name=plan.name, chance=chance, low=low, high=high,
                source="trials" if given is not None else "spread", flips=shown,
                sentence=_sentence(plan.name, chance, used),
            )
        )  # fmt: skip
    return out


def _sentence(name: str, chance: float, used: tuple[float, float] | None) -> str:
    start = say("{name} comes off {chance:.0%} of the time", name=name, chance=chance)
    if used is None:
        return say("{start}; it is not needed in the mix at any rate.", start=start)
    low, high = used
    if low <= 0 and high >= 1:
        return say("{start}; it belongs in the mix at any rate.", start=start)
    if high >= 1:
        return say("{start}; from {low:.0%} on it belongs in the mix.", start=start, low=low)
    if low <= 0:
        return say("{start}; up to {high:.0%} it belongs in the mix.", start=start, high=high)
    return say("{start}; between {low:.0%} and {high:.0%} it belongs in the mix.", start=start, low=low, high=high)
