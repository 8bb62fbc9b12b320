"""Words for people: the situation, the one-line summary, the sentence of a response."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from advisor.advice.answer import Against, Missing, Reason, ResponseAdvice, Setting
from advisor.facts import Pair, Record, Situation
from advisor.pack.model import UPRIGHT
from advisor.rules.model import RuleSet
from advisor.rules.wording import fill
from advisor.units import from_micro
from advisor.verdicts import Judged, Tally

__all__ = ["SUMMARY", "cautions", "fitted", "listed", "property_name", "setting", "summary", "why"]

SUMMARY = 90
"""Most characters in a summary line."""

_NAMED = 4


def listed(names: Sequence[str]) -> str:
    """``a, b and 3 more``; empty for no names."""
    if not names:
        return ""
    shown = list(dict.fromkeys(names))
    more = len(shown) - _NAMED
    text = ", ".join(shown[:_NAMED])
    return f"{text} and {more} more" if more > 0 else text


def property_name(missing: Missing) -> str:
    """A property as people say it: ``move: property``."""
    name = missing.property.replace("_", " ")
    return f"{missing.move}: {name}" if missing.move else name


def setting(situation: Situation, replies: list[str]) -> Setting:
    """The situation as it was understood."""
    move = situation.move
    return Setting(
        me=situation.me.id,
        them=situation.them.id,
        moment=situation.moment,
        attacker=situation.attacker,
        move=move.id if move else None,
        advantage=situation.advantage,
        distance=None if situation.distance is None else round(from_micro(situation.distance), 6),
        unit=situation.pack.conventions.distance_unit,
        knockdown=situation.knockdown,
        sentence=_sentence(situation),
        replies=replies,
    )


def _sentence(situation: Situation) -> str:
    me, them, move = situation.me.name, situation.them.name, situation.move
    if move is None:
        start = f"{me} against {them}, {situation.moment}"
    else:
        striker, struck = (me, them) if situation.attacker == "me" else (them, me)
        verb = {
            "blocked": f"was blocked by {struck}",
            "hit": f"hit {struck}",
            "counter_hit": f"counter-hit {struck}",
            "whiffed": "missed",
        }[situation.moment]
        start = f"{striker}'s {move.name} {verb}"
    ahead = {None: "at an unknown advantage", 0: "even"}.get(situation.advantage) or f"{situation.advantage:+d}"
    unit = situation.pack.conventions.distance_unit
    if situation.distance is not None:
        away = f"at {from_micro(situation.distance):g} {unit}"
    else:
        away = "at an unknown distance"
    down = (
        f"; knockdown ({situation.knockdown.replace('_', ' ')})" if situation.knockdown not in (None, UPRIGHT) else ""
    )
    return f"{start}: you are {ahead}, {away}{down}."


def fitted(text: str, most: int = SUMMARY) -> str:
    """The text, cut at a word with an ellipsis when it is longer than ``most`` characters."""
    if len(text) <= most:
        return text
    cut = text[: most - 3]
    return (cut.rsplit(" ", 1)[0] if " " in cut else cut).rstrip(" ,;:") + "..."


def summary(situation: Situation, responses: Sequence[ResponseAdvice], lab: bool = False) -> str:
    """One line for an overlay, at most 90 characters; ``lab``: trials decided what comes first."""
    if not responses:
        return "No option left to weigh."
    best = responses[0]
    if lab:
        return fitted(f"The lab decides: {_of_lab(best) or _of_theory(best, '')}")
    ahead = situation.advantage
    late = ahead is not None and ahead > 0 and situation.moment in ("blocked", "whiffed")
    return _of_theory(best, "No guaranteed punish. " if late else "")


def _of_lab(best: ResponseAdvice) -> str | None:
    """What trials say of the best response; None where its verdict is theory's."""
    said = best.evidence
    if said is None or said.contradiction is None or said.contradiction.verdict == best.verdict:
        return None
    if best.verdict == "loses":
        return "nothing works here"
    speed = f" ({best.first_active}f)" if best.first_active is not None else ""
    guess = ", a guess" if best.verdict == "risky" else ""
    return f"{fitted(best.name, 36)}{speed} worked {said.successes} of {said.tries}{guess}"


def _of_theory(best: ResponseAdvice, start: str) -> str:
    """Theory's word on the best response; ``start`` comes before what is not certain."""
    speed = f" ({best.first_active}f)" if best.first_active is not None else ""
    damage = f", {best.damage:g} damage" if best.damage else ""
    name = fitted(best.name, 36)
    if best.verdict == "guaranteed":
        word = "Combo" if "combo" in best.tags else "Punish"
        return fitted(f"{word}: {name}{speed}{damage}, guaranteed")
    if best.verdict == "in_range":
        return fitted(f"Distance decides: {name}{speed}{damage} punishes when near enough")
    ends = {
        "beats": f"{name}{speed} beats {best.beats} of {best.of}{damage}",
        "holds": f"{name} holds, nothing lost",
        "risky": f"{name}{speed} beats {best.beats} of {best.of}, a guess",
        "trades": f"{name}{speed} trades at best",
        "unknown": f"{name}{speed} may work: {listed([property_name(m) for m in best.hangs_on])} unknown",
    }
    return fitted(start + ends.get(best.verdict, "Nothing works here"))


def why(lines: Sequence[Against], reasons: Sequence[Reason]) -> str:
    """The one sentence: the exchange's own reason against a single reply, else the overall one."""
    if len(lines) == 1 and lines[0].reasons and lines[0].verdict != "unknown":
        return lines[0].reasons[0].sentence
    if lines and all(line.verdict in ("guaranteed", "in_range") and line.reasons for line in lines):
        return lines[0].reasons[0].sentence
    return reasons[0].sentence if reasons else "No rule speaks of it."


def cautions(
    rules: RuleSet,
    situation: Record,
    pairs: Sequence[Pair],
    judged: Sequence[Judged],
    tally: Tally,
    weighed: Any,
) -> Iterator[str]:
    """Cautions of every rule that fired, filled in."""
    for conclusion in weighed.judged.conclusions:
        if conclusion.caution:
            yield fill(conclusion.caution, rules.vocabulary, {**situation, **weighed.record})
    for i in tally.pairs:
        for conclusion in judged[i].conclusions:
            if conclusion.caution:
                yield fill(conclusion.caution, rules.vocabulary, {**situation, **pairs[i].record})
