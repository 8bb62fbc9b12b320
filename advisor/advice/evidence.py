"""What trials say beside theory: the chance behind them, whether they contradict, and which of the two decides.

A verdict of ``TrialRules.working`` says that the response comes off at least half of the time, one of
``TrialRules.losing`` that it does not; with the window and the player's timing spread known, a working verdict
says the chance 2 Phi((w / 2) / sigma) - 1 instead. The interval is of the Beta posterior under Jeffreys' prior: equal
tails, but one tail of the whole (0 below, or 1 above) when no try or every try came off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated

from msgspec import Meta, Struct

from advisor.sentences import in_words, say, spoken
from advisor.solver.intervals import Between, Trials, posterior

if TYPE_CHECKING:
    from advisor.solver.timing_spread import SpreadEstimate

__all__ = [
    "Contradiction", "Evidence", "TrialRules", "decides", "disagree", "evidence", "interval_of", "spread_of",
    "theory_chance",
]


class TrialRules(Struct, kw_only=True, frozen=True):
    """When trials contradict theory, and when they decide.

    ``even`` is the chance that parts working from losing, ``confidence`` that of the interval, ``least`` the
    fewest tries that may decide. Units: chances 0 to 1; counts.
    """

    confidence: float = 0.95
    even: float = 0.5
    least: int = 8
    working: frozenset[str] = frozenset({"guaranteed", "in_range", "beats", "holds"})
    losing: frozenset[str] = frozenset({"loses"})


class Contradiction(Struct, kw_only=True, frozen=True):
    """Trials against theory: what either says, and whether the tries are enough to decide."""

    verdict: Annotated[str, Meta(description="Theory's verdict.")]
    says: Annotated[float | None, Meta(description="Theory's chance, 0 to 1, when window and spread are known.")]
    decisive: Annotated[bool, Meta(description="Tries enough, and clear enough, to decide.")]
    follow: Annotated[str, Meta(description="The verdict that advice goes by.")]


class Evidence(Struct, kw_only=True, frozen=True):
    """What lab trials say: successes in tries, and the chance behind them as a Beta posterior has it."""

    successes: Annotated[int, Meta(description="How often it came off.")]
    tries: Annotated[int, Meta(description="How often it was tried.")]
    mean: Annotated[float, Meta(description="Mean chance of success, 0 to 1.")]
    low: Annotated[float, Meta(description="Low end of the interval of the chance.")]
    high: Annotated[float, Meta(description="High end of the interval of the chance.")]
    contradiction: Annotated[Contradiction | None, Meta(description="Null when theory and trials agree.")]
    follow: Annotated[str, Meta(description="The verdict to go by: the lab's when it decides, else theory's.")]
    sentence: Annotated[str, Meta(description="Both sides in one line.")]


DEFAULT = TrialRules()


def decides() -> str:
    """How the sentence ends when the lab overrules theory."""
    return in_words("the lab decides")


def disagree() -> str:
    """How it ends when trials contradict theory and do not decide."""
    return in_words("they disagree")


def interval_of(trials: Trials, confidence: float = 0.95) -> Between:
    """The posterior's interval; one-sided at the ends. Errors: ``QuestionError`` for a confidence that is none."""
    known = posterior(trials)
    if trials.tries and trials.successes in (0, trials.tries):
        one_sided = known.interval(2 * confidence - 1) if confidence > 0.5 else known.interval(confidence)
        return Between(0.0, one_sided.high) if not trials.successes else Between(one_sided.low, 1.0)
    return known.interval(confidence)


def theory_chance(window: float, spread: float) -> float:
    """2 Phi((w / 2) / sigma) - 1 = erf(w / (2 sqrt(2) sigma)). Units: both in frames, above 0."""
    return math.erf(window / (2 * math.sqrt(2) * spread))


def spread_of(timed: Iterable[tuple[float, int, int]], confidence: float = 0.95) -> SpreadEstimate | None:
    """The player's timing spread from (window, successes, tries) rows; None without any try. Units: frames."""
    from advisor.solver.timing_spread import spread_from_trials

    rows = [row for row in timed if row[2]]
    return spread_from_trials(rows, confidence) if rows else None


def evidence(
    verdict: str, successes: int, tries: int, *, window: float | None = None, spread: float | None = None,
    rules: TrialRules = DEFAULT, decide: bool = True,
) -> Evidence:
    """Theory's ``verdict`` beside ``successes`` in ``tries``; without ``decide`` theory is followed whatever they say.

    Units: ``window`` and ``spread`` in frames. Errors: ``QuestionError`` for counts that are none.
    """
    return _evidence(verdict, successes, tries, window, spread, rules, decide, spoken())


@lru_cache(maxsize=4096)
def _evidence(
    verdict: str, successes: int, tries: int, window: float | None, spread: float | None, rules: TrialRules,
    decide: bool, language: str,
) -> Evidence:
    """``evidence``, kept for each language: there is a sentence in it."""
    del language
    trials = Trials(successes, tries)
    between = interval_of(trials, rules.confidence)
    says = None
    if verdict in rules.working and window is not None and spread is not None:
        says = theory_chance(window, spread)
    found = _contradiction(verdict, says, trials, between, rules, decide) if tries else None
    return Evidence(
        successes=successes, tries=tries, mean=posterior(trials).mean, low=between.low, high=between.high,
        contradiction=found, follow=found.follow if found else verdict,
        sentence=_sentence(verdict, says, trials, between, found, rules),
    )  # fmt: skip


def _contradiction(
    verdict: str, says: float | None, trials: Trials, between: Between, rules: TrialRules, decide: bool
) -> Contradiction | None:
    """The interval leaves out all that theory says; ``loses`` claims less than ``even``, a working verdict the rest."""
    below, above = between.high < rules.even, between.low >= rules.even
    if verdict in rules.losing:
        excluded, other = above, above
    elif verdict in rules.working:
        excluded = below if says is None else not between.low <= says <= between.high
        # A chance that theory itself puts below even is not overruled by trials below even.
        other = below and (says is None or says >= rules.even)
    else:
        return None
    if not excluded:
        return None
    decisive = other and trials.tries >= rules.least
    lab = "beats" if verdict in rules.losing else "loses"
    return Contradiction(verdict=verdict, says=says, decisive=decisive, follow=lab if decisive and decide else verdict)


def _sentence(
    verdict: str, says: float | None, trials: Trials, between: Between, found: Contradiction | None, rules: TrialRules
) -> str:
    if not trials.tries:
        return say("theory: {verdict}; lab: not tried", verdict=in_words(verdict))
    percent = f"{100 * rules.confidence:g} %"
    if not trials.successes:
        range_ = say("at most {chance:.2f}", chance=between.high)
    elif trials.successes == trials.tries:
        range_ = say("at least {chance:.2f}", chance=between.low)
    else:
        range_ = say("{low:.2f} to {high:.2f}", low=between.low, high=between.high)
    theory = in_words(verdict)
    if says is not None:
        theory = say("{verdict}, {chance:.2f} by its window", verdict=theory, chance=says)
    lab = say(
        "theory: {theory}; lab: {successes} of {tries} ({percent} {range})",
        theory=theory, successes=trials.successes, tries=trials.tries, percent=percent, range=range_,
    )  # fmt: skip
    if found is None:
        return lab
    return f"{lab}: {disagree() if found.follow == verdict else decides()}"
