"""The search for sequences of actions that use up frames: dynamic programming over frames and distance.

What a sequence leaves for its last action is a state: frames used, distance, and the replies that some
action of it has already run into. Sequences that come to one state are counted, not listed; they are
listed only for the states that rank high enough.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from msgspec import Struct

from advisor.studies.setups_tables import Actor, Met, Target, met
from advisor.units import Span

__all__ = ["Group", "Progress", "Search", "State"]

Progress = Callable[[int, int], None]
"""Told ``(done, known so far)`` in units of work as the search goes on."""

State = tuple[int, int, int]
"""Frames used, distance in micro-units, replies run into (bit by index)."""


class Group(NamedTuple):
    """All sequences of one length that come to one state and end with one action.

    ``covered`` has the replies that the last action gets (bit by index), ``ways`` how many sequences.
    """

    actions: int
    state: State
    last: int
    covered: int
    ways: int


class _Step(Struct, frozen=True):
    """The actions that take the same frames and cover the same ground."""

    total: int
    moved: int
    members: tuple[int, ...]


class _Row(NamedTuple):
    """One action against every reply, each over all beginnings; ``classes`` has the replies met, by beginnings."""

    bits: Sequence[int]
    late: Sequence[int]
    ever: int
    classes: Sequence[tuple[int, int]]


class _Entry(NamedTuple):
    """The groups of one last action, distance and set of replies: their used frames are the bits of ``bits``."""

    last: int
    distance: int
    spoiled: int
    covered: int
    bits: int
    states: Mapping[int, Sequence[tuple[int, int]]]


class Search:
    """One search; after ``run`` ``counts`` has the sequences by how many replies they cover, ``groups`` lists them.

    ``fillers`` and ``lasts`` are what may stand before the end and at it; ``most`` the most frames that
    may be used up, ``length`` the most actions (the last included), ``bound`` the most units of work.
    """

    def __init__(
        self,
        fillers: Sequence[Actor],
        lasts: Sequence[Actor],
        targets: Sequence[Target],
        *,
        distance: int,
        most: int,
        length: int,
        bound: int,
        progress: Progress | None = None,
    ) -> None:
        self.fillers, self.lasts, self.targets = fillers, lasts, targets
        self.most, self.length, self.bound = most, length, bound
        self.progress = progress
        self.start: State = (0, distance, 0)
        self.work = 0
        self.complete = True
        self.layers: list[dict[State, int]] = []
        self.parents: list[dict[State, list[tuple[State, int]]]] = []
        self.entries: dict[int, list[_Entry]] = {}
        self.counts: dict[int, int] = {}
        self.steps = _steps(fillers)
        self._rows: dict[tuple[int, bool], tuple[list[int], dict[int, _Row]]] = {}
        self._pairs: dict[tuple[int, bool], list[tuple[list[int], dict[int, Met]]]] = {}
        self._touches: dict[tuple[int, int], tuple[int, list[Sequence[int]]]] = {}

    def run(self) -> None:
        """Expand states layer by layer, then see what each action would get from each of them."""
        self.layers = [{self.start: 1}]
        self.parents = [{}]
        for _ in range(self.length - 1):
            if not self._expand():
                break
        self._rank()

    def _expand(self) -> bool:
        """One more action in front of the last; False when there is no room or no work left."""
        every = (1 << len(self.targets)) - 1
        fresh: dict[State, int] = {}
        parents: dict[State, list[tuple[State, int]]] = {}
        for done, (state, ways) in enumerate(self.layers[-1].items()):
            if self.work > self.bound // 2:
                self.complete = False
                break
            if self.progress and not done & 255:
                self.progress(self.work, self.work + len(self.layers[-1]) - done)
            used, distance, spoiled = state
            for number, step in enumerate(self.steps):
                then = used + step.total
                if then > self.most:
                    break
                self.work += 1
                away = max(0, distance - step.moved)
                for mask, members in self._spoilt(number, distance, used):
                    if mask | spoiled == every:
                        continue
                    key = (then, away, mask | spoiled)
                    if key in fresh:
                        fresh[key] += ways * members
                        if parents[key][-1] != (state, number):
                            parents[key].append((state, number))
                    else:
                        fresh[key] = ways * members
                        parents[key] = [(state, number)]
        if fresh:
            self.layers.append(fresh)
            self.parents.append(parents)
        return bool(fresh) and self.complete

    def _spoilt(self, number: int, distance: int, used: int) -> list[tuple[int, int]]:
        """For one step: the sets of replies that its actions run into, each with how many actions do."""
        ever, each = self._touch(number, distance)
        if not ever >> used & 1:
            return [(0, len(each))]
        counts: dict[int, int] = {}
        for touches in each:
            mask = _mask(touches, used)
            counts[mask] = counts.get(mask, 0) + 1
        return list(counts.items())

    def _touch(self, number: int, distance: int) -> tuple[int, list[Sequence[int]]]:
        """For one step at a distance: beginnings on which any of its actions touches, and by action and reply."""
        key = (number, distance)
        if key not in self._touches:
            ever, each = 0, []
            for i in self.steps[number].members:
                row = self._row(i, distance, filler=True)
                ever |= row.ever
                each.append(row.bits)
            self._touches[key] = (ever, each)
        return self._touches[key]

    def _row(self, i: int, distance: int, *, filler: bool) -> _Row:
        """One action against every reply; distances between which nothing changes share one row."""
        key = (i, filler)
        if key not in self._rows:
            actor = self.fillers[i] if filler else self.lasts[i]
            edges = [_thresholds(actor, target) for target in self.targets]
            self._rows[key] = (sorted(set().union(*edges)), {})
            self._pairs[key] = [(each, {}) for each in edges]
        edges_of, kept = self._rows[key]
        part = bisect_left(edges_of, distance)
        if part not in kept:
            kept[part] = self._new_row(i, distance, filler)
        return kept[part]

    def _new_row(self, i: int, distance: int, filler: bool) -> _Row:
        actor = self.fillers[i] if filler else self.lasts[i]
        found = []
        for target, (edges, kept) in zip(self.targets, self._pairs[i, filler], strict=True):
            part = bisect_left(edges, distance)
            if part not in kept:
                kept[part], work = met(actor, target, distance, self.most)
                self.work += work
            found.append(kept[part])
        bits = [one.touches if filler else one.covers for one in found]
        ever = 0
        for each in bits:
            ever |= each
        classes = [] if filler else [(mask, at) for mask, at in _classes(bits, ever) if mask]
        return _Row(bits, [one.late for one in found], ever, classes)

    def _rank(self) -> None:
        """What every last action gets from every state."""
        by: dict[int, dict[int, dict[int, list[tuple[int, int]]]]] = {}
        for depth, layer in enumerate(self.layers):
            for (used, distance, spoiled), ways in layer.items():
                by.setdefault(distance, {}).setdefault(spoiled, {}).setdefault(used, []).append((depth, ways))
        limit = max(self.bound, self.work + self.bound // 2)
        for done, (distance, spoilt) in enumerate(by.items()):
            if self.work > limit:
                self.complete = False
                break
            if self.progress:
                self.progress(self.work, self.work + len(by) - done)
            begun = [
                (
                    spoiled, sum(1 << used for used in states), states,
                    {used: sum(ways for _, ways in ends) for used, ends in states.items()},
                )
                for spoiled, states in spoilt.items()
            ]
            for last in range(len(self.lasts)):
                for mask, bits in self._row(last, distance, filler=False).classes:
                    for spoiled, at, states, totals in begun:
                        if bits & at and mask & ~spoiled:
                            self._add(_Entry(last, distance, spoiled, mask & ~spoiled, bits & at, states), totals)

    def _add(self, entry: _Entry, ways: Mapping[int, int]) -> None:
        count = entry.covered.bit_count()
        self.entries.setdefault(count, []).append(entry)
        self.work += entry.bits.bit_count()
        self.counts[count] = self.counts.get(count, 0) + sum(ways[used] for used in _ones(entry.bits))

    def groups(self, count: int) -> Iterator[Group]:
        """All groups that cover just ``count`` replies."""
        for entry in self.entries.get(count, ()):
            for used in _ones(entry.bits):
                for depth, ways in entry.states[used]:
                    yield Group(depth + 1, (used, entry.distance, entry.spoiled), entry.last, entry.covered, ways)

    def window(self, group: Group) -> Span:
        """The run of frames used up, around the group's own, over which the last action gets all that it covers."""
        used, distance, _ = group.state
        bits = (1 << (self.most + 1)) - 1
        for r, late in enumerate(self._row(group.last, distance, filler=False).late):
            if group.covered >> r & 1:
                bits &= late
        bits |= 1 << used
        first = stop = used
        while first > 0 and bits >> (first - 1) & 1:
            first -= 1
        while bits >> stop & 1:
            stop += 1
        return Span(first, stop)

    def sequences(self, group: Group) -> Iterator[tuple[int, ...]]:
        """The sequences of a group: what comes before the last action, as indexes of ``fillers``."""
        yield from self._back(group.actions - 1, group.state)

    def _back(self, depth: int, state: State) -> Iterator[tuple[int, ...]]:
        if depth == 0:
            yield ()
            return
        for before, number in self.parents[depth][state]:
            used, distance, spoiled = before
            _, each = self._touch(number, distance)
            members = [
                i
                for i, touches in zip(self.steps[number].members, each, strict=True)
                if _mask(touches, used) | spoiled == state[2]
            ]
            for head in self._back(depth - 1, before):
                for i in members:
                    yield (*head, i)


