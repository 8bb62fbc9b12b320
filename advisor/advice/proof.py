"""The proof of a verdict, as deep as it is asked for: rules that fired, the facts they read, and what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from advisor.advice.answer import Against, FactShown, Leaves, Missing, Reason
from advisor.facts import Pair, Situation, sources_of, unknown_among
from advisor.facts.question import Explain
from advisor.rules.model import Conclusion, RuleSet
from advisor.rules.open_rules import open_rules
from advisor.rules.vocabulary import Value
from advisor.rules.wording import fill
from advisor.sentences import in_words
from advisor.units import from_micro
from advisor.verdicts import Judged, Tally

__all__ = ["against", "first_sentence", "leaves_of", "left_by", "missing_of", "property_of", "reasons_of"]

_ROLES = ("mine", "theirs", "moment")


def reasons_of(
    situation_facts: Mapping[str, Value],
    record: Mapping[str, Value],
    conclusions: Iterable[Conclusion],
    rules: RuleSet,
    pair: Pair | None,
    situation: Situation,
    sources: bool = False,
    explain: Explain = "full",
) -> list[Reason]:
    """Each rule that fired on a record, verdict-givers first, with its facts and sentence.

    Brief reasons have no facts; with none there is no reason at all.
    """
    if explain == "none":
        return []
    facts = {**situation_facts, **record}
    out = []
    for conclusion in _in_order(conclusions):
        rule = rules.rules[conclusion.rule]
        facts.update(conclusion.facts)
        names = dict.fromkeys((*sorted(rule.reads), *rule.slots)) if explain == "full" else ()
        shown = []
        for name in names:
            fact = rules.vocabulary.facts.get(name)
            if fact is None or fact.type == "text" or name not in facts:
                continue
            value = facts[name]
            shown.append(
                FactShown(
                    name=name,
                    value=", ".join(sorted(value)) if isinstance(value, frozenset) else value,
                    unit=fact.unit or "",
                    sources=[s.shown() for s in sources_of(name, pair, situation)] if sources and pair else None,
                )
            )
        out.append(Reason(rule=rule.id, sentence=fill(in_words(rule.because), rules.vocabulary, facts), facts=shown))
    return out


def first_sentence(
    situation_facts: Mapping[str, Value], record: Mapping[str, Value], conclusions: Iterable[Conclusion], rules: RuleSet
) -> str | None:
    """The sentence of the first of ``reasons_of``, without building the rest; None when no rule fired."""
    for conclusion in _in_order(conclusions):
        facts = {**situation_facts, **record, **conclusion.facts}
        return fill(in_words(rules.rules[conclusion.rule].because), rules.vocabulary, facts)
    return None


def _in_order(conclusions: Iterable[Conclusion]) -> list[Conclusion]:
    """Those that give a verdict come first."""
    return sorted(conclusions, key=lambda c: c.verdict is None)


def against(
    situation: Situation,
    situation_facts: Mapping[str, Value],
    pair: Pair,
    judged: Judged,
    rules: RuleSet,
    sources: bool,
    explain: Explain = "full",
) -> Against:
    """One response against one reply, with its reasons."""
    exchange, outcome = pair.exchange, pair.outcome
    return Against(
        reply=pair.theirs.key,
        name=pair.theirs.name,
        verdict=judged.verdict,
        by=exchange.by if exchange else "unknown",
        effect=exchange.effect if exchange else "unknown",
        frame=exchange.frame if exchange else None,
        dealt=outcome.dealt if outcome else None,
        taken=outcome.taken if outcome else None,
        leaves=left_by(pair),
        tags=list(dict.fromkeys(tag for c in judged.conclusions for tag in c.tags)),
        reasons=reasons_of(situation_facts, pair.record, judged.conclusions, rules, pair, situation, sources, explain),
    )


def left_by(pair: Pair) -> Leaves:
    """What one exchange leaves."""
    outcome = pair.outcome
    if outcome is None:
        return Leaves()
    return Leaves(
        advantage=outcome.advantage,
        distance=None if outcome.distance is None else from_micro(outcome.distance),
        knockdown=outcome.knockdown,
        catch=outcome.catch,
        wall=outcome.wall,
        floor=outcome.floor,
    )


def leaves_of(pairs: Sequence[Pair], tally: Tally) -> Leaves:
    """What the response leaves where all replies agree; what differs stays open."""
    each = [left_by(pairs[i]) for i in tally.pairs]
    if not each:
        return Leaves()
    first = each[0]
    return Leaves(
        advantage=first.advantage if all(x.advantage == first.advantage for x in each) else None,
        distance=first.distance if all(x.distance == first.distance for x in each) else None,
        knockdown=first.knockdown if all(x.knockdown == first.knockdown for x in each) else None,
        catch=first.catch if all(x.catch == first.catch for x in each) else None,
        wall=first.wall if all(x.wall == first.wall for x in each) else None,
        floor=first.floor if all(x.floor == first.floor for x in each) else None,
    )


def missing_of(
    situation: Situation,
    situation_facts: Mapping[str, Value],
    pairs: Sequence[Pair],
    judged: Sequence[Judged],
    rules: RuleSet,
) -> dict[int, set[Missing]]:
    """The properties on which each undecided exchange hangs, by its index."""
    out: dict[int, set[Missing]] = {}
    open_: list[int] = []
    for i, verdict in enumerate(judged):
        if verdict.verdict not in ("unknown", "in_range"):
            continue
        if pairs[i].missing:
            out[i] = {property_of(path, pairs[i], situation) for path in pairs[i].missing}
        else:
            open_.append(i)
    for rule in open_rules(rules, "exchange", situation_facts, [pairs[i].record for i in open_], verdicts_only=True):
        if rules.rules[rule.rule].verdict is None:
            continue
        i = open_[rule.record]
        for fact in rule.missing:
            found = unknown_among(fact, pairs[i], situation)
            out.setdefault(i, set()).update(Missing(move=s.move, property=s.property) for s in found)
    return out


def property_of(path: str, pair: Pair, situation: Situation) -> Missing:
    """``theirs.reach`` as the move and property that a lab player would look up."""
    role, name = path.split(".", 1)
    if role == "situation":
        return Missing(move="", property=name)
    if name.startswith("prior.") or role == "moment":
        move = situation.move.id if situation.move else ""
        return Missing(move=move, property=name.removeprefix("prior."))
    entry = pair.mine if role == "mine" else pair.theirs
    return Missing(move=entry.move.id, property=name)
