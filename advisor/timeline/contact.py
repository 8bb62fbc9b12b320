"""One side's attack followed through the windows of the other side: every first contact possible.

On every run of frames over which nothing changes one test tells whether the attack touches, so the
work grows with the number of windows and not with the number of frames. Unknown properties make
alternatives: each contact that is possible is kept with the properties that would decide it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct

from advisor.pack.model import Conventions, Hit
from advisor.timeline.body import NOTHING, Body
from advisor.timeline.side import Side, Timeline, timeline_of
from advisor.units import FOREVER

__all__ = ["Attack", "Contact", "Way", "armoured_of", "needs_of"]


class Contact(Struct, frozen=True):
    """One attack that touches, on some frame of ``[earliest, latest]`` (common clock).

    ``effect`` is hit, counter_hit, blocked or parried. ``hit`` is the index of the attack's active window,
    ``lag`` the frames since its first active one, ``distance`` micro-units at contact (None: unknown).
    ``armoured`` lists the earlier contacts that armour took (common frames).
    """

    earliest: int
    latest: int
    effect: str
    posture: str
    phase: str
    hit: int
    breakable: bool | None
    distance: int | None
    needs: frozenset[str]
    armoured: tuple[int, ...] = ()

    @property
    def frame(self) -> int | None:
        return self.earliest if self.earliest == self.latest else None


Way = Contact | tuple[frozenset[str], tuple[int, ...]]
_PHASES = {"movement": "moving", "guard": "guarding"}
_EMPTY: Way = (NOTHING, ())
_MISS = (False, NOTHING, 0, 0, None, None)



class Attack:
    """All first contacts of one side's attack that are possible; a way that is no contact: it misses."""

    __slots__ = (
        "begins", "by", "conventions", "distance", "farthest", "me", "miss", "nearest", "on", "still",
        "them", "ways",
    )

    def __init__(
        self,
        conventions: Conventions,
        me: Side,
        them: Side,
        away: tuple[int | None, int, int | None],
        by: str,
        on: str,
    ) -> None:
        self.conventions = conventions
        self.me = me
        self.them = them
        self.distance, self.nearest, self.farthest = away
        self.by = by
        self.on = on
        self.begins = me.free_at + me.delay
        self.miss: str | None = None
        self.ways: list[Way] = []
        mine, theirs = timeline_of(me.option), timeline_of(them.option)
        self.still = mine.moves is False and theirs.moves is False
        if not me.option.hits:
            self.ways.append(_EMPTY)
        elif mine.plain_attack and theirs.plain_body and self.distance is not None and self._plain(theirs):
            pass
        else:
            self._follow(0, (), (), NOTHING)

    def _plain(self, theirs: Timeline) -> bool:
        """The usual case in few steps: one known hit against a body that only has phases and guards.

        False when the case is not that simple after all. The general way gives the same answer.
        """
        them = self.them
        hit = self.me.option.hits[0]
        frame = max(1, self.begins + hit.first_active)  # type: ignore[operator]
        conventions = self.conventions
        level = conventions.levels[hit.level]  # type: ignore[index]
        own = frame - them.free_at - them.delay
        guards: Iterable[str] = conventions.guards
        if frame <= them.free_at:
            phase = them.held if them.held != "none" else "free"
            if phase == "blockstun":
                if conventions.blockstun_immune is not None:
                    return False
            elif phase == "recovery":
                if them.prior is not None and not timeline_of(them.prior).plain_body:
                    return False
                guards = ()
            elif phase == "knockdown":
                return False
            elif phase == "hitstun":
                guards = ()
        elif own < 1 or own > theirs.total:  # type: ignore[operator]
            phase = "free"
        else:
            option = them.option
            if option.kind == "attack":
                phase = (
                    "startup" if own < theirs.first  # type: ignore[operator]
                    else "active" if own < theirs.last_stop  # type: ignore[operator]
                    else "recovery"
                )
            else:
                phase = _PHASES[option.kind]
            guards = [g for w in option.guard if w.span.start <= own < w.span.stop for g in w.guards]
        if frame >= self.begins + hit.active_stop:  # type: ignore[operator]
            self.ways.append(_EMPTY)
        elif hit.reach < self.distance:  # type: ignore[operator]
            self.miss = "reach"
            self.ways.append(_EMPTY)
        elif "standing" not in level.hits:
            self.miss = "posture"
            self.ways.append(_EMPTY)
        else:
            breakable: bool | None = False
            effect = "blocked"
            if level.blocked_by.isdisjoint(guards):
                effect = "counter_hit" if phase in conventions.counter_hit else "hit"
                if level.kind == "throw" and hit.breaks:
                    inside = conventions.breakable_in
                    breakable = None if inside is None else phase in inside
            self.ways.append(
                Contact(frame, frame, effect, "standing", phase, 0, breakable, self.distance, NOTHING)
            )
        return True

    def _follow(
        self, index: int, absorbed: tuple[int, ...], armoured: tuple[int, ...], needs: frozenset[str]
    ) -> None:
        """Follow the attack from its hit number ``index`` on, through every window it meets."""
        hits = self.me.option.hits
        for i in range(index, len(hits)):
            hit = hits[i]
            failed: int | None = None
            for start, stop, sure, why in self._windows(hit):
                for lo, hi in self._runs(start, stop, sure):
                    touch, need, at, last, gap, body = self._touch(hit, lo, hi, failed)
                    if touch is False or body is None:
                        continue
                    if not sure:
                        last, need = hi - 1, need | why
                    branch = needs | need if need else needs
                    self._effects(hit, i, body, (at, last), gap, branch, absorbed, armoured)
                    if touch and sure:
                        return
                    # With the same distance later in the window, reach would fail there too.
                    if touch is None and sure and self.still and need <= {f"{self.by}.reach", "situation.distance"}:
                        failed = gap if gap is not None else -FOREVER
                    needs = branch
        self.ways.append((needs, armoured) if needs or armoured else _EMPTY)

    def _windows(self, hit: Hit) -> list[tuple[int, int, bool, frozenset[str]]]:
        """Runs of common frames on which the hit is active: start, stop, sure, what decides."""
        begins = self.begins
        if hit.first_active is not None and hit.active_stop is not None:
            return [(max(1, begins + hit.first_active), begins + hit.active_stop, True, NOTHING)]
        total = self.me.option.total
        end = begins + total + 1 if total is not None else FOREVER
        if hit.first_active is None:
            return [(max(1, begins + 1), end, False, frozenset({f"{self.by}.first_active"}))]
        first = begins + hit.first_active
        more = (max(1, first + 1), end, False, frozenset({f"{self.by}.active"}))
        return [(first, first + 1, True, NOTHING), more] if first >= 1 else [more]

    def _runs(self, start: int, stop: int, sure: bool) -> Iterator[tuple[int, int]]:
        """Cut a run of frames where the struck side (or a moving attacker) changes.

        A sure window gives its first frame by itself: most attacks touch there or, with nothing
        moving, not at all.
        """
        if start >= stop:
            return
        if sure:
            yield start, start + 1
            start += 1
            if start >= stop:
                return
        them = self.them
        begins = them.free_at + them.delay
        cuts = {begins + edge for edge in timeline_of(them.option).edges}
        cuts.add(them.free_at + 1)
        if them.prior is not None and start <= them.free_at:
            cuts |= {edge - them.prior_frame for edge in timeline_of(them.prior).edges}
        if not self.still:
            cuts |= {self.begins + edge for edge in timeline_of(self.me.option).edges}
        previous = start
        for cut in sorted(cuts):
            if previous < cut < stop:
                yield previous, cut
                previous = cut
        yield previous, stop

    def _closed(self, frame: int) -> int | None:
        """Micro-units by which both have moved together on a common frame."""
        if self.still:
            return 0
        me, them = self.me, self.them
        if me.option.displacement is None or them.option.displacement is None:
            return None
        theirs = frame - them.free_at - them.delay
        return timeline_of(me.option).moved(frame - self.begins) + timeline_of(them.option).moved(theirs)

    def _touch(
        self, hit: Hit, lo: int, hi: int, failed: int | None
    ) -> tuple[bool | None, frozenset[str], int, int, int | None, Body | None]:
        """Whether the hit touches on the run ``[lo, hi)``: answer, what decides, frames, distance, body."""
        reached, need, at, last = self._reaches(hit, lo, hi)
        if reached is False:
            self.miss = self.miss or "reach"
            return _MISS
        closed = self._closed(at)
        gap = None if self.distance is None or closed is None else self.distance - closed
        if failed is not None and reached is None and (gap is None or gap >= failed):
            return _MISS
        body = Body(self.conventions, self.them, at, self.on)
        level = self.conventions.levels.get(hit.level) if hit.level is not None else None
        answer: bool | None = True if reached else None
        if level is None:
            answer, need = None, need | {f"{self.by}.level"}
        else:
            ways = body.postures()
            inside = [posture in level.hits for posture, _ in ways]
            if not any(inside):
                self.miss = self.miss or "posture"
                return _MISS
            if not all(inside):
                answer, need = None, need.union(*(n for _, n in ways))
        for test, reason in ((body.shielded, "invulnerable"), (body.sidestepped, "sidestep")):
            passed, because = test(hit, self.by)
            if passed:
                self.miss = self.miss or reason
                return _MISS
            if passed is None:
                answer, need = None, need | because
        return answer, need, at, last, gap, body

    def _reaches(self, hit: Hit, lo: int, hi: int) -> tuple[bool | None, frozenset[str], int, int]:
        """Whether and on which frame of the run the distance is inside the reach."""
        closed = self._closed(lo)
        if self.distance is None or closed is None or hit.reach is None:
            return self._perhaps(hit, lo, hi, closed)
        gap = self.distance - closed
        if gap <= hit.reach:
            return True, NOTHING, lo, lo
        if self.still or hi - lo <= 1:
            return False, NOTHING, lo, lo
        following = self._closed(lo + 1)
        assert following is not None
        closing = following - closed
        if closing <= 0:
            return False, NOTHING, lo, lo
        # On a run without edges the distance is linear, so the first frame in reach is a division.
        at = lo - (hit.reach - gap) // closing
        return (True, NOTHING, at, at) if at < hi else (False, NOTHING, lo, lo)

    def _perhaps(
        self, hit: Hit, lo: int, hi: int, closed: int | None
    ) -> tuple[bool | None, frozenset[str], int, int]:
        """Reach against a distance (or with a reach) that is not fully known."""
        if hit.reach is not None and closed is not None:
            if self.farthest is not None and hit.reach + closed >= self.farthest:
                return True, NOTHING, lo, lo
            most = max(closed, self._closed(hi - 1) or 0)
            if hit.reach + most < self.nearest:
                return False, NOTHING, lo, lo
        need = set()
        if hit.reach is None:
            need.add(f"{self.by}.reach")
        if self.distance is None:
            need.add("situation.distance")
        for role, side in ((self.by, self.me), (self.on, self.them)):
            if side.option.displacement is None:
                need.add(f"{role}.displacement")
        return None, frozenset(need), lo, lo if self.still else hi - 1

    def _effects(
        self,
        hit: Hit,
        index: int,
        body: Body,
        frames: tuple[int, int],
        gap: int | None,
        needs: frozenset[str],
        absorbed: tuple[int, ...],
        armoured: tuple[int, ...],
    ) -> None:
        """Add every effect that the touch can have, in the domain's order."""
        at, last = frames
        postures = body.postures()
        posture = postures[0][0] if len(postures) == 1 else "unknown"
        ways = body.phases()
        phase = ways[0][0] if len(ways) == 1 else "unknown"

        def add(effect: str, more: frozenset[str], breakable: bool | None = False) -> None:
            self.ways.append(
                Contact(at, last, effect, posture, phase, index, breakable, gap, more, armoured)
            )

        option = self.them.option
        running = body.where in ("option", "maybe over")
        ended = frozenset({f"{self.on}.total"}) if body.where == "maybe over" else NOTHING
        if running:
            caught, more = body.parries(hit, self.by)
            if caught is not False:
                needs = needs | more
                add("parried", needs | ended)
                if caught and not ended:
                    return
                needs = needs | ended
            window, more = body.armour(hit, self.by, absorbed)
            if window is not False:
                needs = needs | more
                spent = absorbed if window is None else (*absorbed, window)
                self._follow(index + 1, spent, (*armoured, at), needs | ended)
                if window is not None and not more and not ended:
                    return
                needs = needs | ended
        level = self.conventions.levels.get(hit.level) if hit.level is not None else None
        options = body.guards()
        stops: list[bool | None] = (
            [None] if level is None and any(g for g, _ in options)
            else [bool(level and guards & level.blocked_by) for guards, _ in options]
        )
        if any(stop is not False for stop in stops):
            unsure = not all(stops)
            if unsure:
                needs = needs.union(*(n for _, n in options))
                needs = needs if level is not None else needs | {f"{self.by}.level"}
            add("blocked", needs)
            if not unsure:
                return
        breakable = body.breakable(hit, ways)
        counter = [p in self.conventions.counter_hit for p, _ in ways]
        state = False
        if running and option.counter_state:
            state = any(s.start <= body.own < s.stop for s in option.counter_state)
        elif running and option.counter_state is None and not all(counter):
            counter.append(True)
            needs = needs | {f"{self.on}.counter_state"}
        if state or all(counter):
            add("counter_hit", needs, breakable)
        elif not any(counter):
            add("hit", needs, breakable)
        else:
            needs = needs.union(*(n for _, n in ways))
            add("counter_hit", needs, breakable)
            add("hit", needs, breakable)


def armoured_of(way: Way) -> tuple[int, ...]:
    """Common frames on which armour took the attack on this way."""
    return way.armoured if isinstance(way, Contact) else way[1]


def needs_of(way: Way) -> frozenset[str]:
    """The properties that would decide whether it comes this way."""
    return way.needs if isinstance(way, Contact) else way[0]
