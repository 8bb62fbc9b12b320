"""The answer: what to do next in the lab, most valuable first."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

__all__ = ["EntryNow", "LeftOut", "NextItem", "NextLab", "Share"]


Value = Annotated[float, Meta(description="Damage that it brings on average.")]
Chance = Annotated[float, Meta(description="Chance that the best response changes, 0 to 1.")]


class Share(Struct, kw_only=True, frozen=True):
    """What an item is worth to one entry: ``value`` in damage, ``chance`` that its best response changes."""

    entry: str
    value: Value
    chance: Chance


class NextItem(Struct, kw_only=True, frozen=True):
    """One thing to do: ``tries`` of a response in a situation, or a property to look up.

    ``value`` is the damage that it brings on average, summed over ``entries`` when each is asked once;
    ``chance`` (0 to 1) that the best response changes, of the entry where it is greatest; ``perfect`` the value of
    knowing it for certain, which no number of tries exceeds. A property is known for certain once it is measured.
    ``option`` is the response of a trial; ``character`` (empty: everyone's option), ``move`` and ``property``
    name a property. ``what`` is either of them in words.
    """

    kind: Literal["trial", "property"]
    what: str
    value: Value
    chance: Chance
    perfect: Annotated[float, Meta(description="Damage that knowing it for certain would bring.")]
    entries: list[Share]
    sentence: str
    option: str | None = None
    character: str | None = None
    move: str | None = None
    property: str | None = None


class EntryNow(Struct, kw_only=True, frozen=True):
    """How an entry stands: the response that is ``advised``, and the ``best`` by expected ``worth`` (damage).

    The two differ where a safe response of little damage stands before one that wins more often than not.
    """

    entry: str
    advised: str
    best: str
    worth: Annotated[float, Meta(description="Expected damage.")]


class LeftOut(Struct, kw_only=True, frozen=True):
    """An entry or a property that is not on the list though one may look for it there, and why."""

    kind: Literal["entry", "property"]
    what: str
    reason: str


class NextLab(Struct, kw_only=True, frozen=True):
    """The list. ``trials`` and ``properties`` were weighed, those of no value among them, at ``tries`` each.

    ``asked`` counts the questions asked again; ``complete`` is False when a bound left something out.
    """

    set: str
    tries: Annotated[int, Meta(description="Tries of each trial.")]
    summary: str
    items: list[NextItem]
    entries: list[EntryNow]
    left_out: list[LeftOut]
    trials: Annotated[int, Meta(description="Trials that were weighed.")]
    properties: Annotated[int, Meta(description="Properties that were weighed.")]
    asked: Annotated[int, Meta(description="Questions asked again.")]
    complete: bool
    cautions: list[str]
