"""On which frames a body can be touched by an attack, as runs: what a sliding active window is laid over.

A body's own frames fall into runs on which one attack either always touches, with one effect, or
never does. Runs hang on the attack only by level, tags, tracking, throw breaks and reach, so they
are worked out once for each such class and looked up from then on.
"""

from __future__ import annotations

from itertools import pairwise

from msgspec import Struct

from advisor.pack.model import Conventions, Hit, Level, Move
from advisor.timeline.body import NOTHING, caught_by
from advisor.timeline.side import Side, Timeline, timeline_of
from advisor.units import FOREVER

__all__ = [
    "ARMOURED", "EVER", "Run", "Standing", "Surface", "Touch", "forget", "held_runs", "standing", "surface_of",
]

EVER = 8 * FOREVER
"""Farther than any frame or distance gap that can matter."""

ARMOURED = "armoured"
"""The effect of a touch that armour takes: a single hit is spent by it, and nothing comes of it."""

_KEEP = 20_000


class Touch(Struct, frozen=True):
    """What a touch does: the effect, the struck side's phase and posture, whether a throw can be broken.

    ``held`` says that the struck side is not yet free. ``kind`` is strike or throw.
    """

    effect: str
    phase: str | None
    posture: str | None
    breakable: bool | None
    held: bool
    kind: str


Run = tuple[int, int, Touch]
"""First frame, frame after the last, and what a touch there does."""


