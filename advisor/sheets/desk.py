"""What every section is written from: the pack with its rules, the fighters, and what was tried."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec import Struct

from advisor.errors import AdvisorError
from advisor.facts.question import Fighter
from advisor.library import Shelf
from advisor.pack.model import Character, Pack
from advisor.pictures.offers import SVG, offers
from advisor.sentences import in_words, say
from advisor.sheets.model import Block, Paragraph, Picture, Section
from advisor.sheets.tested import Tested
from advisor.units import from_micro

__all__ = ["Desk", "Draft", "pictured", "written"]


class Desk(Struct, kw_only=True):
    """One fighter, and the opponent where the sheet is about one. ``pictures``: whether any are drawn."""

    shelf: Shelf
    me: Character
    them: Character | None = None
    tested: Tested = Tested()
    pictures: bool = True

    @property
    def pack(self) -> Pack:
        """The pack."""
        return self.shelf.pack

    @property
    def mine(self) -> Fighter:
        """My side of a request."""
        return Fighter(character=self.me.id)

    @property
    def theirs(self) -> Fighter | None:
        """The other side of a request; None for anybody."""
        return None if self.them is None else Fighter(character=self.them.id)

    @property
    def unit(self) -> str:
        """The pack's distance unit."""
        return self.pack.conventions.distance_unit

    def distances(self) -> list[tuple[str, float | None]]:
        """The distances that the pack names, nearest first, as (heading, value); one unnamed when it names none."""
        named = sorted(self.pack.conventions.distances.items(), key=lambda item: (item[1], item[0]))
        if not named:
            return [(in_words("together"), 0.0)]
        return [(f"{name.replace('_', ' ')} ({from_micro(away):g})", from_micro(away)) for name, away in named]

    def near(self) -> float | None:
        """The nearest of them."""
        return self.distances()[0][1]

    def units(self, *more: str) -> str:
        """The line of units under a table: frames, points, distance, and ``more``."""
        away = say("distance in {unit}", unit=self.unit)
        return "; ".join((in_words("frames"), in_words("damage in points"), away, *more))

    def study(self, name: str, request: Struct) -> Any:
        """The answer of a study. Errors: as the study's."""
        return self.shelf.study(name, request)


class Draft(Struct, frozen=True):
    """A section that has yet to be written: its title, for errors, and what writes it (None: nothing to say)."""

    title: str
    write: Callable[[], Section | None]


def written(draft: Draft) -> Section | None:
    """The section; one that cannot be worked out says why in place of what it should hold."""
    try:
        return draft.write()
    except AdvisorError as error:
        rest = f" ({error.help})" if error.help else ""
        return Section(title=draft.title, blocks=[Paragraph(say(
            "Not worked out: {message}{rest}.",
            message=error.message, rest=rest,
        ))])


def pictured(desk: Desk, study: str, key: str, answer: Any, request: Any, caption: str, said: str) -> list[Block]:
    """The picture that a study has of its answer, in both sets of colours; none when no pictures are wanted."""
    draw = offers(study).get(SVG)
    if draw is None or not desk.pictures:
        return []
    light, dark = (draw(answer, request, theme=theme) for theme in ("light", "dark"))
    return [Picture(key=key, caption=caption, said=said, light=light, dark=dark)]