def _mask(bits: Sequence[int], used: int) -> int:
    """The replies whose bit ``used`` is set, bit by index."""
    out = 0
    for r, each in enumerate(bits):
        out |= (each >> used & 1) << r
    return out


def _ones(bits: int) -> Iterator[int]:
    """The numbers of the bits that are set, ascending."""
    while bits:
        yield (bits & -bits).bit_length() - 1
        bits &= bits - 1


def _classes(rows: Sequence[int], within: int) -> list[tuple[int, int]]:
    """The beginnings of ``within`` by the set of replies whose bit is set there: pairs of set and beginnings."""
    out = [(0, within)] if within else []
    for r, row in enumerate(rows):
        out = [
            part
            for mask, bits in out
            for part in ((mask | 1 << r, bits & row), (mask, bits & ~row))
            if part[1]
        ]
    return out


def _steps(fillers: Sequence[Actor]) -> list[_Step]:
    """The fillers by frames and ground covered, the shortest first."""
    by: dict[tuple[int, int], list[int]] = {}
    for i, actor in enumerate(fillers):
        by.setdefault((actor.total, actor.moved), []).append(i)
    return [_Step(total, moved, tuple(members)) for (total, moved), members in sorted(by.items())]


def _thresholds(actor: Actor, target: Target) -> list[int]:
    """The distances at which what these two do to each other can change, ascending."""
    edges = {s.gets + far for s in actor.strokes for far in target.steps.least}
    edges |= {s.gets + far for _, s in target.strokes for far in (0, *actor.steps.least)}
    return sorted(edges)
