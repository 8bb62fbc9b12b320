"""The proof of a verdict: rules that fired, the facts they read, and what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from advisor.advice.answer import Against, FactShown, Leaves, Missing, Reason
from advisor.facts import Pair, Situation, sources_of, unknown_among
from advisor.rules.model import Conclusion, RuleSet
from advisor.rules.open_rules import open_rules
from advisor.rules.vocabulary import Value
from advisor.rules.wording import fill
from advisor.units import from_micro
from advisor.verdicts import Judged, Tally

__all__ = ["against", "leaves_of", "missing_of", "reasons_of"]

_ROLES = ("mine", "theirs", "moment")


def reasons_of(
    situation_facts: Mapping[str, Value],
    record: Mapping[str, Value],
    conclusions: Iterable[Conclusion],
    rules: RuleSet,
    pair: Pair | None,
    situation: Situation,
    sources: bool = False,
) -> list[Reason]:
    """Each rule that fired on a record, verdict-givers first, with its facts and sentence."""
    facts = {**situation_facts, **record}
    out = []
    for conclusion in sorted(conclusions, key=lambda c: c.verdict is None):
        rule = rules.rules[conclusion.rule]
        facts.update(conclusion.facts)
        names = dict.fromkeys((*sorted(rule.reads), *rule.slots))
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
        out.append(Reason(rule=rule.id, sentence=fill(rule.because, rules.vocabulary, facts), facts=shown))
    return out


def against(
    situation: Situation,
    situation_facts: Mapping[str, Value],
    pair: Pair,
    judged: Judged,
    rules: RuleSet,
    sources: bool,
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
        leaves=_leaves(pair),
        tags=list(dict.fromkeys(tag for c in judged.conclusions for tag in c.tags)),
        reasons=reasons_of(situation_facts, pair.record, judged.conclusions, rules, pair, situation, sources),
    )


def _leaves(pair: Pair) -> Leaves:
    outcome = pair.outcome
    if outcome is None:
        return Leaves()
    return Leaves(
        advantage=outcome.advantage,
        distance=None if outcome.distance is None else from_micro(outcome.distance),
        knockdown=outcome.knockdown,
        catch=outcome.catch,
    )


def leaves_of(pairs: Sequence[Pair], tally: Tally) -> Leaves:
    """What the response leaves where all replies agree; what differs stays open."""
    each = [_leaves(pairs[i]) for i in tally.pairs]
    if not each:
        return Leaves()
    first = each[0]
    return Leaves(
        advantage=first.advantage if all(x.advantage == first.advantage for x in each) else None,
        distance=first.distance if all(x.distance == first.distance for x in each) else None,
        knockdown=first.knockdown if all(x.knockdown == first.knockdown for x in each) else None,
        catch=first.catch if all(x.catch == first.catch for x in each) else None,
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
            out[i] = {_property(path, pairs[i], situation) for path in pairs[i].missing}
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


def _property(path: str, pair: Pair, situation: Situation) -> Missing:
    """``theirs.reach`` as the move and property that a lab player would look up."""
    role, name = path.split(".", 1)
    if role == "situation":
        return Missing(move="", property=name)
    if name.startswith("prior.") or role == "moment":
        move = situation.move.id if situation.move else ""
        return Missing(move=move, property=name.removeprefix("prior."))
    entry = pair.mine if role == "mine" else pair.theirs
    return Missing(move=entry.move.id, property=name)
