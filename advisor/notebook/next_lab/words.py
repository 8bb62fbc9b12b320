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

__all__ = ["property_sentence", "situation_words", "summary", "trial_sentence"]


def situation_words(question: Question, pack: Pack) -> str:
    """The moment and the distance: ``after a blocked Cinder Knee at touching``."""
    moment = question.moment
    words = "in neutral"
    if isinstance(moment, Blocked | HitLanded | CounterHit | Whiffed):
        fighter = question.me if moment.attacker == "me" else question.them
        moves = pack.characters[fighter.character].moves
        name = moves[moment.move].name if moment.move in moves else moment.move
        kind = {Blocked: "blocked", Whiffed: "missed", HitLanded: "landed", CounterHit: "counter-hit"}[type(moment)]
        words = f"after a {kind} {name}{' of mine' if moment.attacker == 'me' else ''}"
    elif isinstance(moment, Advantage):
        words = f"at {moment.frames:+d} ({moment.held})"
    elif isinstance(moment, KnockedDown):
        who = "me" if moment.floored == "me" else "them"
        words = f"with {who} down ({moment.state.replace('_', ' ')}), {moment.frames} frames"
    away = question.distance
    if away is None:
        return f"{words}, distance unknown"
    return f"{words} at {away if isinstance(away, str) else f'{away:g} {pack.conventions.distance_unit}'}"


def trial_sentence(name: str, where: str, who: tuple[str, str], tries: int, best: str, found: Share) -> str:
    """What to try, how often, and what that brings."""
    times = "once" if tries == 1 else f"{tries} times"
    stays = "it is no longer the best" if best == name else f"it is better than {best}"
    return (
        f"Try {name} {where} ({who[0]} against {who[1]}), {times}: brings {found.value:.2g} damage on average; "
        f"with a chance of {_percent(found.chance)} {stays}."
    )


def property_sentence(move: Move, owner: str, property: str, shares: list[Share], value: float) -> str:
    """What to measure, and what that brings."""
    chance = max(share.chance for share in shares)
    whose = f" ({owner})" if owner else ""
    where = [share.entry for share in shares if share.value > 0] or ["no entry"]
    return (
        f"Measure the {property.replace('_', ' ')} of {move.name}{whose}: brings {value:.2g} damage on average in "
        f"{listed(where)}; with a chance of {_percent(chance)} another response is best."
    )


def summary(items: list[NextItem], weighed: int, entries: int) -> str:
    """The whole list in a sentence or two."""
    said = f"{len(items)} of {weighed} trials and properties would change what is best in {entries} entries."
    return f"{said} First: {items[0].sentence}" if items else said


def _percent(chance: float) -> str:
    shown = f"{100 * chance:.0f} %"
    return "below 1 %" if shown == "0 %" else shown
