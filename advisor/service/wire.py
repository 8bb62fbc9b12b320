"""What the list routes answer, and the error body."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from advisor.pack.model import Character, Move, Pack
from advisor.units import FOREVER, Span, from_micro

__all__ = [
    "CharacterForm", "CharacterInfo", "CharacterPage", "Health", "MoveInfo", "MovePage", "PackInfo", "PackPage",
    "Problem", "character_form", "character_info", "move_info", "pack_info",
]


Lead = Annotated[int | None, Meta(description="Frames by which its user is free first.")]


class Problem(Struct, kw_only=True, omit_defaults=True):
    """An error, as RFC 9457 lays it out (`application/problem+json`)."""

    type: Annotated[str, Meta(description="Reference of the kind of problem.")]
    title: Annotated[str, Meta(description="The kind of problem in words.")]
    status: Annotated[int, Meta(description="The HTTP status.")]
    code: Annotated[str, Meta(description="Stable name of the kind of problem.")]
    detail: Annotated[str, Meta(description="What is wrong here.")]
    pointer: Annotated[
        str, Meta(description="JSON pointer (RFC 6901) of the faulty value in the body; empty: the body itself.")
    ] = ""
    parameter: Annotated[str, Meta(description="Name of the faulty query or path parameter.")] = ""
    help: Annotated[str, Meta(description="What would be right.")] = ""


class Health(Struct, kw_only=True):
    """The process is alive."""

    status: Annotated[str, Meta(description="`alive`.")]
    version: Annotated[str, Meta(description="Version of the package.")]
    worker_losses: Annotated[
        int, Meta(ge=0, description="How often a worker process was lost since the start and had to be replaced.")
    ]
    plain_answers: Annotated[
        int, Meta(ge=0, description="Questions that the plain evaluator answered because their worker was lost.")
    ]


class PackInfo(Struct, kw_only=True):
    """One pack: its conventions in short."""

    id: str
    name: str
    version: str
    about: str
    hash: Annotated[str, Meta(description="Hash of the pack's content.")]
    default: Annotated[bool, Meta(description="It is the one meant when a question names none.")]
    frame_rate: Annotated[float, Meta(description="Frames in a second.")]
    unit: Annotated[str, Meta(description="The distance unit.")]
    distances: Annotated[dict[str, float], Meta(description="Named distances, in that unit.")]
    levels: Annotated[dict[str, list[str]], Meta(description="Hit levels and the postures each hits.")]
    characters: list[str]
    system: Annotated[list[str], Meta(description="Ids of the options that every fighter has.")]


class PackPage(Struct, kw_only=True):
    """All loaded packs."""

    packs: list[PackInfo]


class CharacterInfo(Struct, kw_only=True):
    """One character."""

    id: str
    name: str
    about: str
    health: Annotated[float | None, Meta(description="Points; null: unknown.")]
    moves: Annotated[int, Meta(description="How many moves it has.")]
    key_moves: list[str]


class CharacterPage(Struct, kw_only=True):
    """The characters of a pack."""

    pack: str
    characters: list[CharacterInfo]


class CharacterForm(Struct, kw_only=True):
    """One character with the ids of its moves, in the pack's order."""

    pack: str
    id: str
    name: str
    about: str
    health: Annotated[float | None, Meta(description="Points; null: unknown.")]
    key_moves: list[str]
    moves: list[str]


class MoveInfo(Struct, kw_only=True):
    """One move in a row; null is unknown, never zero. Numbers of the first hit."""

    id: str
    name: str
    input: str | None
    kind: str
    level: str | None
    first_active: Annotated[int | None, Meta(description="First frame that can touch.")]
    active: Annotated[str | None, Meta(description="Active frames, both ends included.")]
    total: Annotated[int | None, Meta(description="Whole duration in frames; null when held or unknown.")]
    damage: Annotated[float | None, Meta(description="Points.")]
    on_block: Lead
    on_hit: Lead
    on_counter_hit: Lead
    reach: Annotated[float | None, Meta(description="The pack's distance unit.")]
    tags: list[str]
    follow_ups: list[str]
    note: str


class MovePage(Struct, kw_only=True):
    """Moves of a character: `total` match the filter, `moves` is the page of them."""

    pack: str
    character: str
    total: Annotated[int, Meta(description="Moves that meet the bounds.")]
    moves: list[MoveInfo]


def pack_info(pack: Pack, default: bool) -> PackInfo:
    """A pack as it is listed."""
    conventions = pack.conventions
    return PackInfo(
        id=pack.id,
        name=pack.name,
        version=pack.version,
        about=pack.about,
        hash=pack.hash,
        default=default,
        frame_rate=conventions.frame_rate,
        unit=conventions.distance_unit,
        distances={k: from_micro(v) for k, v in conventions.distances.items()},
        levels={k: sorted(v.hits) for k, v in conventions.levels.items()},
        characters=list(pack.characters),
        system=list(pack.system),
    )


def character_info(character: Character) -> CharacterInfo:
    """A character as it is listed."""
    return CharacterInfo(
        id=character.id,
        name=character.name,
        about=character.about,
        health=character.health,
        moves=len(character.moves),
        key_moves=list(character.key_moves),
    )


def character_form(pack: Pack, character: Character) -> CharacterForm:
    """A character by itself."""
    return CharacterForm(
        pack=pack.id,
        id=character.id,
        name=character.name,
        about=character.about,
        health=character.health,
        key_moves=list(character.key_moves),
        moves=list(character.moves),
    )


def move_info(move: Move) -> MoveInfo:
    """A move as it is listed."""
    hit = move.hits[0] if move.hits else None
    active = None
    if hit is not None and hit.first_active is not None and hit.active_stop is not None:
        active = Span(hit.first_active, hit.active_stop).shown()
    return MoveInfo(
        id=move.id,
        name=move.name,
        input=move.input,
        kind=move.kind,
        level=hit.level if hit else None,
        first_active=hit.first_active if hit else None,
        active=active,
        total=None if move.total is None or move.total >= FOREVER else move.total,
        damage=hit.damage if hit else None,
        on_block=hit.on_block if hit else None,
        on_hit=hit.on_hit if hit else None,
        on_counter_hit=hit.on_counter_hit if hit else None,
        reach=None if hit is None or hit.reach is None else from_micro(hit.reach),
        tags=sorted((hit.tags or frozenset()) | move.tags if hit else move.tags),
        follow_ups=[f.move for f in move.follow_ups],
        note=move.note,
    )
