"""From a question to an answer: facts, rules, verdicts, order, and the reasons in words."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from advisor.advice import wording
from advisor.advice.answer import Advice, Missing, PackRef, ResponseAdvice
from advisor.advice.case import Case, Evaluator
from advisor.advice.proof import against, first_sentence, leaves_of, missing_of, reasons_of
from advisor.advice.rank import Key, sort_key
from advisor.advice.strictness import window_of
from advisor.advice.tried import LabSays, Tried, lab_says
from advisor.facts import (
    Entry,
    Question,
    Record,
    ready,
    settle,
    situation_record,
)
from advisor.facts.question import Explain
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.verdicts import Judged, Tally, judge, tally

__all__ = ["CAUTIONS", "Weighed", "advise"]


class _Cautions:
    """What every answer reminds of, said anew each time: in the language that is spoken then."""

    def __iter__(self) -> Iterator[str]:
        yield in_words(
            "For study, replays, casting and practice; rules on live help in competition are the organiser's and "
            "the game's, and come first."
        )
        yield in_words("This is theory from recorded numbers: test it in the lab.")


CAUTIONS = _Cautions()


class Weighed(Struct, kw_only=True):
    """One response with all that was found out about it, before it is put in words.

    ``judged`` and ``theory`` (the key) are without trials, ``verdict`` and ``key`` with them.
    """

    entry: Entry
    tally: Tally
    record: Record
    judged: Judged
    missing: list[Missing]
    theory: Key
    key: Key
    verdict: str
    lab: LabSays | None


SETTLED = ("guaranteed", "in_range")
BETTER = (*SETTLED, "beats", "holds")


def advise(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, question: Question, tried: Tried | None = None
) -> Advice:
    """The ranked responses to ``question``; ``tried`` are the lab trials of its situation, see ``advice.tried``.

    Errors: ``QuestionError`` and ``Unanswerable``, see ``advisor.facts.settle``.
    """
    situation = settle(pack, question)
    case = Case(situation=situation, record=situation_record(situation), rules=rules)
    mine, theirs, further = ready(situation)
    case.meet(mine, theirs, evaluator)
    weighed = _weigh(case, evaluator, tried)
    if further and not any(w.verdict in SETTLED for w in weighed):
        case.meet(mine, further, evaluator)
        weighed = _weigh(case, evaluator, tried)
    by_theory = min(weighed, key=lambda w: w.theory, default=None)
    weighed.sort(key=lambda w: w.key)
    by_lab = bool(weighed) and (weighed[0] is not by_theory or weighed[0].verdict != weighed[0].judged.verdict)
    listed = weighed[: question.limit]
    answers = [_response(case, w, question.sources, question.explain) for w in listed]
    counts: dict[str, int] = {}
    for w in weighed:
        counts[w.verdict] = counts.get(w.verdict, 0) + 1
    setting = wording.setting(situation, case.replies)
    return Advice(
        summary=wording.summary(situation, answers, by_lab),
        situation=setting,
        responses=answers,
        considered=len(weighed),
        counts=counts,
        excluded=dict(situation.excluded),
        missing=_most_wanted(weighed),
        cautions=[*CAUTIONS, *situation.assumed, *_overruled(weighed[question.limit :])],
        pack=PackRef(
            id=pack.id, name=pack.name, version=pack.version, hash=pack.hash, rules=rules.hash,
            evaluator=evaluator.name,
        ),
    )


def _weigh(case: Case, evaluator: Evaluator, tried: Tried | None) -> list[Weighed]:
    """Add up each response over the replies, let the response rules judge it, and set trials beside that."""
    replies = len(case.replies)
    entries = case.situation.responses
    tallies = [
        tally(range(i * replies, (i + 1) * replies), case.pairs, case.judged) for i in range(len(entries))
    ]
    wanted = missing_of(case.situation, case.record, case.pairs, case.judged, case.rules)
    missing = [sorted({m for i in t.pairs for m in wanted.get(i, ())}) for t in tallies]
    records = [
        _response_record(case, entry, t, lacks) for entry, t, lacks in zip(entries, tallies, missing, strict=True)
    ]
    found = evaluator.conclude("response", case.record, records) if records else []
    out = []
    verdicts = judge(len(records), found, case.rules.vocabulary)
    order = list(case.rules.vocabulary.verdicts)
    for entry, t, record, judged, lacks in zip(entries, tallies, records, verdicts, missing, strict=True):
        key = sort_key(
            judged.verdict, judged.prefer + t.prefer, t, _advantage(case, t),
            entry.move, case.rules.vocabulary,
        )
        lab = lab_says(tried, case, entry.key, t, judged.verdict) if tried and tried.counts else None
        verdict = lab.verdict if lab else judged.verdict
        out.append(
            Weighed(
                entry=entry, tally=t, record=record, judged=judged, missing=lacks, theory=key,
                key=(order.index(verdict), *key[1:]), verdict=verdict, lab=lab,
            )
        )  # fmt: skip
    return out


def _advantage(case: Case, t: Tally) -> int | None:
    """The least advantage that the response leaves over the replies, frames."""
    left = [o.advantage for i in t.pairs if (o := case.pairs[i].outcome) and o.advantage is not None]
    return min(left) if left else None


def _response_record(case: Case, entry: Entry, t: Tally, missing: list[Missing]) -> Record:
    counts = t.counts
    move = entry.move
    loses = _replies_with(case, t, "loses") if "loses" in counts else []
    trades = _replies_with(case, t, "trades") if "trades" in counts else []
    record: Record = {
        "response.option": move.id,
        "response.name": entry.name,
        "response.kind": move.kind,
        "response.tags": (move.hits[0].tags or move.tags) if move.hits else move.tags,
        "response.replies": len(t.pairs),
        "response.guaranteed": counts.get("guaranteed", 0),
        "response.in_range": counts.get("in_range", 0),
        "response.beats": counts.get("guaranteed", 0) + counts.get("beats", 0),
        "response.holds": counts.get("holds", 0),
        "response.trades": counts.get("trades", 0),
        "response.loses": counts.get("loses", 0),
        "response.unknown": counts.get("unknown", 0),
        "response.loses_to": wording.listed(loses),
        "response.not_against": wording.listed([*loses, *trades]),
        "response.trades_with": wording.listed(trades),
        "response.hangs_on": wording.listed([wording.property_name(m) for m in missing]),
    }
    if t.risk is not None:
        record["response.risk"] = t.risk
    if t.damage is not None:
        record["response.damage"] = t.damage
    if move.cost is not None:
        record["response.cost"] = move.cost
    return record


def _replies_with(case: Case, t: Tally, verdict: str) -> list[str]:
    return [case.pairs[i].theirs.name for i in t.pairs if case.judged[i].verdict == verdict]


def _response(case: Case, w: Weighed, sources: bool, explain: Explain) -> ResponseAdvice:
    """One listed response, with as much of its proof as is asked for."""
    entry, t = w.entry, w.tally
    lines = [
        against(case.situation, case.record, case.pairs[i], case.judged[i], case.rules, sources, explain)
        for i in t.pairs
        if explain != "none"
    ]
    if w.lab:
        for i, line in zip(t.pairs, lines, strict=False):
            line.evidence = w.lab.rows.get(i)
    reasons = reasons_of(
        case.record, w.record, w.judged.conclusions, case.rules, None, case.situation, explain=explain
    )
    tags = dict.fromkeys(tag for c in w.judged.conclusions for tag in c.tags)
    if len(t.pairs) == 1:
        tags |= dict.fromkeys(tag for c in case.judged[t.pairs[0]].conclusions for tag in c.tags)
    cautions = dict.fromkeys(wording.cautions(case.rules, case.record, case.pairs, case.judged, t, w))
    if entry.unmet:
        cautions[say("needs {what}", what=wording.listed(list(entry.unmet)))] = None
    if w.lab:
        names = {i: case.pairs[i].theirs.name for i in t.pairs}
        cautions |= dict.fromkeys(w.lab.disagreements(names))
    sentence = _why(case, w) if explain == "none" else wording.why(lines, reasons)
    return ResponseAdvice(
        option=entry.key,
        name=entry.name,
        input=entry.move.input,
        kind=entry.move.kind,
        verdict=w.verdict,
        beats=int(w.record["response.beats"]),  # type: ignore[arg-type]
        of=len(t.pairs),
        damage=t.damage,
        risk=t.risk,
        first_active=entry.move.hits[0].first_active if entry.move.hits else None,
        window=window_of(case.situation, [case.pairs[i] for i in t.pairs], [case.judged[i] for i in t.pairs]),
        cost=entry.move.cost,
        leaves=leaves_of(case.pairs, t),
        tags=list(tags),
        cautions=list(cautions),
        loses_to=_replies_with(case, t, "loses"),
        hangs_on=w.missing,
        sentence=w.lab.sentence(sentence) if w.lab else sentence,
        reasons=reasons,
        against=lines,
        evidence=w.lab.whole if w.lab else None,
    )


def _why(case: Case, w: Weighed) -> str:
    """The sentence that ``wording.why`` chooses, found without the lines and reasons that it chooses from."""
    each = [case.judged[i] for i in w.tally.pairs]
    lone = len(each) == 1 and each[0].verdict != "unknown" and bool(each[0].conclusions)
    record, judged = w.record, w.judged
    if lone or (each and all(one.verdict in SETTLED and one.conclusions for one in each)):
        record, judged = case.pairs[w.tally.pairs[0]].record, each[0]
    return first_sentence(case.record, record, judged.conclusions, case.rules) or in_words("No rule speaks of it.")


def _overruled(weighed: list[Weighed]) -> list[str]:
    """What trials say of responses that would be looked for in vain: overruled, and not among those listed."""
    return [
        f"{w.entry.name}: {w.lab.whole.sentence}" for w in weighed
        if w.lab and w.lab.decides and w.judged.verdict in BETTER
    ]  # fmt: skip


def _most_wanted(weighed: list[Weighed]) -> list[Missing]:
    """Missing properties, the one on which most responses hang first."""
    count: dict[Missing, int] = {}
    for w in weighed:
        for missing in w.missing:
            count[missing] = count.get(missing, 0) + 1
    return sorted(count, key=lambda m: (-count[m], m))
