"""Units of the product: whole frames and exact distances.

Frames are plain integers. Distances are written by people in the pack's own distance unit
(a decimal number) and kept inside as whole micro-units, a millionth of that unit, so that
positions add up exactly however many frames they are summed over.
"""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

__all__ = [
    "FOREVER",
    "MICRO",
    "Chance",
    "Damage",
    "Distance",
    "Frames",
    "Micro",
    "SignedFrames",
    "Span",
    "from_micro",
    "to_micro",
]

MICRO = 1_000_000
"""Micro-units in one distance unit of a pack."""

FOREVER = 100_000
"""A frame later than any that can matter; ends windows that last as long as they are held."""

Frames = Annotated[int, Meta(ge=0, le=FOREVER, description="A count of frames.")]
SignedFrames = Annotated[
    int, Meta(ge=-9999, le=9999, description="Frames of advantage; + means this side is free first.")
]
Distance = Annotated[float, Meta(ge=-1000, le=1000, description="A distance in the pack's unit.")]
Micro = Annotated[int, Meta(description="A distance in micro-units (1e-6 of the pack's unit).")]
Damage = Annotated[float, Meta(ge=0, le=100_000, description="Points of health taken.")]
Chance = Annotated[float, Meta(ge=0, le=1, description="A probability.")]


def to_micro(distance: float) -> int:
    """Whole micro-units of ``distance`` (distance units), rounded to the nearest."""
    return round(distance * MICRO)


def from_micro(micro: int) -> float:
    """Distance units of a count of micro-units, for showing."""
    return micro / MICRO


class Span(Struct, frozen=True, order=True):
    """A run of frames, half-open: ``start`` is in it, ``stop`` is not.

    Kept half-open so that adjacent windows join and windows that only touch do not overlap;
    shown inclusive, as the trade writes them: ``Span(2, 11)`` is shown ``2-10``.

    Units: frames.
    """

    start: int
    stop: int

    def __contains__(self, frame: int) -> bool:
        return self.start <= frame < self.stop

    def __bool__(self) -> bool:
        return self.stop > self.start

    def __len__(self) -> int:
        return max(0, self.stop - self.start)

    def shifted(self, frames: int) -> Span:
        """The same run, ``frames`` later (earlier when negative)."""
        return Span(self.start + frames, self.stop + frames)

    def overlap(self, other: Span) -> Span:
        """The frames that both runs hold; empty (falsy) when there are none."""
        return Span(max(self.start, other.start), min(self.stop, other.stop))

    def shown(self) -> str:
        """The run as the trade writes it, both ends included."""
        if self.stop >= FOREVER:
            return f"{self.start}+"
        last = self.stop - 1
        return f"{self.start}" if last <= self.start else f"{self.start}-{last}"
