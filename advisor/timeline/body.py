"""What a side can be hit by on one common frame: phase, posture, guards, shields, three-valued.

Every answer is ``True``, ``False`` or ``None`` (unknown), or a list of what is possible, always
with the names of the properties that would decide it.
"""

from __future__ import annotations

from collections.abc import Sequence

from advisor.pack.model import Catch, Conventions, Hit, Move
from advisor.timeline.side import Side, timeline_of
from advisor.units import Span

__all__ = ["Body", "caught_by", "holds"]

NOTHING: frozenset[str] = frozenset()


def holds(spans: Sequence[Span] | None, frame: int) -> bool | None:
    """Whether one of the spans holds the frame; None when the spans are unknown."""
    if spans is None:
        return None
    return any(span.start <= frame < span.stop for span in spans)


def caught_by(catch: Catch, hit: Hit) -> bool | None:
    """Whether the attack is in the set; None when that hangs on its unknown level or tags."""
    if not catch.levels and not catch.tags:
        return True
    if catch.levels and hit.level in catch.levels:
        return True
    if catch.tags and hit.tags is not None and hit.tags & catch.tags:
        return True
    if (catch.levels and hit.level is None) or (catch.tags and hit.tags is None):
        return None
    return False


class Body:
    """The struck side's state on the frames around ``frame``; asked only what is needed."""

    __slots__ = ("conventions", "frame", "own", "prior_own", "role", "side", "where")

    def __init__(self, conventions: Conventions, side: Side, frame: int, role: str) -> None:
        self.conventions = conventions
        self.side = side
        self.frame = frame
        self.role = role
        self.own = frame - side.begins
        self.prior_own = 0
        if frame <= side.free_at:
            self.where = side.held if side.held != "none" else "free"
            if self.where == "recovery" and side.prior is not None:
                self.prior_own = side.prior_frame + frame
        elif self.own < 1:
            self.where = "free"
        elif side.option.total is None:
            self.where = "option" if self._surely_running() else "maybe over"
        else:
            self.where = "option" if self.own <= side.option.total else "free"

    def _surely_running(self) -> bool:
        timeline = timeline_of(self.side.option)
        return timeline.last_stop is not None and self.own < timeline.last_stop

    def phases(self) -> list[tuple[str, frozenset[str]]]:
        """Possible phases, each with what decides it."""
        if self.where == "option":
            return self._option_phases()
        if self.where == "maybe over":
            need = frozenset({f"{self.role}.total"})
            return [("free", need)] + [(p, n | need) for p, n in self._option_phases()]
        return [(self.where, NOTHING)]

    def _option_phases(self) -> list[tuple[str, frozenset[str]]]:
        kind = self.side.option.kind
        if kind == "movement":
            return [("moving", NOTHING)]
        if kind == "guard":
            return [("guarding", NOTHING)]
        timeline = timeline_of(self.side.option)
        if timeline.first is None:
            need = frozenset({f"{self.role}.first_active"})
            return [(p, need) for p in ("startup", "active", "recovery")]
        if self.own < timeline.first:
            return [("startup", NOTHING)]
        if timeline.last_stop is None:
            if self.own == timeline.first:
                return [("active", NOTHING)]
            need = frozenset({f"{self.role}.active"})
            return [("active", need), ("recovery", need)]
        return [("active" if self.own < timeline.last_stop else "recovery", NOTHING)]

    def postures(self) -> list[tuple[str, frozenset[str]]]:
        """Possible postures, each with what decides it."""
        if self.where == "option":
            return _postures(self.side.option, self.own, self.role)
        if self.where == "maybe over":
            need = frozenset({f"{self.role}.total"})
            ways = _postures(self.side.option, self.own, self.role)
            if ways == [("standing", NOTHING)]:
                return ways
            return [("standing", need)] + [(p, n | need) for p, n in ways]
        if self.where == "knockdown":
            return [(self.side.lying, NOTHING)]
        if self.prior_own and self.side.prior is not None:
            return _postures(self.side.prior, self.prior_own, f"{self.role}.prior")
        return [("standing", NOTHING)]

    def guards(self) -> list[tuple[frozenset[str], frozenset[str]]]:
        """Possible sets of guards the side can block with, each with what decides it."""
        every = frozenset(self.conventions.guards)
        if self.where in ("free", "blockstun"):
            return [(every, NOTHING)]
        if self.where in ("recovery", "hitstun", "knockdown"):
            return [(NOTHING, NOTHING)]
        running: frozenset[str] = NOTHING
        for window in self.side.option.guard:
            if window.span.start <= self.own < window.span.stop:
                running |= window.guards
        if self.where == "option":
            return [(running, NOTHING)]
        need = frozenset({f"{self.role}.total"})
        return [(every, need), (running, need)]

    def shielded(self, hit: Hit, by: str) -> tuple[bool | None, frozenset[str]]:
        """Whether the attack passes through (invulnerable, or immune in blockstun)."""
        if self.where == "blockstun":
            immune = self.conventions.blockstun_immune
            return _among([immune] if immune else [], hit, by)
        if self.prior_own and self.side.prior is not None:
            shields, frame, owner = self.side.prior.invulnerable, self.prior_own, "prior"
        elif self.where in ("option", "maybe over"):
            shields, frame, owner = self.side.option.invulnerable, self.own, ""
        else:
            return False, NOTHING
        role = f"{self.role}.{owner}" if owner else self.role
        if shields is None:
            return None, frozenset({f"{role}.invulnerable"})
        if not shields:
            return False, NOTHING
        live = [s.to for s in shields if s.span.start <= frame < s.span.stop]
        found, need = _among(live, hit, by)
        if self.where == "maybe over" and found is not False:
            return None, need | {f"{self.role}.total"}
        return found, need

    def sidestepped(self, hit: Hit, by: str) -> tuple[bool | None, frozenset[str]]:
        """Whether a sidestep window makes the attack miss."""
        if self.where not in ("option", "maybe over"):
            return False, NOTHING
        steps = self.side.option.sidestep
        if steps is None:
            if hit.tracks is not None and {"left", "right"} <= hit.tracks:
                return False, NOTHING
            return None, frozenset({f"{self.role}.sidestep"})
        for step in steps:
            if step.span.start <= self.own < step.span.stop:
                if hit.tracks is None:
                    return None, frozenset({f"{by}.tracking"})
                if step.side not in hit.tracks:
                    if self.where == "maybe over":
                        return None, frozenset({f"{self.role}.total"})
                    return True, NOTHING
        return False, NOTHING


    def parries(self, hit: Hit, by: str) -> tuple[bool | None, frozenset[str]]:
        """Whether a parry window of the running option catches the attack."""
        windows = self.side.option.parry
        if windows is None:
            return None, frozenset({f"{self.role}.parry"})
        unsure = False
        for window in windows:
            if window.span.start <= self.own < window.span.stop:
                inside = caught_by(window.catches, hit)
                spared = caught_by(window.excepting, hit) if window.excepting else False
                if inside and spared is False:
                    return True, NOTHING
                unsure = unsure or (inside is not False and spared is not True)
        return (None, _unknown_of(hit, by)) if unsure else (False, NOTHING)

    def armour(self, hit: Hit, by: str, absorbed: tuple[int, ...]) -> tuple[int | bool | None, frozenset[str]]:
        """Index of the armour window that takes the hit; False: none; None: unknown windows."""
        windows = self.side.option.armour
        if windows is None:
            return None, frozenset({f"{self.role}.armour"})
        for i, window in enumerate(windows):
            if window.span.start <= self.own < window.span.stop and absorbed.count(i) < window.hits:
                inside = caught_by(window.to, hit)
                if inside:
                    return i, NOTHING
                if inside is None:
                    return i, _unknown_of(hit, by)
        return False, NOTHING

    def breakable(self, hit: Hit, phases: list[tuple[str, frozenset[str]]]) -> bool | None:
        """Whether the side can break the throw that lands; False for what is no throw."""
        if hit.breaks is not None and not hit.breaks:
            return False
        level = self.conventions.levels.get(hit.level) if hit.level is not None else None
        if level is not None and level.kind != "throw":
            return False
        allowed = self.conventions.breakable_in
        if hit.breaks is None or allowed is None or level is None:
            return None
        inside = {phase in allowed for phase, _ in phases}
        return inside.pop() if len(inside) == 1 else None


def _unknown_of(hit: Hit, by: str) -> frozenset[str]:
    """Which of the properties that decide a catch are unknown."""
    pairs = ((f"{by}.level", hit.level), (f"{by}.tags", hit.tags))
    return frozenset(name for name, value in pairs if value is None)


def _postures(move: Move, frame: int, role: str) -> list[tuple[str, frozenset[str]]]:
    """Possible postures on an own frame: airborne before grounded before crouching, else standing."""
    ways: list[tuple[str, frozenset[str]]] = []
    need: frozenset[str] = NOTHING
    for posture in ("airborne", "grounded", "crouching"):
        inside = holds(getattr(move, posture), frame)
        if inside:
            return [*ways, (posture, need)]
        if inside is None:
            need = need | {f"{role}.{posture}"}
            ways.append((posture, need))
    return [*ways, ("standing", need)]


def _among(sets: list[Catch], hit: Hit, by: str) -> tuple[bool | None, frozenset[str]]:
    unsure = False
    for catch in sets:
        found = caught_by(catch, hit)
        if found:
            return True, NOTHING
        unsure = unsure or found is None
    if not unsure:
        return False, NOTHING
    return None, _unknown_of(hit, by)
