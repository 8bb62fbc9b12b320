"""One move in full: every window with both ends included, null for what is unknown, formulas of what was worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Annotated, Literal, TypeVar

from msgspec import UNSET, Meta, Struct, UnsetType

from advisor.pack.model import Catch, Hit, Leaves, Move, Parry, Requires
from advisor.units import FOREVER, Span, from_micro

__all__ = ["MoveForm", "Window", "move_form"]

Part = TypeVar("Part")
Form = TypeVar("Form")
Held = Literal["held"]
Damage = Annotated[float | None, Meta(description="Points; null: unknown.")]
Away = Annotated[float | None, Meta(description="The pack's distance unit; null: unknown.")]
Frames = Annotated[int | None, Meta(description="Frames; null: unknown.")]
Lead = Annotated[int | None, Meta(description="Frames by which its user is free first; null: unknown.")]
Names = Annotated[list[str] | None, Meta(description="Ids; empty: none; null: unknown.")]


class Window(Struct, kw_only=True):
    """A run of the move's own frames, both ends included; frame 1 is its first."""

    first: Annotated[int, Meta(description="The first frame of it.")]
    last: Annotated[int | Held, Meta(description="The last frame of it; `held`: as long as it is held.")]


class AttacksForm(Struct, kw_only=True):
    """A set of attacks: of one of the levels or with one of the tags; both empty: every attack."""

    levels: list[str]
    tags: list[str]


class AftermathForm(Struct, kw_only=True):
    """What a contact leaves beside advantage; null: unknown. A knockdown of `none` is known to be none."""

    knockdown: str | None
    distance: Annotated[float | None, Meta(description="The pack's distance unit.")]
    wall: str | None
    floor: str | None


class HitForm(Struct, kw_only=True):
    """One active window of the move and what its contact does."""

    first_active: Frames
    last_active: Frames
    level: str | None
    damage: Damage
    chip: Damage
    reach: Away
    tags: Names
    tracks: Annotated[list[str] | None, Meta(description="Sides to which it follows a sidestep; null: unknown.")]
    breaks: Annotated[list[str] | None, Meta(description="Ways to break it, for throws; null: unknown.")]
    on_block: Lead
    on_hit: Lead
    on_counter_hit: Lead
    blockstun: Frames
    hitstun: Frames
    pushback_block: Away
    pushback_hit: Away
    leaves_block: AftermathForm | None
    leaves_hit: AftermathForm | None
    leaves_counter_hit: AftermathForm | None


class ShieldForm(Struct, kw_only=True):
    """Frames on which attacks pass through."""

    frames: Window
    to: AttacksForm


class ArmourForm(Struct, kw_only=True):
    """Frames on which so many attacks are taken without being stopped."""

    frames: Window
    to: AttacksForm
    hits: int


class CaughtForm(Struct, kw_only=True):
    """What catching one of these attacks leads to; advantage is the catcher's."""

    of: AttacksForm
    name: str | None
    damage: Damage
    advantage: Lead
    leaves: AftermathForm | None


class ParryForm(Struct, kw_only=True):
    """Frames on which attacks are caught; ``excepting`` null excepts none."""

    frames: Window
    catches: AttacksForm
    excepting: AttacksForm | None
    outcomes: list[CaughtForm]


class GuardForm(Struct, kw_only=True):
    """Frames on which it blocks, and with which guards."""

    frames: Window
    guards: list[str]


class SidestepForm(Struct, kw_only=True):
    """Frames on which attacks that do not track to the side miss."""

    frames: Window
    side: str


class AdvanceForm(Struct, kw_only=True):
    """Movement over the frames: toward the other side, negative away from it."""

    frames: Window
    distance: Annotated[float, Meta(description="Over all of the frames, in the pack's unit.")]


class FollowForm(Struct, kw_only=True):
    """A move that may follow by itself (string, cancel)."""

    move: str
    arrives: Annotated[
        Window | None, Meta(description="Frames after this move's contact on which it first touches; null: unknown.")
    ]
    begins: Annotated[Window | None, Meta(description="This move's own frames on which it can begin; null: unknown.")]
    on: Annotated[list[str], Meta(description="Results of this move after which it may follow.")]


class NeedsForm(Struct, kw_only=True, omit_defaults=True):
    """What must hold to use the move; what it does not ask is left out."""

    stance: str | UnsetType = UNSET
    back_turned: bool | UnsetType = UNSET
    near_wall: bool | UnsetType = UNSET
    health_below: Annotated[float | UnsetType, Meta(description="Share of full health.")] = UNSET
    meter: Annotated[int | UnsetType, Meta(description="Meter at hand, at least.")] = UNSET
    follows: Annotated[bool | UnsetType, Meta(description="Only as a follow-up of another move.")] = UNSET


