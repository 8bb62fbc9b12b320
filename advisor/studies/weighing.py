"""Pairs weighed for a study: the verdict of the rules, the plain sentence, and what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice import Evaluator, judge_pairs
from advisor.advice.answer import Missing, PackRef
from advisor.advice.proof import missing_of, reasons_of
from advisor.advice.wording import listed, property_name
from advisor.facts import Pair, Situation, situation_record
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.verdicts import Judged

__all__ = ["STANDS", "WINS", "FrameRun", "Weigher", "pack_ref", "runs_of", "tags_of"]

WINS = ("guaranteed", "beats")
STANDS = (*WINS, "holds")
"""Verdicts with which an option is not lost."""


class FrameRun(Struct, frozen=True, kw_only=True):
    """A run of frames, both ends included."""

    first: Annotated[int, Meta(description="First frame of the run.")]
    last: Annotated[int, Meta(description="Last frame of the run.")]

    @property
    def width(self) -> int:
        """How many frames it holds."""
        return self.last - self.first + 1

    def shown(self) -> str:
        """The run as the trade writes it."""
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


def runs_of(frames: Iterable[int]) -> list[FrameRun]:
    """The runs of consecutive frames among ``frames``, in order."""
    out: list[tuple[int, int]] = []
    for frame in sorted(set(frames)):
        if out and out[-1][1] == frame - 1:
            out[-1] = (out[-1][0], frame)
        else:
            out.append((frame, frame))
    return [FrameRun(first=first, last=last) for first, last in out]


def tags_of(judged: Judged) -> list[str]:
    """Tags of every rule that spoke, each once."""
    return list(dict.fromkeys(tag for c in judged.conclusions for tag in c.tags))


def pack_ref(pack: Pack, rules: RuleSet, evaluator: Evaluator) -> PackRef:
    """Which data an answer rests on."""
    return PackRef(
        id=pack.id, name=pack.name, version=pack.version, hash=pack.hash, rules=rules.hash, evaluator=evaluator.name
    )


class Weigher:
    """The rules at work on pairs of one situation."""

    def __init__(self, situation: Situation, rules: RuleSet, evaluator: Evaluator) -> None:
        self.situation = situation
        self.rules = rules
        self.evaluator = evaluator
        self.record = situation_record(situation)

    def judge(self, pairs: Sequence[Pair]) -> list[Judged]:
        """The verdict on each pair."""
        return judge_pairs(pairs, self.record, self.rules, self.evaluator)

    def missing(self, pairs: Sequence[Pair], judged: Sequence[Judged]) -> list[Missing]:
        """Every property that would decide one of the pairs, in order of move and name."""
        found = missing_of(self.situation, self.record, pairs, judged, self.rules)
        return sorted({missing for each in found.values() for missing in each})

    def why(self, pair: Pair, judged: Judged) -> tuple[str, str]:
        """The rule that says most about the pair, and its sentence; what it hangs on when unknown.

        The rule whose verdict holds comes first, then any that spoke.
        """
        if judged.verdict == "unknown":
            return "", _hangs(self.missing([pair], [judged]))
        reasons = reasons_of(self.record, pair.record, judged.conclusions, self.rules, None, self.situation)
        given = [c.rule for c in judged.conclusions if c.verdict == judged.verdict]
        for reason in reasons:
            if not given or reason.rule in given:
                return reason.rule, reason.sentence
        return "", in_words("No rule speaks of it.")

    def said_by(self, tag: str, pair: Pair, judged: Judged) -> tuple[str, str]:
        """The rule that gave ``tag`` and its sentence; both empty when none did."""
        with_tag = [c for c in judged.conclusions if tag in c.tags]
        reasons = reasons_of(self.record, pair.record, with_tag[:1], self.rules, None, self.situation)
        return (reasons[0].rule, reasons[0].sentence) if reasons else ("", "")


def _hangs(missing: Sequence[Missing]) -> str:
    """``Hangs on x, y.``"""
    names = listed([property_name(m) for m in missing])
    return say("Unknown: it hangs on {names}.", names=names) if names else in_words("Unknown: no rule decides it.")
