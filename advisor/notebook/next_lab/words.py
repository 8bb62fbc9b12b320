"""Words for the list: the situation, what to do, and what it is worth."""

from __future__ import annotations

from advisor.advice.wording import listed
from advisor.facts.question import (
    Advantage,
    Blocked,
    CounterHit,
    HitLanded,
    KnockedDown,
    Question,
    Whiffed,
)  # fmt: skip
from advisor.notebook.next_lab.answer import NextItem, Share
from advisor.pack.model import Move, Pack
from advisor.sentences import in_words, say

__all__ = ["property_sentence", "situation_words", "summary", "trial_sentence"]


def situation_words(question: Question, pack: Pack) -> str:
    """The moment and the distance: ``after a blocked Cinder Knee at touching``."""
    moment = question.moment
    words = in_words("in neutral")
    if isinstance(moment, Blocked | HitLanded | CounterHit | Whiffed):
        fighter = question.me if moment.attacker == "me" else question.them
        moves = pack.characters[fighter.character].moves
        name = moves[moment.move].name if moment.move in moves else moment.move
        kind = {
            Blocked: in_words("blocked"), Whiffed: in_words("missed"), HitLanded: in_words("landed"),
            CounterHit: in_words("counter-hit"),
        }[type(moment)]  # fmt: skip
        whose = in_words(" of mine") if moment.attacker == "me" else ""
        words = say("after a {kind} {name}{whose}", kind=kind, name=name, whose=whose)
    elif isinstance(moment, Advantage):
        words = say("at {frames:+d} ({held})", frames=moment.frames, held=in_words(moment.held))
    elif isinstance(moment, KnockedDown):
        values = {"state": moment.state.replace("_", " "), "frames": moment.frames}
        if moment.floored == "me":
            words = say("with me down ({state}), {frames} frames", **values)
        else:
            words = say("with them down ({state}), {frames} frames", **values)
    away = question.distance
    if away is None:
        return say("{words}, distance unknown", words=words)
    shown = away if isinstance(away, str) else f"{away:g} {pack.conventions.distance_unit}"
    return say("{words} at {away}", words=words, away=shown)


def trial_sentence(name: str, where: str, who: tuple[str, str], tries: int, best: str, found: Share) -> str:
    """What to try, how often, and what that brings."""
    times = in_words("once") if tries == 1 else say("{tries} times", tries=tries)
    stays = in_words("it is no longer the best") if best == name else say("it is better than {best}", best=best)
    return say(
        "Try {name} {where} ({who} against {who2}), {times}: brings {value:.2g} damage on average; with a chance "
        "of {chance} {stays}.",
        name=name, where=where, who=who[0], who2=who[1], times=times, value=found.value,
        chance=_percent(found.chance), stays=stays,
    )  # fmt: skip


def property_sentence(move: Move, owner: str, property: str, shares: list[Share], value: float) -> str:
    """What to measure, and what that brings."""
    chance = max(share.chance for share in shares)
    whose = f" ({owner})" if owner else ""
    where = [share.entry for share in shares if share.value > 0] or [in_words("no entry")]
    return say(
        "Measure the {property} of {move}{whose}: brings {value:.2g} damage on average in {where}; with a chance "
        "of {chance} another response is best.",
        property=property.replace("_", " "), move=move.name, whose=whose, value=value, where=listed(where),
        chance=_percent(chance),
    )  # fmt: skip


def summary(items: list[NextItem], weighed: int, entries: int) -> str:
    """The whole list in a sentence or two."""
    said = say(
        "{count} of {weighed} trials and properties would change what is best in {entries} entries.",
        count=len(items), weighed=weighed, entries=entries,
    )
    return say("{said} First: {sentence}", said=said, sentence=items[0].sentence) if items else said


def _percent(chance: float) -> str:
    shown = f"{100 * chance:.0f} %"
    return in_words("below 1 %") if shown == "0 %" else shown