class Surface:
    """Where one option (waiting for it and after it included) can be touched, on its own frames.

    ``still`` options never change the distance, ``catching`` ones have windows that hold attacks by level and
    tags. ``plain`` tells for a hit whether everything is known that decides; only then may ``runs`` be asked.
    """

    __slots__ = ("catching", "conventions", "kept", "known", "move", "near", "reached", "still", "timeline")

    def __init__(self, conventions: Conventions, move: Move) -> None:
        self.conventions = conventions
        self.move = move
        self.timeline = timeline_of(move)
        self.still = move.displacement == ()
        self.known = _known(move, self.timeline)
        self.catching = bool(move.invulnerable or move.parry or move.armour)
        self.kept: dict[tuple[object, ...], tuple[Run, ...]] = {}
        self.near: dict[tuple[object, ...], tuple[Run, ...]] = {}
        self.reached: dict[int, list[tuple[int, int]]] = {}

    def plain(self, hit: Hit) -> bool:
        """Whether all that decides a touch of ``hit`` (but for reach) is known."""
        return (
            self.known
            and hit.level in self.conventions.levels
            and (hit.tags is not None or not self.catching)
            and (hit.tracks is not None or not self.move.sidestep)
        )

    def runs(self, hit: Hit, gap: int) -> tuple[Run, ...]:
        """Runs of own frames on which ``hit`` touches; ``gap`` is the distance beyond its reach, micro-units."""
        if self.still and gap > 0:
            return ()
        key = self.sort(hit, self.catching)
        runs = self.kept.get(key)
        if runs is None:
            runs = self.kept[key] = self._runs(hit)
        if self.still:
            return runs
        there = (key, gap)
        cut = self.near.get(there)
        if cut is None:
            cut = self.near[there] = _within(runs, self._in_reach(gap))
        return cut

    def sort(self, hit: Hit, catching: bool) -> tuple[object, ...]:
        """What of ``hit`` tells its touches from those of another; tags do only where something is ``catching``."""
        breaks = None if hit.breaks is None else bool(hit.breaks)
        return (hit.level, hit.tags if catching else None, hit.tracks if self.move.sidestep else None, breaks)

    def _runs(self, hit: Hit) -> tuple[Run, ...]:
        assert self.timeline.total is not None and hit.level is not None
        level = self.conventions.levels[hit.level]
        edges = [e for e in self.timeline.edges if e <= self.timeline.total]
        stops = [*edges[1:], self.timeline.total + 1]
        out: list[Run] = []
        free = _landing(self.conventions, hit, level, "free", "standing", frozenset(self.conventions.guards), False)
        if free is not None:
            out.append((-EVER, 1, free))
        for start, stop in zip(edges, stops, strict=False):
            touch = self._touch(hit, level, start)
            if touch is None:
                continue
            if out and out[-1][1] == start and out[-1][2] == touch:
                out[-1] = (out[-1][0], stop, touch)
            else:
                out.append((start, stop, touch))
        if free is not None and self.timeline.total < FOREVER:
            out.append((self.timeline.total + 1, EVER, free))
        return tuple(out)

    def _touch(self, hit: Hit, level: Level, own: int) -> Touch | None:
        """What ``hit`` does on own frame ``own`` of the running option; None: it misses."""
        move = self.move
        posture = _posture(move, own)
        if posture not in level.hits:
            return None
        if move.invulnerable and any(own in s.span and caught_by(s.to, hit) for s in move.invulnerable):
            return None
        if move.sidestep and any(own in s.span and s.side not in (hit.tracks or ()) for s in move.sidestep):
            return None
        phase = _phase(self.timeline, own)
        for parry in move.parry or ():
            spared = parry.excepting is not None and caught_by(parry.excepting, hit)
            if own in parry.span and not spared and caught_by(parry.catches, hit):
                return Touch("parried", phase, posture, False, False, level.kind)
        if move.armour and any(own in window.span and caught_by(window.to, hit) for window in move.armour):
            return Touch(ARMOURED, phase, posture, False, False, level.kind)
        guards = NOTHING
        if move.guard:
            guards = frozenset(g for window in move.guard if own in window.span for g in window.guards)
        counter = bool(move.counter_state) and any(own in span for span in move.counter_state or ())
        return _landing(self.conventions, hit, level, phase, posture, guards, False, counter=counter)

    def _in_reach(self, gap: int) -> list[tuple[int, int]]:
        """Runs of own frames on which the option has come ``gap`` nearer; movement is linear between edges."""
        spans = self.reached.get(gap)
        if spans is not None:
            return spans
        spans = self.reached[gap] = []
        moved = self.timeline.moved
        edges = (*self.timeline.edges, EVER)
        if gap <= 0:
            spans.append((-EVER, edges[0]))
        for start, stop in pairwise(edges):
            short = gap - moved(start)
            slope = moved(start + 1) - moved(start) if stop - start > 1 else 0
            if slope > 0 and short > 0:
                start = min(stop, start - (-short // slope))
            elif slope < 0 and short <= 0:
                stop = min(stop, start + short // slope + 1)
            elif short > 0:
                continue
            if start < stop:
                spans.append((start, stop))
        return spans


def _known(move: Move, timeline: Timeline) -> bool:
    """Whether everything about the body is known."""
    if None in (
        move.total, move.displacement, move.airborne, move.crouching, move.grounded, move.invulnerable, move.armour,
        move.parry, move.sidestep, move.counter_state,
    ):  # fmt: skip
        return False
    return move.kind in ("movement", "guard") or None not in (timeline.first, timeline.last_stop)


def _posture(move: Move, own: int) -> str:
    for posture, spans in (("airborne", move.airborne), ("grounded", move.grounded), ("crouching", move.crouching)):
        for span in spans or ():
            if span.start <= own < span.stop:
                return posture
    return "standing"


def _phase(timeline: Timeline, own: int) -> str:
    kind = timeline.move.kind
    if kind in ("movement", "guard"):
        return "moving" if kind == "movement" else "guarding"
    assert timeline.first is not None and timeline.last_stop is not None
    if own < timeline.first:
        return "startup"
    return "active" if own < timeline.last_stop else "recovery"


def _landing(
    conventions: Conventions,
    hit: Hit,
    level: Level,
    phase: str,
    posture: str,
    guards: frozenset[str],
    held: bool,
    *,
    counter: bool = False,
) -> Touch | None:
    """Blocked, hit or counter-hit; None when the level does not hit that posture."""
    if posture not in level.hits:
        return None
    if guards & level.blocked_by:
        return Touch("blocked", phase, posture, False, held, level.kind)
    breakable: bool | None = False
    if level.kind == "throw" and hit.breaks != frozenset():
        allowed = conventions.breakable_in
        breakable = None if hit.breaks is None or allowed is None else phase in allowed
    effect = "counter_hit" if counter or phase in conventions.counter_hit else "hit"
    return Touch(effect, phase, posture, breakable, held, level.kind)


def _within(runs: tuple[Run, ...], spans: list[tuple[int, int]]) -> tuple[Run, ...]:
    """The parts of the runs that lie within the spans."""
    out = [
        (max(start, lo), min(stop, hi), touch)
        for start, stop, touch in runs for lo, hi in spans if start < hi and lo < stop
    ]  # fmt: skip
    return tuple(sorted(out, key=lambda run: run[0]))


def held_runs(conventions: Conventions, side: Side, hit: Hit, gap: int) -> tuple[Run, ...] | None:
    """Runs of common frames, from 1 to the last on which the side is held, on which ``hit`` touches it.

    None when that hangs on something unknown. Nobody moves the held side, so ``gap`` decides for all.
    """
    if side.free_at < 1:
        return ()
    assert hit.level is not None
    level = conventions.levels[hit.level]
    held = side.held
    every = frozenset(conventions.guards)
    phase, guards, posture = held, NOTHING, "standing"
    if held == "none":
        phase, guards = "free", every
    elif held == "knockdown":
        posture = side.lying
    elif held == "blockstun":
        guards = every
        immune = conventions.blockstun_immune
        if immune is not None:
            if immune.tags and hit.tags is None and hit.level not in immune.levels:
                return None
            if caught_by(immune, hit):
                return ()
    elif held == "recovery" and side.prior is not None:
        return _prior_runs(conventions, side, side.prior, hit, gap)
    touch = _landing(conventions, hit, level, phase, posture, guards, True)
    return ((1, side.free_at + 1, touch),) if gap <= 0 and touch is not None else ()


def _prior_runs(
    conventions: Conventions, side: Side, prior: Move, hit: Hit, gap: int
) -> tuple[Run, ...] | None:
    """The same while a blocked or missed move goes on: its postures and invulnerable frames count."""
    if None in (prior.airborne, prior.crouching, prior.grounded, prior.invulnerable):
        return None
    if prior.invulnerable and hit.tags is None:
        return None
    if gap > 0:
        return ()
    level = conventions.levels[hit.level or ""]
    stop = side.free_at + 1
    cuts = sorted({1, stop, *(e - side.prior_frame for e in timeline_of(prior).edges)})
    cuts = [c for c in cuts if 1 <= c <= stop]
    out: list[Run] = []
    for lo, hi in pairwise(cuts):
        own = side.prior_frame + lo
        if any(own in s.span and caught_by(s.to, hit) for s in prior.invulnerable or ()):
            continue
        touch = _landing(conventions, hit, level, "recovery", _posture(prior, own), frozenset(), True)
        if touch is not None:
            out.append((lo, hi, touch))
    return tuple(out)


class Standing:
    """A side that does not delay further: where it can be touched, on common frames from 1 on."""

    __slots__ = ("catching", "conventions", "kept", "side", "surface")

    def __init__(self, conventions: Conventions, side: Side) -> None:
        self.conventions = conventions
        self.side = side
        self.surface = surface_of(conventions, side.option)
        self.catching = self.surface.catching or (side.free_at > 0 and side.held in ("recovery", "blockstun"))
        self.kept: dict[tuple[object, ...], tuple[Run, ...] | None] = {}

    def runs(self, hit: Hit, gap: int) -> tuple[Run, ...] | None:
        """Runs of common frames on which ``hit`` touches; None when that hangs on something unknown."""
        near: int | bool = gap > 0 if self.surface.still else gap
        key = (near, *self.surface.sort(hit, self.catching))
        try:
            return self.kept[key]
        except KeyError:
            runs = self.kept[key] = self._runs(hit, gap)
            return runs

    def _runs(self, hit: Hit, gap: int) -> tuple[Run, ...] | None:
        if not self.surface.plain(hit):
            return None
        held = held_runs(self.conventions, self.side, hit, gap)
        if held is None:
            return None
        begins, earliest = self.side.begins, max(1, self.side.free_at + 1)
        return held + tuple(
            (max(begins + lo, earliest), begins + hi, touch)
            for lo, hi, touch in self.surface.runs(hit, gap) if begins + hi > earliest
        )  # fmt: skip


_STANDING: dict[int, Standing] = {}


def standing(conventions: Conventions, side: Side) -> Standing:
    """The standing form of ``side``, kept by the identity of side and conventions."""
    kept = _STANDING.get(id(side))
    if kept is not None and kept.side is side and kept.conventions is conventions:
        return kept
    if len(_STANDING) >= _KEEP:
        _STANDING.clear()
    fresh = _STANDING[id(side)] = Standing(conventions, side)
    return fresh


_SURFACES: dict[int, Surface] = {}


def surface_of(conventions: Conventions, move: Move) -> Surface:
    """The surface of ``move``, kept by the identity of move and conventions."""
    kept = _SURFACES.get(id(move))
    if kept is not None and kept.move is move and kept.conventions is conventions:
        return kept
    if len(_SURFACES) >= _KEEP:
        _SURFACES.clear()
    fresh = _SURFACES[id(move)] = Surface(conventions, move)
    return fresh


def forget() -> None:
    """Drop what is kept, so that a benchmark starts from nothing."""
    _SURFACES.clear()
    _STANDING.clear()
