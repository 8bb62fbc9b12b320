"""One option of mine over all that it is set against: the delay at which it answers most."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from math import fsum

from advisor.studies.beats_answer import When
from advisor.studies.beats_chance import Chance
from advisor.studies.beats_rows import Group
from advisor.studies.beats_stage import Stage
from advisor.studies.weighing import FrameRun

__all__ = ["best_delay", "grouped"]


def grouped(
    stages: Sequence[Stage], chances: Sequence[Chance], shares: Mapping[str, float]
) -> Iterator[Group]:
    """The chances by option; with one stage each chance by itself, with several one group an option.

    Several options of theirs are met with the same delay: the one on which the option answers most of what they
    do. ``shares`` has how much of it each of their options is; one that is left out is all of it.
    """
    if len(stages) == 1:
        for chance in chances:
            delay = chance.runs[0].first if chance.runs else 0
            yield Group(
                when=chance.when, entry=chance.entry, chances=[chance], others=[],
                asked=[_key(stages[0])], delay=delay, runs=chance.runs, shares=shares,
            )
        return
    by_option: dict[str, list[Chance]] = {}
    for chance in chances:
        by_option.setdefault(chance.entry.key, []).append(chance)
    for found in by_option.values():
        yield _group(stages, found, shares)


def _group(stages: Sequence[Stage], chances: list[Chance], shares: Mapping[str, float]) -> Group:
    alive = stages[0].when == "life"
    delay, runs = best_delay(chances, shares) if alive else (0, [])
    chosen: list[Chance] = []
    for stage in stages:
        mine = [c for c in chances if c.stage is stage and (not alive or _holds(c, delay))]
        if mine:
            chosen.append(max(mine, key=lambda c: c.worth))
    met = {id(c.stage) for c in chosen}
    others = [s for s in stages if alive and id(s) not in met]
    words = {c.when for c in chosen}
    when: When = words.pop() if len(words) == 1 else "during"
    return Group(
        when=when, entry=chances[0].entry, chances=chosen, others=others,
        asked=[_key(s) for s in stages], delay=delay, runs=runs, shares=shares,
    )


def _key(stage: Stage) -> str:
    return stage.theirs.key if stage.when == "gap" else stage.step.id


def _holds(chance: Chance, delay: int) -> bool:
    return any(run.first <= delay <= run.last for run in chance.runs)


def best_delay(chances: Sequence[Chance], shares: Mapping[str, float]) -> tuple[int, list[FrameRun]]:
    """The first delay on which most of what they do is answered, and every run of such delays.

    What hangs on something unknown counts only when nothing is sure.
    """
    sure = [c for c in chances if c.how != "open"] or list(chances)
    cuts = sorted({edge for c in sure for run in c.runs for edge in (run.first, run.last + 1)})
    most, runs = 0.0, list[FrameRun]()
    for first, stop in pairwise(cuts):
        met = {id(c.stage): c.stage for c in sure if _holds(c, first)}
        # Rounded once whatever the order, so that equal shares stay equal.
        count = fsum(shares.get(_key(stage), 1.0) for stage in met.values())
        if count > most:
            most, runs = count, [FrameRun(first=first, last=stop - 1)]
        elif count == most and count:
            if runs and runs[-1].last + 1 == first:
                runs[-1] = FrameRun(first=runs[-1].first, last=stop - 1)
            else:
                runs.append(FrameRun(first=first, last=stop - 1))
    return (runs[0].first if runs else 0), runs
