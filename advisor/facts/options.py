"""The options on either side: which of mine can be used, and which of theirs to weigh them against."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from advisor.errors import QuestionError
from advisor.facts.lookup import no_option
from advisor.facts.question import Fighter, Question
from advisor.pack.model import Character, FollowUp, Move, Pack, Requires
from advisor.sentences import in_words, say

__all__ = ["Entry", "health_of", "replies_to", "responses_of", "wake_ups"]

MOST_REPLIES = 6
MOST_KEY_REPLIES = 4


class Entry(Struct, frozen=True, kw_only=True):
    """One option that a side may take: the move, and how it follows when it continues a string.

    ``arrives`` is the frame after the contact on which a follow-up's first active frame falls.
    """

    move: Move
    key: str
    name: str
    arrives: int | None = None
    follows: bool = False
    unmet: tuple[str, ...] = ()


def health_of(fighter: Fighter, character: Character) -> float | None:
    """Health left in points, the character's own when the question does not say."""
    return fighter.health if fighter.health is not None else character.health


def _lacking(fighter: Fighter, character: Character, move: Move) -> tuple[str, ...]:
    """What an option asks that the question does not give, as it follows ``needs``."""
    asks = move.requires or Requires()
    out: list[str] = []
    if asks.stance is not None and asks.stance != fighter.stance:
        out.append(say("stance {stance}", stance=asks.stance))
    if asks.back_turned and not fighter.back_turned:
        out.append(in_words("the back turned"))
    if asks.near_wall and not fighter.near_wall:
        out.append(in_words("a wall near by"))
    health, full = health_of(fighter, character), character.health
    if asks.health_below is not None and not (health is not None and full and health / full < asks.health_below):
        out.append(say("health below {health_below:.0%}", health_below=asks.health_below))
    price = max(move.cost or 0, asks.meter or 0)
    if price and (fighter.meter is None or fighter.meter < price):
        out.append(say("{price} meter", price=price))
    return tuple(out)


def _unmet(fighter: Fighter, move: Move, lying: bool) -> tuple[str | None, tuple[str, ...]]:
    """Why the option is out of the question, and what it asks that nobody has said."""
    asks = move.requires or Requires()
    if asks.follows:
        return in_words("it only follows another move"), ()
    if move.wakes_from and not lying:
        return in_words("it is a wake-up option"), ()
    if asks.stance is not None and asks.stance != fighter.stance:
        return say("it needs stance {stance}", stance=asks.stance), ()
    if asks.back_turned and not fighter.back_turned:
        return in_words("it needs the back turned"), ()
    open_: list[str] = []
    if asks.near_wall:
        if fighter.near_wall is False:
            return in_words("it needs a wall"), ()
        if fighter.near_wall is None:
            open_.append(in_words("a wall near by"))
    if asks.health_below is not None:
        open_.append(say("health below {health_below:.0%}", health_below=asks.health_below))
    price = max(move.cost or 0, asks.meter or 0)
    if price:
        if fighter.meter is not None and fighter.meter < price:
            return say("it costs {price} meter", price=price), ()
        if fighter.meter is None:
            open_.append(say("{price} meter", price=price))
    return None, tuple(open_)


def wake_ups(pack: Pack, character: Character, state: str, fighter: Fighter) -> list[Entry]:
    """The wake-up options out of a knockdown state: the pack's, then the character's own that it can use."""
    known = pack.conventions.knockdowns.get(state)
    out = [
        Entry(move=pack.wake_ups[key], key=key, name=pack.wake_ups[key].name)
        for key in (known.wake_ups if known else ())
        if key in pack.wake_ups
    ]
    for move in character.moves.values():
        if state in move.wakes_from:
            why, asks = _unmet_with_health(fighter, character, move, lying=True)
            if why is None:
                out.append(Entry(move=move, key=move.id, name=move.name, unmet=asks))
    return out


def responses_of(
    pack: Pack, question: Question, me: Character, parent: Move | None, kind: str, floored: str | None = None
) -> tuple[tuple[Entry, ...], tuple[tuple[str, str], ...]]:
    """My options that can be used (or were asked for), and those that cannot, with the reason."""
    follow = _follow_entries(me, parent, kind)
    entries: dict[str, Entry] = {e.key: e for e in follow}
    excluded: list[tuple[str, str]] = []
    if floored is not None:
        entries = {e.key: e for e in wake_ups(pack, me, floored, question.me)}
        if question.responses is None:
            return tuple(entries.values()), ()
        return _chosen(pack, me, question.me, question.responses, entries, "/responses"), ()
    for move in (*me.moves.values(), *pack.system.values()):
        why, asks = _unmet_with_health(question.me, me, move)
        if why is None:
            entries.setdefault(move.id, Entry(move=move, key=move.id, name=move.name, unmet=asks))
        elif not (move.requires and move.requires.follows):
            excluded.append((move.id, why))
    if question.responses is None:
        return tuple(entries.values()), tuple(excluded)
    return _chosen(pack, me, question.me, question.responses, entries, "/responses"), ()


def _unmet_with_health(
    fighter: Fighter, character: Character, move: Move, *, lying: bool = False
) -> tuple[str | None, tuple[str, ...]]:
    why, asks = _unmet(fighter, move, lying)
    limit = move.requires.health_below if move.requires else None
    health, full = health_of(fighter, character), character.health
    if why is None and limit is not None and health is not None and full:
        asks = tuple(a for a in asks if not a.startswith("health below"))
        if health / full >= limit:
            return say("it needs health below {limit:.0%}", limit=limit), ()
    return why, asks


