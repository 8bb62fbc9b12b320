"""Words for people: the situation, the one-line summary, the sentence of a response."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from advisor.advice.answer import Against, Missing, Reason, ResponseAdvice, Setting
from advisor.facts import Pair, Record, Situation
from advisor.pack.model import UPRIGHT
from advisor.rules.model import RuleSet
from advisor.rules.wording import fill
from advisor.sentences import in_words, say
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
    return say("{names} and {count} more", names=text, count=more) if more > 0 else text


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
        moment = in_words(situation.moment)
        start = say("{me} against {them}, {moment}", me=me, them=them, moment=moment)
    else:
        striker, struck = (me, them) if situation.attacker == "me" else (them, me)
        names = {"striker": striker, "struck": struck, "move": move.name}
        if situation.moment == "blocked":
            start = say("{striker}'s {move} was blocked by {struck}", **names)
        elif situation.moment == "hit":
            start = say("{striker}'s {move} hit {struck}", **names)
        elif situation.moment == "counter_hit":
            start = say("{striker}'s {move} counter-hit {struck}", **names)
        else:
            start = say("{striker}'s {move} missed", **names)
    if situation.advantage is None:
        ahead = in_words("at an unknown advantage")
    else:
        ahead = f"{situation.advantage:+d}" if situation.advantage else in_words("even")
    unit = situation.pack.conventions.distance_unit
    if situation.distance is not None:
        away = say("at {distance:g} {unit}", distance=from_micro(situation.distance), unit=unit)
    else:
        away = in_words("at an unknown distance")
    if situation.knockdown in (None, UPRIGHT):
        return say("{start}: you are {ahead}, {away}.", start=start, ahead=ahead, away=away)
    state = situation.knockdown.replace("_", " ")
    return say(
        "{start}: you are {ahead}, {away}; knockdown ({state}).", start=start, ahead=ahead, away=away, state=state
    )


def fitted(text: str, most: int = SUMMARY) -> str:
    """The text, cut at a word with an ellipsis when it is longer than ``most`` characters."""
    if len(text) <= most:
        return text
    cut = text[: most - 3]
    return (cut.rsplit(" ", 1)[0] if " " in cut else cut).rstrip(" ,;:") + "..."


def summary(situation: Situation, responses: Sequence[ResponseAdvice], lab: bool = False) -> str:
    """One line for an overlay, at most 90 characters; ``lab``: trials decided what comes first."""
    if not responses:
        return in_words("No option left to weigh.")
    best = responses[0]
    if lab:
        return fitted(say("The lab decides: {what}", what=_of_lab(best) or _of_theory(best, "")))
    ahead = situation.advantage
    late = ahead is not None and ahead > 0 and situation.moment in ("blocked", "whiffed")
    return _of_theory(best, in_words("No guaranteed punish.") + " " if late else "")


def _of_lab(best: ResponseAdvice) -> str | None:
    """What trials say of the best response; None where its verdict is theory's."""
    said = best.evidence
    if said is None or said.contradiction is None or said.contradiction.verdict == best.verdict:
        return None
    if best.verdict == "loses":
        return in_words("nothing works here")
    speed = f" ({best.first_active}f)" if best.first_active is not None else ""
    values = {"option": fitted(best.name, 36) + speed, "successes": said.successes, "tries": said.tries}
    if best.verdict == "risky":
        return say("{option} worked {successes} of {tries}, a guess", **values)
    return say("{option} worked {successes} of {tries}", **values)


def _of_theory(best: ResponseAdvice, start: str) -> str:
    """Theory's word on the best response; ``start`` comes before what is not certain."""
    speed = f" ({best.first_active}f)" if best.first_active is not None else ""
    damage = say(", {damage:g} damage", damage=best.damage) if best.damage else ""
    name = fitted(best.name, 36)
    option = name + speed
    if best.verdict == "guaranteed":
        if "combo" in best.tags:
            return fitted(say("Combo: {option}{damage}, guaranteed", option=option, damage=damage))
        return fitted(say("Punish: {option}{damage}, guaranteed", option=option, damage=damage))
    if best.verdict == "in_range":
        near = say("Distance decides: {option}{damage} punishes when near enough", option=option, damage=damage)
        return fitted(near)
    counts = {"beats": best.beats, "of": best.of}
    if best.verdict == "beats":
        end = say("{option} beats {beats} of {of}{damage}", option=option, damage=damage, **counts)
    elif best.verdict == "holds":
        end = say("{option} holds, nothing lost", option=name)
    elif best.verdict == "risky":
        end = say("{option} beats {beats} of {of}, a guess", option=option, **counts)
    elif best.verdict == "trades":
        end = say("{option} trades at best", option=option)
    elif best.verdict == "unknown":
        lacks = listed([property_name(m) for m in best.hangs_on])
        end = say("{option} may work: {lacks} unknown", option=option, lacks=lacks)
    else:
        end = in_words("Nothing works here")
    return fitted(start + end)


def why(lines: Sequence[Against], reasons: Sequence[Reason]) -> str:
    """The one sentence: the exchange's own reason against a single reply, else the overall one."""
    if len(lines) == 1 and lines[0].reasons and lines[0].verdict != "unknown":
        return lines[0].reasons[0].sentence
    if lines and all(line.verdict in ("guaranteed", "in_range") and line.reasons for line in lines):
        return lines[0].reasons[0].sentence
    return reasons[0].sentence if reasons else in_words("No rule speaks of it.")


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
            yield fill(in_words(conclusion.caution), rules.vocabulary, {**situation, **weighed.record})
    for i in tally.pairs:
        for conclusion in judged[i].conclusions:
            if conclusion.caution:
                yield fill(in_words(conclusion.caution), rules.vocabulary, {**situation, **pairs[i].record})
