"""Numbers and names as a cell of a table shows them; what is unknown is ``?``, what does not apply a dash."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from advisor.advice.answer import Missing
from advisor.pack.model import UPRIGHT, Character, Move, Pack
from advisor.rules.wording import word_said
from advisor.sentences import mark, say
from advisor.studies.weighing import FrameRun

__all__ = [
    "DASH", "UNKNOWN", "gathered", "move_names", "named_property", "number", "pack_word", "percent", "runs", "signed",
    "state", "word",
]  # fmt: skip

UNKNOWN = "?"
DASH = "\N{EN DASH}"
SAID = (mark("before"), mark("during"), mark("after_block"), mark("after_whiff"), mark("block"))
"""Words that cells say and sentences do not: the moments of an option's life, and a contact."""


def signed(frames: int | None) -> str:
    """Frames of advantage with their sign."""
    return UNKNOWN if frames is None else f"{frames:+d}" if frames else "0"


def number(value: float | None) -> str:
    """Points, frames or distance as short as they are exact."""
    return UNKNOWN if value is None else f"{value:g}"


def percent(share: float | None) -> str:
    """A share of 0 to 1 in percent, a tenth exact; what rounds to nothing without being it says so."""
    if share is None:
        return UNKNOWN
    return "< 0.1 %" if 0 < share < 0.0005 else f"{100 * share:.1f} %".replace(".0 %", " %")


def word(name: str) -> str:
    """A word of the product for people: verdicts, moments, postures."""
    return word_said(name)


def pack_word(name: str) -> str:
    """An id of the pack, or a property, for people: it is the same in every language."""
    return name.replace("_", " ")


def state(knockdown: str | None) -> str:
    """A knockdown state; on the feet is a dash."""
    return UNKNOWN if knockdown is None else DASH if knockdown == UPRIGHT else pack_word(knockdown)


def runs(found: Iterable[FrameRun]) -> str:
    """Runs of frames, both ends included."""
    return ", ".join(run.shown() for run in found)


def gathered(names: Sequence[str], most: int = 8) -> str:
    """Names with commas, each once; those past ``most`` are counted."""
    each = list(dict.fromkeys(names))
    return ", ".join(each[:most]) + (say(
        " and {count} more",
        count=len(each) - most,
    ) if len(each) > most else "") or DASH


def move_names(pack: Pack, *fighters: Character) -> Mapping[str, str]:
    """Names by id of everything that these fighters can do; the first fighter's come first."""
    known: dict[str, Move] = {**pack.system, **pack.wake_ups}
    for fighter in reversed(fighters):
        known.update(fighter.moves)
    return {key: move.name for key, move in known.items()}


def named_property(missing: Missing, names: Mapping[str, str]) -> str:
    """A property that nobody has recorded, with the name of its move."""
    name, what = names.get(missing.move, missing.move), pack_word(missing.property)
    return say("{property} of {name}", property=what, name=name) if name else what
