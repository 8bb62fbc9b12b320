"""Which options a guess is about when the one who asks does not name them, and over which delays."""

from __future__ import annotations

import msgspec

from advisor.facts import Question, Situation, settle
from advisor.facts.question import Advantage, Fighter, KnockedDown, Neutral
from advisor.pack.model import Character, Move, Pack
from advisor.studies.guess_worth import After
from advisor.units import from_micro

__all__ = ["defence_of", "following", "keys_of", "longest_delay", "settled", "timed_by"]

RISING = 60
"""Longest delay tried, in frames, after a knockdown."""


def settled(pack: Pack, question: Question) -> Situation:
    """The situation, with replies chosen for a guess when the question names none.

    Errors: as ``advisor.facts.settle``.
    """
    situation = settle(pack, question)
    if question.replies is not None or situation.free.them_held == "knockdown":
        return situation
    followed = [e.key for e in situation.replies if e.follows]
    return settle(pack, msgspec.structs.replace(question, replies=[*followed, *keys_of(pack, situation.them)]))


def keys_of(pack: Pack, character: Character) -> list[str]:
    """A character's key moves that need nothing, and its defence."""
    return [*(key for key in character.key_moves if _free(character.moves[key])), *defence_of(pack)]


def defence_of(pack: Pack) -> list[str]:
    """The system's guards and movement.

    A guard that takes whatever comes would leave nothing to guess, so where there are narrower ones it is not in.
    """
    guards = [m for m in pack.system.values() if m.kind == "guard"]
    narrow = min((_guards(m) for m in guards), default=0)
    return [m.id for m in pack.system.values() if m.kind != "guard" or _guards(m) == narrow]


def _guards(move: Move) -> int:
    return max((len(window.guards) for window in move.guard), default=0)


def _free(move: Move) -> bool:
    return move.requires is None and not move.wakes_from and not move.cost


def timed_by(situation: Situation) -> str:
    """Who can wait: whoever stands over the other; else it is me."""
    return "them" if situation.free.me_held == "knockdown" else "me"


def longest_delay(situation: Situation, asked: int | None, spread: float | None) -> int:
    """Frames of delay to try: as asked; else enough to meet who rises, or to be late by hand, or none."""
    if asked is not None:
        return asked
    down = "knockdown" in (situation.free.me_held, situation.free.them_held)
    return RISING if down or spread is not None else 0


def following(pack: Pack, me: Fighter, them: Fighter, after: After) -> Question | None:
    """The question that an exchange leaves; None when its distance is unknown."""
    if after.distance is None:
        return None
    moment: KnockedDown | Advantage | Neutral
    if after.floored in ("me", "them"):
        lead = after.advantage if after.floored == "them" else -after.advantage
        moment = KnockedDown(
            floored="me" if after.floored == "me" else "them", state=after.state, frames=max(-200, min(300, lead))
        )
    elif after.advantage:
        moment = Advantage(
            frames=max(-200, min(200, after.advantage)),
            held=after.held,  # type: ignore[arg-type]
        )
    else:
        moment = Neutral()
    mine = None
    if after.floored != "me":
        mine = [*keys_of(pack, pack.characters[me.character]), *_quick(pack.characters[me.character], after.advantage)]
    theirs = None
    if after.floored != "them":
        other = pack.characters[them.character]
        theirs = [*keys_of(pack, other), *_quick(other, -after.advantage)]
    return Question(
        me=me, them=them, moment=moment, distance=max(0.0, from_micro(after.distance)),
        responses=_once(mine), replies=_once(theirs),
    )  # fmt: skip


def _once(ids: list[str] | None) -> list[str] | None:
    return None if ids is None else list(dict.fromkeys(ids))


def _quick(character: Character, lead: int) -> list[str]:
    """The two free strikes of most damage that are in time for a certain punish, and the fastest one."""
    strikes = [
        (move.hits[0].first_active, move.hits[0].damage or 0.0, move.id)
        for move in character.moves.values()
        if move.hits and _free(move) and move.hits[0].first_active is not None
    ]
    in_time = sorted((s for s in strikes if s[0] <= lead), key=lambda s: -s[1])
    return [s[2] for s in (*in_time[:2], *sorted(strikes)[:1])]
