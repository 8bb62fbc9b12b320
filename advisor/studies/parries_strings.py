"""The strings of a character, and where each of them lets a parry in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from advisor.advice import Evaluator, judge_pairs
from advisor.advice.proof import reasons_of
from advisor.facts import Entry, Question, Ready, Situation, pair_of, settle, situation_record
from advisor.facts.clock import Clock
from advisor.facts.question import Blocked, Fighter
from advisor.pack.model import Character, Level, Move, Pack
from advisor.rules.model import RuleSet
from advisor.studies.parries_catch import Catching, catching
from advisor.timeline.delays import delay_windows

__all__ = ["Entrance", "Link", "caught_in", "entrance", "link_of", "said_of", "strings_of"]

LONGEST = 6
"""Hits of the longest string that is followed."""
LONGEST_ACTIVE = 12
"""Frames after its first active one up to which a hit is waited for."""
MOST_STRINGS = 2_000
"""Strings of one character that are followed."""


class Link(Struct, kw_only=True, frozen=True):
    """Two moves of a string: the blocked one and the one that follows.

    ``first`` and ``last`` are the frames after the contact of ``parent`` on which ``child`` can
    touch, ``stun`` the frames after it on which the one who blocked cannot act; None is unknown.
    ``situation`` is that of the block.
    """

    parent: Move
    child: Move
    first: int | None
    last: int | None
    stun: int | None
    situation: Situation

    @property
    def gap(self) -> tuple[int, int] | None:
        """Least and most frames free before the next hit; below 0 it jails."""
        if self.first is None or self.last is None or self.stun is None:
            return None
        return self.first - self.stun - 1, self.last - self.stun - 1


class Entrance(Struct, kw_only=True, frozen=True):
    """Whether a link lets a parry in, by frames alone.

    ``lets_in`` is yes, delayed (only when the next hit is delayed), no or unknown. ``arrives`` is
    the frame after the contact for which it does, ``delays`` the first and last frame by which the
    parry may be started after the stun and still be active then.
    """

    lets_in: str
    arrives: int | None = None
    delays: tuple[int, int] | None = None
    hangs_on: tuple[tuple[str, str], ...] = ()


def strings_of(character: Character) -> Iterator[tuple[Move, ...]]:
    """Every string from a free starter to an end, of two to ``LONGEST`` hits, the earlier hits blocked.

    A character with more than ``MOST_STRINGS`` gives only that many.
    """
    count = 0
    for start in character.moves.values():
        if start.requires is not None and start.requires.follows:
            continue
        for path in _paths(character, (start,)):
            if len(path) > 1:
                yield path
                count += 1
                if count >= MOST_STRINGS:
                    return


def _paths(character: Character, path: tuple[Move, ...]) -> Iterator[tuple[Move, ...]]:
    following = [
        move
        for f in path[-1].follow_ups
        if "block" in f.on and (move := character.moves.get(f.move)) is not None and move.hits and move not in path
    ]
    if not following or len(path) >= LONGEST:
        yield path
        return
    for key in dict.fromkeys(m.id for m in following):
        yield from _paths(character, (*path, character.moves[key]))


def link_of(pack: Pack, me: Fighter, them: Fighter, parent: Move, child: Move, distance: float) -> Link:
    """The link from a blocked move to one that follows it, the block at ``distance`` (the pack's unit)."""
    situation = settle(
        pack,
        Question(
            me=me, them=them, moment=Blocked(attacker="them", move=parent.id), distance=distance, replies="key",
            responses=[],
        ),
    )
    arrivals = [e.arrives for e in situation.replies if e.follows and e.move is child and e.arrives is not None]
    return Link(
        parent=parent, child=child, first=min(arrivals, default=None), last=max(arrivals, default=None),
        stun=parent.hits[0].blockstun if parent.hits else None, situation=situation,
    )


def entrance(parry: Move, link: Link, catch: Catching) -> Entrance:
    """Whether ``parry`` can be active when the next hit comes.

    By frames: stun + its first frame <= arrival. For a hit that it takes the exchange itself is looked
    at, for every frame on which the hit can arrive.
    """
    if link.first is None or link.last is None or link.stun is None:
        lacks = [] if link.stun is not None else [(link.parent.id, "blockstun")]
        lacks += [(link.child.id, "arrives")] if link.first is None else []
        return Entrance(lets_in="unknown", hangs_on=tuple(lacks))
    if not parry.parry:
        return Entrance(lets_in="unknown" if parry.parry is None else "no")
    clock = link.situation.contact
    if catch.caught and clock is not None:
        return _met(parry, link, clock)
    # A parry that does not take the hit is timed by its first window.
    window = catch.span or parry.parry[0].span
    for arrives in (link.first, max(link.first, link.stun + window.start)):
        if link.stun + window.start <= arrives <= link.last:
            early = max(0, arrives - link.stun - (window.stop - 1))
            return Entrance(
                lets_in="yes" if arrives == link.first else "delayed",
                arrives=arrives,
                delays=(early, arrives - link.stun - window.start),
            )
    return Entrance(lets_in="no")


def _met(parry: Move, link: Link, clock: Clock) -> Entrance:
    """The first arrival for which a delay of the parry catches the hit, and those delays."""
    situation = link.situation
    mine = situation.side(Entry(move=parry, key=parry.id, name=parry.name), True, clock)
    away = situation.distance if situation.distance is not None else situation.nearest
    assert link.first is not None and link.last is not None and link.stun is not None and mine is not None
    hangs: frozenset[str] = frozenset()
    for arrives in range(link.first, link.last + 1):
        entry = Entry(move=link.child, key=link.child.id, name=link.child.name, arrives=arrives, follows=True)
        theirs = situation.side(entry, False, clock)
        if theirs is None:
            continue
        most = max(0, arrives - link.stun) + LONGEST_ACTIVE
        windows = delay_windows(situation.pack.conventions, mine, theirs, away, most)
        found = next((w for w in windows if w.by == "them" and w.effect == "parried"), None)
        if found is not None:
            word = "yes" if arrives == link.first else "delayed"
            return Entrance(lets_in=word, arrives=arrives, delays=(found.first, found.last))
        hangs = hangs.union(*(w.missing for w in windows))
    return Entrance(lets_in="unknown" if hangs else "no", hangs_on=tuple(_named(parry, link, p) for p in sorted(hangs)))


def _named(parry: Move, link: Link, path: str) -> tuple[str, str]:
    """``theirs.reach`` as move and property."""
    role, _, name = path.partition(".")
    move = {"mine": parry.id, "theirs": link.child.id}.get(role, "")
    return (link.parent.id, name.removeprefix("prior.")) if name.startswith("prior.") else (move, name)


def said_of(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, me: Fighter, them: Fighter, parry: Move, link: Link,
    open_: Entrance, distance: float,
) -> tuple[str, str] | None:
    """The rules' verdict and sentence on the parry against the next hit; None when it cannot be timed."""
    question = Question(
        me=me, them=them, moment=Blocked(attacker="them", move=link.parent.id), distance=distance,
        replies="key", responses=[parry.id],
    )
    situation = settle(pack, question)
    wanted = open_.arrives if open_.arrives is not None else link.first
    found = [e for e in situation.replies if e.follows and e.move is link.child]
    if wanted is None or not found or not situation.responses:
        return None
    reply = Entry(move=link.child, key=found[0].key, name=found[0].name, arrives=wanted, follows=True)
    mine, theirs = Ready(situation, situation.responses[0], "mine"), Ready(situation, reply, "theirs")
    pair = pair_of(situation, mine, theirs, delay=open_.delays[0] if open_.delays else 0)
    record = situation_record(situation)
    judged = judge_pairs([pair], record, rules, evaluator)[0]
    reasons = reasons_of(record, pair.record, judged.conclusions, rules, pair, situation)
    return judged.verdict, reasons[0].sentence if reasons else ""


def caught_in(
    parry: Move, link: Link, levels: Mapping[str, Level]
) -> tuple[Catching, Entrance, bool | None]:
    """What the parry does about the next hit, whether it is let in, and both together (None: unknown)."""
    catch = catching(parry, link.child.hits[0], levels)
    door = entrance(parry, link, catch)
    if catch.caught is False or door.lets_in == "no":
        return catch, door, False
    if catch.caught is None or door.lets_in == "unknown":
        return catch, door, None
    return catch, door, True
