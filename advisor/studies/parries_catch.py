"""What one parry does about one attack: caught or not, by which level or tags, and what a catch leads to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from msgspec import Meta, Struct

from advisor.facts.outcome import catch_outcome
from advisor.pack.model import Catch, CatchOutcome, Hit, Level, Move
from advisor.sentences import in_words, say
from advisor.timeline.body import caught_by, holds
from advisor.units import Span, from_micro

__all__ = ["Catching", "LeadsTo", "catching", "leads_to"]


class LeadsTo(Struct, kw_only=True, frozen=True):
    """What a catch leads to, for the one who parries; null: unknown."""

    name: Annotated[str | None, Meta(description="Name of the outcome.")] = None
    damage: Annotated[float | None, Meta(description="Damage they take.")] = None
    advantage: Annotated[int | None, Meta(description="Frames by which the one who parries is free first.")] = None
    knockdown: Annotated[str | None, Meta(description="Knockdown state it leaves; `none`: on their feet.")] = None
    distance: Annotated[float | None, Meta(description="Distance it leaves, in the pack's unit.")] = None
    wall: Annotated[str | None, Meta(description="Wall effect.")] = None


class Catching(Struct, kw_only=True, frozen=True):
    """Whether a parry takes an attack when it is active in time, and why.

    ``decision`` is taken, spared (an exception of the parry holds it), not_taken, evaded (it passes
    over or under the one who parries) or unknown; ``by`` are the levels and tags that decide;
    ``hangs_on`` the properties that would. ``span`` holds the own frames on which it is taken.
    """

    caught: bool | None
    decision: str
    by: tuple[str, ...]
    hangs_on: tuple[str, ...]
    sentence: str
    span: Span | None = None
    outcome: CatchOutcome | None = None


def catching(parry: Move, hit: Hit, levels: Mapping[str, Level]) -> Catching:
    """What ``parry`` does about ``hit``, whatever the timing: level and tags decide, guard does not matter.

    A posture that the level does not hit comes first: what goes over a crouching parry is not caught.
    """
    spared: Catch | None = None
    evaded = ""
    unsure = False
    for window in parry.parry or ():
        inside = caught_by(window.catches, hit)
        excepted = caught_by(window.excepting, hit) if window.excepting else False
        if inside and excepted is False:
            by = _shared(window.catches, hit)
            span = _touchable(parry, window.span, levels.get(hit.level or ""))
            if not span:
                evaded = evaded or _posture(parry, window.span.start)
                continue
            return Catching(
                caught=True, decision="taken", by=by, hangs_on=(), span=span,
                sentence=_takes(by),
                outcome=catch_outcome(parry, hit),
            )
        if inside and excepted:
            spared = window.excepting
        unsure = unsure or (inside is not False and excepted is not True)
    if unsure or parry.parry is None:
        needs = ("parry",) if parry.parry is None else _needs(hit)
        return Catching(
            caught=None, decision="unknown", by=(), hangs_on=needs,
            sentence=say("Unknown: hangs on its {needs}.", needs=_said(needs)),
        )
    if evaded:
        return Catching(
            caught=False, decision="evaded", by=(say("level {level}", level=hit.level),), hangs_on=(),
            sentence=say(
                "Not caught: the one who parries is {evaded}, where a {level} does not hit.",
                evaded=in_words(evaded), level=hit.level,
            ),
        )
    if spared is not None:
        by = _shared(spared, hit)
        return Catching(
            caught=False, decision="spared", by=by, hangs_on=(),
            sentence=say("Not caught: the parry leaves out {by}.", by=_said(by)),
        )
    level = (say("level {level}", level=hit.level),) if hit.level else ()
    has = (*level, *(say("tag {tag}", tag=tag) for tag in sorted(hit.tags or ())))
    listed = ", ".join(has)
    return Catching(
        caught=False, decision="not_taken", by=has, hangs_on=(),
        sentence=say("Not caught: the parry takes none of {has}.", has=listed) if listed else in_words("Not caught."),
    )


def _touchable(parry: Move, span: Span, level: Level | None) -> Span:
    """The first run of frames of a window on which the level hits the posture; all of it when that is unknown."""
    if level is None:
        return span
    inside = [frame for frame in range(span.start, span.stop) if _posture(parry, frame) in level.hits]
    if not inside:
        return Span(span.start, span.start)
    stop = inside[0] + 1
    while stop in inside:
        stop += 1
    return Span(inside[0], stop)


def _posture(move: Move, frame: int) -> str:
    """The posture on an own frame; standing where a window is unknown."""
    for posture in ("airborne", "grounded", "crouching"):
        if holds(getattr(move, posture), frame):
            return posture
    return "standing"


def _shared(catch: Catch, hit: Hit) -> tuple[str, ...]:
    """The levels and tags by which an attack is in a set; empty for a set that holds everything."""
    level = (say("level {level}", level=hit.level),) if hit.level in catch.levels else ()
    return (*level, *(say("tag {tag}", tag=tag) for tag in sorted((hit.tags or frozenset()) & catch.tags)))


def _needs(hit: Hit) -> tuple[str, ...]:
    return tuple(name for name, value in (("level", hit.level), ("tags", hit.tags)) if value is None)


def _takes(by: tuple[str, ...]) -> str:
    return say("Caught: it takes {by}.", by=_said(by)) if by else in_words("Caught: it takes everything.")


def _said(words: tuple[str, ...]) -> str:
    return in_words(" and ").join(words)


def leads_to(catch: Catching) -> LeadsTo | None:
    """What the catch leads to; None when it catches nothing or that is not recorded."""
    found = catch.outcome
    if found is None:
        return None
    leaves = found.leaves
    away = leaves.distance if leaves else None
    return LeadsTo(
        name=found.name,
        damage=found.damage,
        advantage=found.advantage,
        knockdown=leaves.knockdown if leaves else None,
        distance=None if away is None else from_micro(away),
        wall=leaves.wall if leaves else None,
    )
