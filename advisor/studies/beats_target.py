"""One option of theirs in the words that matter to an answer: level, guards, evasion, throw breaks."""

from __future__ import annotations

from advisor.pack.model import Conventions, Hit, Level, Move
from advisor.sentences import in_words, mark, say
from advisor.studies.beats_answer import Target, ThrowBreakInfo
from advisor.studies.beats_stage import Stage
from advisor.units import from_micro

__all__ = ["target_of"]

SIDES = (mark("left"), mark("right"))
POSTURES = ("standing", "crouching", "airborne")


def target_of(conventions: Conventions, move: Move, stage: Stage | None) -> Target:
    """The option, and with its ``life`` stage what it does to somebody who merely stands there."""
    hit = move.hits[0] if move.hits else None
    level = conventions.levels.get(hit.level or "") if hit else None
    stands = stage.stands if stage else None
    touches = None if stands is None or not stands.decided else stands.by == "them"
    breaks = _breaks(conventions, hit)
    target = Target(
        move=move.id, name=move.name, level=hit.level if hit else None, kind=level.kind if level else move.kind,
        tags=sorted(move.tags | ((hit.tags or frozenset()) if hit else frozenset())),
        first_active=hit.first_active if hit else None,
        reach=from_micro(hit.reach) if hit and hit.reach is not None else None,
        on_block=hit.on_block if hit else None,
        blocked_by=sorted(level.blocked_by) if level else None,
        misses=[p for p in POSTURES if p not in level.hits] if level else None,
        sidesteps=[s for s in SIDES if s not in hit.tracks] if hit and hit.tracks is not None else None,
        breaks=breaks,
        breakable_in=sorted(conventions.breakable_in) if breaks and conventions.breakable_in is not None else None,
        hits=touches if hit else None, frame=stands.frame if stands and touches else None, sentence="",
    )
    target.sentence = _sentence(target, hit, level)
    return target


def _breaks(conventions: Conventions, hit: Hit | None) -> list[ThrowBreakInfo]:
    known = conventions.throw_breaks
    return [
        ThrowBreakInfo(id=key, input=known[key].input, window=known[key].window)
        for key in sorted(hit.breaks or ()) if key in known
    ] if hit else []


def _sentence(target: Target, hit: Hit | None, level: Level | None) -> str:
    if hit is None:
        return say("{target} does not attack.", target=target.name)
    parts = [say("{target} is {level}", target=target.name, level=target.level or in_words("of unknown level"))]
    if target.first_active is not None:
        parts.append(say("touches on frame {first_active}", first_active=target.first_active))
    if target.reach is not None:
        parts.append(say("reaches {reach:g}", reach=target.reach))
    either, both = in_words(" or "), in_words(" and ")
    if level is not None:
        if level.blocked_by:
            parts.append(say("blocked {blocked_by}", blocked_by=either.join(target.blocked_by or [])))
        else:
            parts.append(in_words("no guard stops it"))
        if target.misses:
            parts.append(say("misses {misses}", misses=both.join(in_words(p) for p in target.misses)))
    if target.sidesteps is None:
        parts.append(in_words("to which side it tracks is not recorded"))
    elif target.sidesteps:
        sides = either.join(in_words(side) for side in target.sidesteps)
        parts.append(say("misses a step to the {sidesteps}", sidesteps=sides))
    if target.on_block is not None and (level is None or level.blocked_by):
        parts.append(say("{on_block:+d} on block", on_block=target.on_block))
    for way in target.breaks:
        within = say(" within {window} frames", window=way.window) if way.window is not None else ""
        parts.append(say("broken with {input}{within}", input=way.input or way.id, within=within))
    return ", ".join(parts) + "."
