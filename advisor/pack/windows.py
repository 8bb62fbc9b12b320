"""The written windows of a move into normalised ones: half-open spans on the move's own frames."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET

from advisor.documents import Path_
from advisor.pack.check import quoted
from advisor.pack.hits import HitReader, known
from advisor.pack.model import (
    Armour,
    Catch,
    CatchOutcome,
    Displacement,
    Guard,
    Parry,
    Shield,
    Sidestep,
)
from advisor.pack.words import check_name
from advisor.pack.written_move import (
    WrittenAdvance,
    WrittenCatch,
    WrittenMove,
    WrittenOutcome,
    WrittenParry,
)
from advisor.units import FOREVER, Span, to_micro

__all__ = ["WindowReader", "pairs"]


def pairs(windows: Sequence[Any]) -> list[list[Any]]:
    """The ``[first, last]`` pairs of a written window or list of windows; malformed ones are left out."""
    if isinstance(windows[0], list):
        return [pair for pair in windows if isinstance(pair, list)]
    flat = list(windows)
    return [flat] if len(flat) == 2 and not any(isinstance(part, list) for part in flat) else []


class WindowReader:
    """Turns the written windows of one move into normalised ones; faults go to the hits' report.

    ``total`` is the move's whole duration in frames (None when unknown): no window goes past it, and
    ``held`` as last frame is the last frame of a move whose total is a number.
    """

    def __init__(self, hits: HitReader, written: WrittenMove, at: Path_, total: int | None) -> None:
        self.hits = hits
        self.report = hits.report
        self.words = hits.words
        self.written = written
        self.at = at
        self.total = total

    def _listed(self, key: str) -> list[Any] | None:
        """The windows written under ``key``: [] when it has none, None when that is not known."""
        value = getattr(self.written, key)
        if isinstance(value, list):
            return value
        absent = value is UNSET and key in self.hits.none_when_absent
        return [] if absent or value == "none" else None

    def _span(self, pair: Sequence[int | str], path: Path_) -> Span:
        first, last = pair
        if isinstance(first, str):
            self.report.fault("window-malformed", "only the last frame of a window can be `held`", path)
            return Span(1, 2)
        end = FOREVER if self.total is None else self.total
        if isinstance(last, str):
            last = end if end < FOREVER else FOREVER - 1
        elif last > end:
            self.report.fault(
                "window-past-total",
                f"frames {first} to {last} go past the end of the move, whose total is {end}",
                path,
            )
        if first > last:
            self.report.fault(
                "window-reversed",
                f"the window {first} to {last} ends before it begins",
                path,
                help=f"write `[{last}, {first}]`",
            )
        return Span(first, last + 1)

    def spans(self, key: str) -> tuple[Span, ...] | None:
        """The spans of a key that holds plain windows."""
        listed = self._listed(key)
        if not listed:
            return None if listed is None else ()
        path = (*self.at, key)
        several = isinstance(listed[0], list)
        good = pairs(listed)
        if len(good) != (len(listed) if several else 1):
            self.report.fault(
                "window-malformed",
                "must be a window `[first, last]` or a list of such windows",
                path,
                help="write `[4, 12]` or `[[4, 12], [20, 24]]`",
            )
        return tuple(self._span(pair, (*path, n) if several else path) for n, pair in enumerate(good))

    def catch(self, written: WrittenCatch, at: Path_) -> Catch:
        """A written set of attacks, its words checked."""
        return self._catch(written.levels, written.tags, at)

    def _catch(self, levels: list[str], tags: list[str], at: Path_) -> Catch:
        return Catch(
            levels=self.words.check_all(self.report, "level", levels, (*at, "levels")),
            tags=self.words.check_all(self.report, "tag", tags, (*at, "tags")),
        )

    def _places(self, key: str, listed: Sequence[Any]) -> list[tuple[Any, Path_]]:
        return [(one, (*self.at, key, number)) for number, one in enumerate(listed)]

    def shields(self) -> tuple[Shield, ...] | None:
        """The windows of ``invulnerable``."""
        listed = self._listed("invulnerable")
        if listed is None:
            return None
        return tuple(
            Shield(span=self._span(one.frames, (*at, "frames")), to=self._catch(one.levels, one.tags, at))
            for one, at in self._places("invulnerable", listed)
        )

    def armours(self) -> tuple[Armour, ...] | None:
        """The windows of ``armour``."""
        listed = self._listed("armour")
        if listed is None:
            return None
        return tuple(
            Armour(
                span=self._span(one.frames, (*at, "frames")),
                to=self._catch(one.levels, one.tags, at),
                hits=one.hits,
            )
            for one, at in self._places("armour", listed)
        )

    def parries(self) -> tuple[Parry, ...] | None:
        """The windows of ``parry``."""
        listed = self._listed("parry")
        if listed is None:
            return None
        return tuple(self._parry(one, at) for one, at in self._places("parry", listed))

    def _parry(self, written: WrittenParry, at: Path_) -> Parry:
        excepting = written.excepting
        return Parry(
            span=self._span(written.frames, (*at, "frames")),
            catches=self.catch(written.catches, (*at, "catches")),
            excepting=None if excepting is None else self.catch(excepting, (*at, "except")),
            outcomes=tuple(
                self._outcome(one, (*at, "outcomes", number)) for number, one in enumerate(written.outcomes)
            ),
        )

    def _outcome(self, written: WrittenOutcome, at: Path_) -> CatchOutcome:
        name = known(written.name)
        return CatchOutcome(
            of=self.catch(written.of, (*at, "of")),
            damage=known(written.damage),
            advantage=known(written.advantage),
            leaves=self.hits.caught(written.leaves, (*at, "leaves")),
            name=None if name is None else check_name(self.report, name, (*at, "name")),
        )

    def sidesteps(self) -> tuple[Sidestep, ...] | None:
        """The windows of ``sidestep``."""
        listed = self._listed("sidestep")
        if listed is None:
            return None
        return tuple(
            Sidestep(span=self._span(one.frames, (*at, "frames")), side=one.side)
            for one, at in self._places("sidestep", listed)
        )

    def displacements(self) -> tuple[Displacement, ...] | None:
        """The movement of the move, as a step in micro-units on each frame of a window."""
        listed = self._listed("displacement")
        if listed is None:
            return None
        return tuple(self._displacement(one, at) for one, at in self._places("displacement", listed))

    def _displacement(self, written: WrittenAdvance, at: Path_) -> Displacement:
        span = self._span(written.frames, (*at, "frames"))
        forward, back = written.forward, written.back
        if (forward is None) == (back is None):
            stated = "neither" if forward is None else "both"
            self.report.fault(
                "displacement-clash", f"needs one of `forward` and `back`, and has {stated}", at
            )
        if span.stop >= FOREVER:
            self.report.fault(
                "window-malformed",
                "a distance needs a last frame that is a number",
                (*at, "frames"),
                help="write the distance of one turn of it and the frames that this takes",
            )
        distance = forward if forward is not None else -(back or 0.0)
        return Displacement(span=span, step=round(to_micro(distance) / max(1, len(span))))

    def guards(self, kind: str) -> tuple[Guard, ...]:
        """The frames on which it blocks, from ``guard`` or from what ``cannot_block`` leaves."""
        for key in ("guard", "cannot_block"):
            value = getattr(self.written, key)
            if value is None or value == "unknown":
                self.report.warn(
                    "unknown-not-kept",
                    f"an unknown `{key}` is taken as not blocking at all",
                    (*self.at, key),
                    help="leave the key out if it cannot block",
                )
        listed = self._listed("guard")
        blind = self.spans("cannot_block")
        if blind is not None and kind in ("attack", "parry"):
            self.report.warn(
                "key-idle",
                f"`cannot_block` says nothing for {quoted(kind)[5:]}: it does not block",
                (*self.at, "cannot_block"),
            )
            blind = None
        if blind is not None and isinstance(self.written.guard, list):
            self.report.fault(
                "guard-clash",
                "an option has `guard` or `cannot_block`, not both",
                (*self.at, "cannot_block"),
                key=True,
            )
        if blind is None or listed:
            return tuple(
                Guard(
                    span=self._span(one.frames, (*at, "frames")),
                    guards=self.words.check_all(self.report, "guard", one.guards, (*at, "with")),
                )
                for one, at in self._places("guard", listed or [])
            )
        return self._guards_outside(blind)

    def _guards_outside(self, blind: Sequence[Span]) -> tuple[Guard, ...]:
        every = frozenset(self.words.guards or ())
        stop = FOREVER if self.total is None or self.total >= FOREVER else self.total + 1
        free: list[Span] = []
        begin = 1
        for span in sorted(blind):
            if span.start > begin:
                free.append(Span(begin, span.start))
            begin = max(begin, span.stop)
        if begin < stop:
            free.append(Span(begin, stop))
        return tuple(Guard(span=span, guards=every) for span in free)