class MoveForm(Struct, kw_only=True):
    """One move or system option in full; null is unknown, never zero, and an empty list is known to be none."""

    pack: str
    character: str
    system: Annotated[bool, Meta(description="An option that every fighter has.")]
    id: str
    name: str
    input: str | None
    kind: str
    tags: list[str]
    hits: list[HitForm]
    total: Annotated[int | Held | None, Meta(description="Whole duration in frames; null: unknown.")]
    airborne: list[Window] | None
    crouching: list[Window] | None
    invulnerable: list[ShieldForm] | None
    armour: list[ArmourForm] | None
    parry: list[ParryForm] | None
    guard: list[GuardForm]
    sidestep: list[SidestepForm] | None
    displacement: list[AdvanceForm] | None
    counter_state: list[Window] | None
    cost: Annotated[int | None, Meta(description="Meter it costs; null: unknown.")]
    requires: NeedsForm
    follow_ups: list[FollowForm]
    derived: Annotated[dict[str, str], Meta(description="Values that were worked out, with the formula.")]
    note: str
    source: str


def move_form(move: Move, *, pack: str, character: str, system: bool) -> MoveForm:
    """The normalised move as it is shown."""
    return MoveForm(
        pack=pack,
        character=character,
        system=system,
        id=move.id,
        name=move.name,
        input=move.input,
        kind=move.kind,
        tags=sorted(move.tags),
        hits=[_hit(h) for h in move.hits],
        total=None if move.total is None else "held" if move.total >= FOREVER else move.total,
        airborne=_windows(move.airborne),
        crouching=_windows(move.crouching),
        invulnerable=_all(move.invulnerable, lambda s: ShieldForm(frames=_window(s.span), to=_attacks(s.to))),
        armour=_all(move.armour, lambda a: ArmourForm(frames=_window(a.span), to=_attacks(a.to), hits=a.hits)),
        parry=_all(move.parry, _parry),
        guard=[GuardForm(frames=_window(g.span), guards=sorted(g.guards)) for g in move.guard],
        sidestep=_all(move.sidestep, lambda s: SidestepForm(frames=_window(s.span), side=s.side)),
        displacement=_all(
            move.displacement,
            lambda d: AdvanceForm(frames=_window(d.span), distance=round(from_micro(d.step * len(d.span)), 4)),
        ),
        counter_state=_windows(move.counter_state),
        cost=move.cost,
        requires=_needs(move.requires),
        follow_ups=[
            FollowForm(
                move=f.move,
                arrives=None if f.arrives is None else _window(f.arrives),
                begins=None if f.begins is None else _window(f.begins),
                on=sorted(f.on),
            )
            for f in move.follow_ups
        ],
        derived=dict(move.derived),
        note=move.note,
        source=move.source,
    )


def _all(parts: Iterable[Part] | None, form: Callable[[Part], Form]) -> list[Form] | None:
    return None if parts is None else [form(part) for part in parts]


def _window(span: Span) -> Window:
    return Window(first=span.start, last="held" if span.stop >= FOREVER else span.stop - 1)


def _windows(spans: Iterable[Span] | None) -> list[Window] | None:
    return _all(spans, _window)


def _sorted(names: frozenset[str] | None) -> list[str] | None:
    return None if names is None else sorted(names)


def _away(micro: int | None) -> float | None:
    return None if micro is None else from_micro(micro)


def _attacks(catch: Catch) -> AttacksForm:
    return AttacksForm(levels=sorted(catch.levels), tags=sorted(catch.tags))


def _aftermath(leaves: Leaves | None) -> AftermathForm | None:
    if leaves is None:
        return None
    return AftermathForm(
        knockdown=leaves.knockdown, distance=_away(leaves.distance), wall=leaves.wall, floor=leaves.floor
    )


def _hit(hit: Hit) -> HitForm:
    return HitForm(
        first_active=hit.first_active,
        last_active=None if hit.active_stop is None else hit.active_stop - 1,
        level=hit.level,
        damage=hit.damage,
        chip=hit.chip,
        reach=_away(hit.reach),
        tags=_sorted(hit.tags),
        tracks=_sorted(hit.tracks),
        breaks=_sorted(hit.breaks),
        on_block=hit.on_block,
        on_hit=hit.on_hit,
        on_counter_hit=hit.on_counter_hit,
        blockstun=hit.blockstun,
        hitstun=hit.hitstun,
        pushback_block=_away(hit.pushback_block),
        pushback_hit=_away(hit.pushback_hit),
        leaves_block=_aftermath(hit.leaves_block),
        leaves_hit=_aftermath(hit.leaves_hit),
        leaves_counter_hit=_aftermath(hit.leaves_counter_hit),
    )


def _parry(parry: Parry) -> ParryForm:
    return ParryForm(
        frames=_window(parry.span),
        catches=_attacks(parry.catches),
        excepting=None if parry.excepting is None else _attacks(parry.excepting),
        outcomes=[
            CaughtForm(
                of=_attacks(o.of), name=o.name, damage=o.damage, advantage=o.advantage, leaves=_aftermath(o.leaves)
            )
            for o in parry.outcomes
        ],
    )


def _needs(requires: Requires | None) -> NeedsForm:
    if requires is None:
        return NeedsForm()

    def asked(value: Form | None) -> Form | UnsetType:
        return UNSET if value is None else value

    return NeedsForm(
        stance=asked(requires.stance),
        back_turned=asked(requires.back_turned),
        near_wall=asked(requires.near_wall),
        health_below=asked(requires.health_below),
        meter=asked(requires.meter),
        follows=True if requires.follows else UNSET,
    )
