"""What lab trials change in an answer.

Evidence on a response is of all its trials with no reply named, and of those against the replies that it is set
against here; evidence on a row is of the trials against that reply. Where trials decide against theory:

- when they decide on a row, the response's verdict follows from its rows, the lab's word standing for theirs, as the
  verdicts are defined: it beats some and loses to none, is risky, loses. Theory's verdict stays when it is more
  cautious, unless the lab raised a row;
- else, when they decide on the response, the lab's word is the verdict.

The rows keep theory's verdict, with the evidence beside it. In mode ``show`` nothing but the evidence is added.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

import msgspec
from msgspec import Struct

from advisor.advice.case import Case
from advisor.advice.evidence import Contradiction, Evidence, TrialRules, decides, disagree, evidence
from advisor.advice.strictness import window_of
from advisor.sentences import in_words, say
from advisor.verdicts import Tally

if TYPE_CHECKING:
    from advisor.solver.timing_spread import SpreadEstimate

__all__ = ["LabSays", "Tried", "lab_says"]

Counts = Mapping[tuple[str, str | None], tuple[int, int]]
WINS = frozenset({"guaranteed", "in_range", "beats", "risky"})
HURTS = frozenset({"loses", "trades", "risky"})


class Tried(Struct, kw_only=True, frozen=True):
    """The trials of one situation: (successes, tries) by (response, reply), reply None when none was named.

    ``spread`` is the timing spread of who plays, in frames; ``mode`` follow lets clear trials decide.
    """

    counts: Counts
    mode: Literal["follow", "show"] = "follow"
    rules: TrialRules = TrialRules()
    spread: SpreadEstimate | None = None


class LabSays(Struct, kw_only=True, frozen=True):
    """Evidence on a response as a whole, on its rows by the pair's index, and the verdict that advice goes by."""

    whole: Evidence
    rows: dict[int, Evidence]
    verdict: str
    follow: bool

    @property
    def decides(self) -> bool:
        """The verdict is the lab's, not theory's."""
        found = self.whole.contradiction
        return found is not None and found.verdict != self.verdict

    def sentence(self, theory: str) -> str:
        """Why, in one sentence; ``theory`` is the one without trials."""
        found = self.whole.contradiction
        if found is None or not self.decides:
            return theory
        return say(
            "The lab decides for {verdict}, {successes} of {tries} came off; theory says {other}: {theory}",
            verdict=in_words(self.verdict), successes=self.whole.successes, tries=self.whole.tries,
            other=in_words(found.verdict), theory=theory,
        )  # fmt: skip

    def disagreements(self, names: Mapping[int, str]) -> list[str]:
        """What contradicts theory without changing the verdict; ``names`` are the replies' by the pair's index.

        Nothing in mode ``show``, where the evidence alone says so.
        """
        told = [] if self.decides else [(self.whole, "")]
        told += [(row, names[i]) for i, row in self.rows.items()]
        return [_disagreement(one, reply) for one, reply in told if one.contradiction] if self.follow else []


def _disagreement(one: Evidence, reply: str) -> str:
    assert one.contradiction is not None, "only what contradicts is told"
    values = {"successes": one.successes, "tries": one.tries, "verdict": in_words(one.contradiction.verdict)}
    if not reply:
        return say("lab and theory disagree: {successes} of {tries} came off, theory says {verdict}", **values)
    return say(
        "lab and theory disagree against {reply}: {successes} of {tries} came off, theory says {verdict}",
        reply=reply, **values,
    )  # fmt: skip


def lab_says(tried: Tried, case: Case, option: str, tally: Tally, verdict: str) -> LabSays | None:
    """What the trials of ``option`` say beside theory's ``verdict``; None when there is none that counts here."""
    rows: dict[int, Evidence] = {}
    successes, tries = tried.counts.get((option, None), (0, 0))
    for i in tally.pairs:
        k, n = tried.counts.get((option, case.pairs[i].theirs.key), (0, 0))
        if n:
            rows[i] = _evidence(tried, case, [i], case.judged[i].verdict, k, n)
            successes, tries = successes + k, tries + n
    if not tries:
        return None
    whole = _evidence(tried, case, tally.pairs, verdict, successes, tries)
    if not any(row.follow != case.judged[i].verdict for i, row in rows.items()):
        return LabSays(whole=whole, rows=rows, verdict=whole.follow, follow=tried.mode == "follow")
    order = list(case.rules.vocabulary.verdicts)
    follow = _over_rows(case, tally, rows, verdict, order)
    return LabSays(whole=_by_rows(whole, case, rows, verdict, follow), rows=rows, verdict=follow, follow=True)


def _evidence(tried: Tried, case: Case, at: Sequence[int], verdict: str, k: int, n: int) -> Evidence:
    spread = tried.spread.spread if tried.spread else None
    window = None
    if spread is not None:
        window = window_of(case.situation, [case.pairs[i] for i in at], [case.judged[i] for i in at])
    return evidence(verdict, k, n, window=window, spread=spread, rules=tried.rules, decide=tried.mode == "follow")


def _over_rows(case: Case, tally: Tally, rows: Mapping[int, Evidence], verdict: str, order: list[str]) -> str:
    """The verdict over all rows, those that the lab decides by its word."""
    each = {i: rows[i].follow if i in rows else case.judged[i].verdict for i in tally.pairs}
    wins, hurts = any(v in WINS for v in each.values()), any(v in HURTS for v in each.values())
    if wins and hurts:
        found = "risky"
    elif hurts:
        found = "trades" if "loses" not in each.values() else "loses"
    elif "unknown" in each.values():
        found = "unknown"
    else:
        found = "beats" if wins else "holds"
    raised = any(order.index(each[i]) < order.index(case.judged[i].verdict) for i in rows)
    return found if raised else max(found, verdict, key=order.index)


def _by_rows(whole: Evidence, case: Case, rows: Mapping[int, Evidence], verdict: str, follow: str) -> Evidence:
    """Evidence on the response when single replies decide: their counts in the sentence."""
    decided = [
        say(
            "{verdict} against {reply} ({successes} of {tries})", verdict=in_words(row.follow),
            reply=case.pairs[i].theirs.name, successes=row.successes, tries=row.tries,
        )
        for i, row in rows.items() if row.follow != case.judged[i].verdict
    ]  # fmt: skip
    says = whole.contradiction.says if whole.contradiction else None
    head = whole.sentence.removesuffix(f": {decides()}").removesuffix(f": {disagree()}")
    word = decides() if follow != verdict else in_words("the verdict stays")
    return msgspec.structs.replace(
        whole, follow=follow, sentence=f"{head}: {word}: {', '.join(decided)}",
        contradiction=Contradiction(verdict=verdict, says=says, decisive=True, follow=follow),
    )  # fmt: skip