def _follow_entries(character: Character, parent: Move | None, kind: str) -> list[Entry]:
    """The moves that may continue ``parent``; a delayable one stands twice, earliest and latest."""
    out: list[Entry] = []
    result = "whiff" if kind == "whiffed" else "block" if kind == "blocked" else kind
    for follow in parent.follow_ups if parent else ():
        move = character.moves.get(follow.move)
        if move is None or result not in follow.on:
            continue
        span = _arrivals(parent, move, follow)
        if span is None:
            out.append(Entry(move=move, key=move.id, name=say("{move} (follow-up)", move=move.name), follows=True))
            continue
        first, last = span
        name = say("{move} (follow-up)", move=move.name)
        out.append(Entry(move=move, key=move.id, name=name, arrives=first, follows=True))
        if last > first:
            out.append(
                Entry(
                    move=move,
                    key=f"{move.id}@{last}",
                    name=say("{move} (follow-up, delayed by {last})", move=move.name, last=last - first),
                    arrives=last,
                    follows=True,
                )
            )
    return out


def _arrivals(parent: Move | None, move: Move, follow: FollowUp) -> tuple[int, int] | None:
    """Earliest and latest frame after the parent's contact on which the follow-up can touch."""
    if follow.arrives is not None:
        return follow.arrives.start, follow.arrives.stop - 1
    assert parent is not None
    own = move.hits[0].first_active if move.hits else None
    start = parent.hits[0].first_active if parent.hits else None
    if follow.begins is None or own is None or start is None:
        return None
    shift = own - 1 - start
    return follow.begins.start + shift, follow.begins.stop - 1 + shift


def _chosen(
    pack: Pack, character: Character, fighter: Fighter, ids: list[str], entries: dict[str, Entry], pointer: str
) -> tuple[Entry, ...]:
    """The options that are asked for; one that cannot be used is weighed, and says what it needs."""
    out = []
    known = {**pack.system, **pack.wake_ups, **character.moves}
    for i, key in enumerate(ids):
        if key in entries:
            out.append(entries[key])
        elif key in known:
            move = known[key]
            lacks = _lacking(fighter, character, move)
            out.append(Entry(move=move, key=key, name=move.name, unmet=lacks))
        else:
            raise no_option(pack, character, key, known, f"{pointer}/{i}")
    return _unique(out)


def replies_to(
    pack: Pack,
    question: Question,
    them: Character,
    parent: Move | None,
    kind: str,
    ahead: int | None,
    distance: int | None,
    floored: str | None = None,
) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """What they may do: as asked, or what the situation suggests; and what else when nothing is guaranteed."""
    follow = _follow_entries(them, parent, kind)
    entries: dict[str, Entry] = {e.key: e for e in follow}
    if floored is not None:
        entries = {e.key: e for e in wake_ups(pack, them, floored, question.them)}
        if isinstance(question.replies, list) and question.replies:
            return _chosen(pack, them, question.them, question.replies, entries, "/replies"), ()
        return tuple(entries.values()), ()
    for move in (*them.moves.values(), *pack.system.values()):
        if not (move.requires and move.requires.follows) and not move.wakes_from:
            entries.setdefault(move.id, Entry(move=move, key=move.id, name=move.name))
    wanted = question.replies
    if isinstance(wanted, list):
        if not wanted:
            raise QuestionError(
                "question-impossible", "`replies` is empty",
                help="name at least one reply, or leave it out", pointer="/replies",
            )
        return _chosen(pack, them, question.them, wanted, entries, "/replies"), ()
    guards = [e for e in entries.values() if e.move.kind == "guard"]
    guard = max(guards, key=_width) if guards else None
    if wanted == "all":
        return tuple(entries.values()), ()
    keys = [entries[k] for k in them.key_moves if k in entries]
    if wanted == "key":
        return _unique([*follow, *keys]), ()
    stays = [guard] if guard else []
    if ahead is not None and ahead > 0:
        # They are held first; whatever is not guaranteed then meets a guard, or their quickest attack.
        return _unique([*follow, *stays]), tuple(_quickest(pack, entries.values(), distance))
    return _unique([*follow, *stays, *keys[:MOST_KEY_REPLIES]])[:MOST_REPLIES], ()


def _quickest(pack: Pack, entries: Iterable[Entry], distance: int | None) -> list[Entry]:
    """Their fastest strike that asks for nothing and is known to reach."""
    levels = pack.conventions.levels
    ready = [
        (e.move.hits[0].first_active, i, e)
        for i, e in enumerate(entries)
        if e.move.hits
        and e.move.requires is None
        and not e.move.cost
        and e.move.hits[0].first_active is not None
        and e.move.hits[0].reach is not None
        and e.move.hits[0].reach >= (distance or 0)
        and e.move.hits[0].level in levels
        and levels[e.move.hits[0].level].kind == "strike"
        and not e.follows
    ]
    return [min(ready)[2]] if ready else []


def _width(entry: Entry) -> int:
    return max((len(g.guards) for g in entry.move.guard), default=0)


def _unique(entries: list[Entry]) -> tuple[Entry, ...]:
    return tuple({e.key: e for e in entries}.values())
