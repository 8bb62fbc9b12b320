"""Which options of mine may answer an option of theirs at a stage, by physics alone, and which are worth judging.

No rule speaks here: an option is a chance when its exchange ends in a hit of mine, in a catch by my
parry, in their attack missing a movement of mine, or hangs on something unknown. Most options are
turned down by two comparisons (frames, reach) before any exchange is worked out.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec
from msgspec import Struct

from advisor.facts import Entry, Situation
from advisor.facts.outcome import catch_outcome, outcome_of
from advisor.pack.model import Move
from advisor.studies.beats_answer import When
from advisor.studies.beats_followed import best_punish
from advisor.studies.beats_stage import Stage
from advisor.studies.weighing import FrameRun, runs_of
from advisor.timeline.delays import DelayWindow, delay_windows
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER

__all__ = ["LANDS", "Chance", "Kept", "chances_of", "runs_at"]

LANDS = ("hit", "counter_hit")


class Chance(Struct, kw_only=True):
    """One option of mine that may answer; ``how`` is lands, catches, evades or open (hangs on ``missing``).

    ``when`` is before, during, gap, after_block or after_whiff; ``runs`` the delays on which the
    exchange ends so; with ``most`` set only delay 0 was looked at, and ``runs_at`` looks up to ``most``.
    ``gain`` is the damage it wins (0 when unknown), for the order only.
    """

    stage: Stage
    entry: Entry
    when: When
    how: str
    runs: list[FrameRun]
    gain: float = 0.0
    missing: frozenset[str] = frozenset()
    most: int | None = None

    @property
    def worth(self) -> tuple[int, float]:
        """What to judge first: what wins something before what merely stands, then by damage."""
        return (0 if self.how == "open" else 1 if self.how == "evades" and not self.gain else 2, self.gain)


Kept = dict[tuple[int, ...], list[DelayWindow]]
"""Windows of options that every fighter has, worked out once a request."""


def chances_of(stage: Stage, most: int, *, lazy: bool = False, kept: Kept | None = None) -> Iterator[Chance]:
    """The chances of every option of mine at a stage, delays up to ``most``.

    ``lazy`` leaves the delays of an attack that lands at once for later, see ``Chance.most``; ``kept``
    hands on from one fighter to the next what is the same for both.
    """
    held = stage.when in ("after_block", "after_whiff")
    for entry in stage.situation.responses:
        sides = stage.sides(entry)
        if sides is None:
            continue
        if held:
            yield from _punish(stage, entry, *sides)
        elif not _hopeless(stage, entry.move, *sides):
            if lazy and entry.move.hits and _bare_body(stage, entry.move):
                met = _begun_at_once(stage, *sides)
                if met.decided and met.by in ("them", "both") and met.mine is not None:
                    continue  # it would touch, but too late, and begun later it only touches later
                at_once = _at_once(stage, entry, met, most)
                if at_once is not None:
                    yield at_once
                    continue
            yield from _alive(stage, entry, *sides, most, kept)


def _out_of_reach(situation: Situation, move: Move, other: Move) -> bool:
    """Whether no hit of ``move`` can reach however long the two run, displacement included."""
    if situation.distance is None or not move.hits:
        return False
    mine, theirs = timeline_of(move), timeline_of(other)
    if mine.moves is None or theirs.moves is None:
        return False
    gain = _most_forward(move) + _most_forward(other)
    return all(hit.reach is not None and hit.reach + gain < situation.distance for hit in move.hits)


def _most_forward(move: Move) -> int:
    return sum(max(0, part.step) * len(part.span) for part in move.displacement or () if part.span.stop < FOREVER)


def _hopeless(stage: Stage, move: Move, me: Side, them: Side) -> bool:
    """Whether a glance tells that the option cannot answer: too slow against what surely touches, or too short."""
    if move.kind == "guard":
        return True
    stands = stage.stands if _touched(stage) else None
    plain = _bare_body(stage, move)
    if move.hits and _out_of_reach(stage.situation, move, them.option):
        return plain or move.parry == ()
    if stands is None or stands.frame is None or not plain or not move.hits:
        return False
    first = move.hits[0].first_active
    # A bare body is touched on the same frame or sooner, whatever it does until then.
    return first is not None and me.free_at + first > stands.frame


def _begun_at_once(stage: Stage, me: Side, them: Side) -> Exchange:
    situation = stage.situation
    return meet(
        situation.pack.conventions, me, them, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    )


def _at_once(stage: Stage, entry: Entry, met: Exchange, most: int) -> Chance | None:
    """An attack with a bare body that lands when begun at once; it can answer in no other way."""
    gain = entry.move.hits[0].damage or 0.0
    if not met.decided:
        # Their attack may come first at once, and the more so the later mine is begun.
        when: When = "gap" if stage.when == "gap" else "before"
        return Chance(
            stage=stage, entry=entry, when=when, how="open", runs=[FrameRun(first=0, last=0)], missing=met.missing,
            gain=gain, most=most,
        )
    if met.by != "me" or met.effect not in LANDS or met.phase is None:
        return None
    window = DelayWindow(first=0, last=0, by=met.by, effect=met.effect, phase=met.phase)
    kind = _kind(stage, entry.move, window, _touched(stage))
    if kind is None:
        return None
    return Chance(
        stage=stage, entry=entry, when=kind[0], how=kind[1], runs=[FrameRun(first=0, last=0)],
        gain=gain, most=most,
    )


def _bare_body(stage: Stage, move: Move) -> bool:
    """Whether nothing of the option keeps their attack from touching its user as it touches one who stands.

    Postures that all its levels hit do not matter, nor does moving forward.
    """
    if timeline_of(move).plain_body:
        return True
    if move.kind != "attack" or move.displacement is None:
        return False
    if (move.invulnerable, move.armour, move.parry, move.sidestep) != ((), (), (), ()):
        return False
    levels = stage.situation.pack.conventions.levels
    hit_by = [levels[hit.level].hits if hit.level in levels else frozenset() for hit in stage.theirs.move.hits]
    postures = (("airborne", move.airborne), ("crouching", move.crouching), ("grounded", move.grounded))
    return all(part.step >= 0 for part in move.displacement) and all(
        windows == () or all(posture in hits for hits in hit_by) for posture, windows in postures
    )


def _touched(stage: Stage) -> bool:
    """Whether their option surely touches me when I merely stand, on a frame that is known."""
    stands = stage.stands
    return stands is not None and stands.by == "them" and stands.decided and stands.frame is not None


def _spared(stage: Stage) -> bool:
    """Whether their attack surely does not touch me when I merely stand."""
    stands = stage.stands
    return stands is not None and stands.decided and stands.by != "them" and bool(stage.theirs.move.hits)


def _windows(stage: Stage, me: Side, them: Side, most: int, kept: Kept | None) -> list[DelayWindow]:
    """The delay windows of my option, out of ``kept`` when another fighter has had the same."""
    situation = stage.situation
    key = (id(me.option), id(them.option), me.free_at, them.free_at, situation.distance or -1, most)
    shared = kept is not None and me.option is situation.pack.system.get(me.option.id)
    if kept is not None and shared and key in kept:
        return kept[key]
    found = delay_windows(
        situation.pack.conventions, me, them, situation.distance, most,
        nearest=situation.nearest, farthest=situation.farthest, fine=True,
    )
    if kept is not None and shared:
        kept[key] = found
    return found


def _alive(
    stage: Stage, entry: Entry, me: Side, them: Side, most: int, kept: Kept | None = None
) -> Iterator[Chance]:
    """While their option runs: windows of delays, sorted by what happens in them."""
    stands, touched = stage.stands, _touched(stage)
    if touched:
        assert stands is not None and stands.frame is not None
        # Later than that it has touched me; a bare body must also land by then.
        plain = _bare_body(stage, entry.move) and bool(entry.move.hits)
        own = (entry.move.hits[0].first_active or 0) if plain else 0
        most = min(most, max(0, stands.frame - me.free_at - own))
    elif stands is not None and not stands.decided and them.option.hits:
        # It may touch from then on, so that whatever is begun later hangs on whether it does.
        starts = them.option.hits[0].first_active
        most = most if starts is None else min(most, max(0, them.begins + starts - me.free_at))
    groups: dict[tuple[When, str], Chance] = {}
    for window in _windows(stage, me, them, most, kept):
        kind = _kind(stage, entry.move, window, touched)
        if kind is None:
            continue
        found = groups.get(kind)
        run = FrameRun(first=window.first, last=window.last)
        if found is None:
            groups[kind] = Chance(
                stage=stage, entry=entry, when=kind[0], how=kind[1], runs=[run], missing=window.missing
            )
        elif found.runs[-1].last + 1 == run.first:
            found.runs[-1] = FrameRun(first=found.runs[-1].first, last=run.last)
        else:
            found.runs.append(run)
    for chance in groups.values():
        chance.gain = _gain(chance, me, them)
        yield chance


def _kind(stage: Stage, move: Move, window: DelayWindow, touched: bool) -> tuple[When, str] | None:
    """When and how a window answers; None when it does not."""
    inside: When = "gap" if stage.when == "gap" else "during"
    if window.by == "me" and window.effect in LANDS:
        first = window.phase == "startup" or (touched and _bare_body(stage, move))
        if first:
            # A bare body that is touched lands before that, or wins the same frame.
            return ("gap" if stage.when == "gap" else "before"), "lands"
        if _spared(stage) and window.phase in ("recovery", "active", "free"):
            return None  # it would miss me anyway: the whiff punish is a stage of its own
        return inside, "lands"
    if window.by == "them" and window.effect == "parried":
        return inside, "catches"
    if window.by == "none" and move.kind == "movement" and stage.theirs.move.hits and not _spared(stage):
        return inside, "evades"
    if window.by == "unknown":
        return (inside if move.kind != "attack" or stage.when == "gap" else "before"), "open"
    return None


def _gain(chance: Chance, me: Side, them: Side) -> float:
    """Damage won at the first delay: of the hit, of the catch, or of the best punish of the whiff."""
    stage, move = chance.stage, chance.entry.move
    if chance.how == "lands":
        return move.hits[0].damage or 0.0
    if chance.how == "catches":
        found = catch_outcome(move, stage.theirs.move.hits[0])
        return (found.damage if found else None) or 0.0
    if chance.how != "evades":
        return 0.0
    situation = stage.situation
    late = msgspec.structs.replace(me, delay=chance.runs[0].first)
    met = meet(situation.pack.conventions, late, them, situation.distance)
    outcome = outcome_of(situation, late, them, met)
    if outcome.advantage is None or outcome.advantage <= 0:
        return 0.0
    best = best_punish(situation, late, them, outcome.advantage)
    return (best.move.hits[0].damage if best else None) or 0.0


def _punishable(situation: Situation, me: Side, them: Side, delay: int) -> bool:
    """Whether I can punish once their attack has missed, my option begun ``delay`` frames late."""
    late = msgspec.structs.replace(me, delay=delay)
    met = meet(situation.pack.conventions, late, them, situation.distance)
    lead = outcome_of(situation, late, them, met).advantage
    return lead is not None and lead > 0 and best_punish(situation, late, them, lead) is not None


def _punish(stage: Stage, entry: Entry, me: Side, them: Side) -> Iterator[Chance]:
    """While they are held: whether my attack lands before they are free."""
    move = entry.move
    if not move.hits or stage.when not in ("after_block", "after_whiff"):
        return
    first, held = move.hits[0].first_active, them.free_at
    if first is not None and me.free_at + first > held:
        return
    situation = stage.situation
    if _out_of_reach(situation, move, them.option):
        return
    met = _begun_at_once(stage, me, them)
    if met.by == "me" and met.effect in LANDS and (met.frame is None or met.frame <= held):
        last = max(0, held - met.frame) if met.frame is not None else 0
        yield Chance(
            stage=stage, entry=entry, when=stage.when, how="lands", runs=[FrameRun(first=0, last=last)],
            gain=move.hits[0].damage or 0.0,
        )
    elif not met.decided:
        yield Chance(
            stage=stage, entry=entry, when=stage.when, how="open", runs=[], missing=met.missing,
            gain=move.hits[0].damage or 0.0,
        )


def runs_at(stage: Stage, chance: Chance) -> list[FrameRun]:
    """The delays on which the answer still gains as much, worked out in full.

    A punish has to land while they are held, an evasion to leave as good (or no) a punish as at its first delay.
    """
    sides = stage.sides(chance.entry)
    if sides is None or chance.how in ("catches", "open"):
        return chance.runs
    me, them = sides
    situation = stage.situation
    if chance.most is not None:
        kind = (chance.when, chance.how)
        alike = (c for c in _alive(stage, chance.entry, me, them, chance.most) if (c.when, c.how) == kind)
        return next((c.runs for c in alike), chance.runs)
    if chance.how == "evades":
        first = _punishable(situation, me, them, chance.runs[0].first)
        frames = (frame for run in chance.runs for frame in range(run.first, run.last + 1))
        return runs_of(frame for frame in frames if _punishable(situation, me, them, frame) == first)
    if chance.when not in ("after_block", "after_whiff"):
        return chance.runs
    windows = delay_windows(
        situation.pack.conventions, me, them, situation.distance, max(0, them.free_at),
        nearest=situation.nearest, farthest=situation.farthest, fine=True,
    )
    return [
        FrameRun(first=w.first, last=w.last) for w in windows if w.by == "me" and w.effect in LANDS and w.held
    ] or chance.runs
