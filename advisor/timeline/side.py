"""One side of an exchange: what it does, from which frame on, and what holds it until then."""

from __future__ import annotations

from msgspec import Struct

from advisor.pack.model import Hit, Move
from advisor.units import FOREVER

__all__ = ["Side", "Timeline", "timeline_of"]

_KEEP = 50_000


class Timeline:
    """A move with what is asked of it again and again worked out once.

    ``first`` and ``last_stop`` bound its active phase (own frames, half-open; None when unknown),
    ``edges`` are the own frames at which anything about it changes, ``moves`` says whether it
    changes the distance (None: unknown).
    """

    __slots__ = ("edges", "first", "last_stop", "move", "moves", "plain_attack", "plain_body", "total")

    def __init__(self, move: Move) -> None:
        self.move = move
        self.total = move.total
        self.first: int | None = None
        self.last_stop: int | None = None
        if move.kind == "attack" and move.hits:
            self.first = move.hits[0].first_active
            self.last_stop = move.hits[-1].active_stop
        elif move.kind == "parry" and move.parry:
            self.first = min(p.span.start for p in move.parry)
            self.last_stop = max(p.span.stop for p in move.parry)
        self.moves = None if move.displacement is None else bool(move.displacement)
        self.edges = _edges(move, self)
        self.plain_body = _plain_body(move)
        self.plain_attack = _plain_attack(move)

    def moved(self, frame: int) -> int:
        """Micro-units moved toward the opponent up to and including own ``frame``."""
        out = 0
        for part in self.move.displacement or ():
            done = min(frame, part.span.stop - 1) - part.span.start + 1
            if done > 0:
                out += part.step * done
        return out


def _plain_body(move: Move) -> bool:
    """Nothing about it but its phases and guards matters to an attack, and all of that is known."""
    return (
        move.airborne == ()
        and move.crouching == ()
        and move.grounded == ()
        and move.invulnerable == ()
        and move.armour == ()
        and move.parry == ()
        and move.sidestep == ()
        and move.displacement == ()
        and move.counter_state == ()
        and move.total is not None
        and move.kind != "parry"
        and (move.kind != "attack" or _known_phases(move))
    )


def _known_phases(move: Move) -> bool:
    return bool(move.hits) and None not in (move.hits[0].first_active, move.hits[-1].active_stop)


def _plain_attack(move: Move) -> bool:
    """One hit of which everything is known that decides whether it touches."""
    if len(move.hits) != 1 or move.displacement != ():
        return False
    hit = move.hits[0]
    return None not in (
        hit.first_active, hit.active_stop, hit.level, hit.reach, hit.tags, hit.breaks, hit.tracks
    )


def _edges(move: Move, timeline: Timeline) -> tuple[int, ...]:
    edges = {1}
    for spans in (move.airborne, move.crouching, move.grounded, move.counter_state):
        for span in spans or ():
            edges |= {span.start, span.stop}
    for windows in (
        move.invulnerable, move.armour, move.parry, move.guard, move.sidestep, move.displacement,
    ):
        for window in windows or ():
            edges |= {window.span.start, window.span.stop}
    for frame in (timeline.first, timeline.last_stop):
        if frame is not None:
            edges.add(frame)
    if move.total is not None:
        edges.add(move.total + 1)
    return tuple(sorted(e for e in edges if e < FOREVER))


_TIMELINES: dict[int, Timeline] = {}


def timeline_of(move: Move) -> Timeline:
    """The timeline of ``move``, kept by the move's identity."""
    kept = _TIMELINES.get(id(move))
    if kept is not None and kept.move is move:
        return kept
    if len(_TIMELINES) >= _KEEP:
        _TIMELINES.clear()
    fresh = _TIMELINES[id(move)] = Timeline(move)
    return fresh


class Side(Struct, frozen=True, kw_only=True):
    """One side on the common clock.

    Its action frame k falls on common frame ``free_at + delay + k``. Until ``free_at`` it is
    ``held`` by recovery, blockstun, hitstun or a knockdown (or by nothing); a side in recovery goes on with
    ``prior``, whose own frame at common frame t is ``prior_frame + t``. ``lying`` is the posture of a
    side that a knockdown holds: grounded, or airborne while it falls.

    Units: frames.
    """

    option: Move
    free_at: int = 0
    held: str = "none"
    prior: Move | None = None
    prior_frame: int = 0
    delay: int = 0
    lying: str = "grounded"

    @property
    def begins(self) -> int:
        """The common frame before the option's frame 1."""
        return self.free_at + self.delay

    def over(self) -> int | None:
        """The common frame on which the side is free again when nothing touches it."""
        total = self.option.total
        return None if total is None else self.begins + total

    def hits(self) -> tuple[Hit, ...]:
        return self.option.hits
