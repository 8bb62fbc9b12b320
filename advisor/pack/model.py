"""The normalised form of a pack: what the rest of the product works on.

Everything here is explicit: spans are half-open on the option's own frames (frame 1 is its first),
distances are micro-units, ``None`` is always *unknown* (never zero), and an empty tuple of windows
means that the option is known to have none. The written form that people edit is in
``advisor.pack.written``; ``advisor.pack.normalise`` turns one into the other.
"""

from __future__ import annotations

from msgspec import Struct, field

from advisor.units import Span

__all__ = [
    "UPRIGHT",
    "Armour",
    "Catch",
    "CatchOutcome",
    "Character",
    "Conventions",
    "Displacement",
    "Effect",
    "FollowUp",
    "Guard",
    "Hit",
    "Knockdown",
    "Leaves",
    "Level",
    "Move",
    "Pack",
    "Parry",
    "Requires",
    "Shield",
    "Sidestep",
    "ThrowBreak",
]


UPRIGHT = "none"
"""The knockdown state of a side that stays on its feet; also the wall or floor effect of a hit without one."""


class Level(Struct, frozen=True, kw_only=True):
    """A hit level: which postures it hits, which guards block it.

    ``hits`` holds postures of standing, crouching, airborne, grounded; ``blocked_by`` guards of
    standing, crouching. ``kind`` is strike or throw and picks the row of the same-frame table.
    """

    id: str
    hits: frozenset[str]
    blocked_by: frozenset[str]
    kind: str = "strike"


class Leaves(Struct, frozen=True, kw_only=True):
    """What a contact leaves beside advantage: knockdown state, extra distance, wall or floor effect.

    A ``knockdown`` of ``UPRIGHT`` is known to leave none. ``wall`` and ``floor`` are ids of the pack's
    effects, which count when the struck side stands near a wall or on a floor that breaks; ``UPRIGHT``
    is known to have none.
    """

    knockdown: str | None = None
    distance: int | None = None
    wall: str | None = None
    floor: str | None = None


class Hit(Struct, frozen=True, kw_only=True):
    """One active window of a move.

    ``first_active`` is the first own frame that can touch, ``active_stop`` the first that no
    longer can. Advantages are the attacker's, for contact on ``first_active``. ``tracks`` lists
    the sides (left, right) to which it follows a sidestep. ``stun`` fields are the frames after
    the contact frame on which the struck side cannot act.
    """

    first_active: int | None = None
    active_stop: int | None = None
    level: str | None = None
    damage: float | None = None
    chip: float | None = None
    reach: int | None = None
    tags: frozenset[str] | None = None
    tracks: frozenset[str] | None = None
    breaks: frozenset[str] | None = None
    on_block: int | None = None
    on_hit: int | None = None
    on_counter_hit: int | None = None
    blockstun: int | None = None
    hitstun: int | None = None
    pushback_block: int | None = None
    pushback_hit: int | None = None
    leaves_block: Leaves | None = None
    leaves_hit: Leaves | None = None
    leaves_counter_hit: Leaves | None = None


class Catch(Struct, frozen=True, kw_only=True):
    """A set of attacks by level and tag: either list may be empty; both empty means everything.

    An attack is in it when its level is in ``levels`` or one of its tags in ``tags``.
    """

    levels: frozenset[str] = frozenset()
    tags: frozenset[str] = frozenset()


class Shield(Struct, frozen=True, kw_only=True):
    """Frames on which attacks in ``to`` pass through (invulnerable)."""

    span: Span
    to: Catch


class Armour(Struct, frozen=True, kw_only=True):
    """Frames on which up to ``hits`` attacks in ``to`` are taken without being stopped."""

    span: Span
    to: Catch
    hits: int = 1


class CatchOutcome(Struct, frozen=True, kw_only=True):
    """What a parry's catch leads to when the caught attack is in ``of``; advantage is the catcher's."""

    of: Catch
    damage: float | None = None
    advantage: int | None = None
    leaves: Leaves | None = None
    name: str | None = None


class Parry(Struct, frozen=True, kw_only=True):
    """Frames on which attacks in ``catches``, unless in ``excepting``, are caught.

    ``outcomes`` are tried in order; the first whose ``of`` holds the caught attack applies.
    An ``excepting`` of None excepts nothing.
    """

    span: Span
    catches: Catch
    excepting: Catch | None = None
    outcomes: tuple[CatchOutcome, ...] = ()


class Guard(Struct, frozen=True, kw_only=True):
    """Frames on which the option blocks, and the guards it can block with."""

    span: Span
    guards: frozenset[str]


class Sidestep(Struct, frozen=True, kw_only=True):
    """Frames on which attacks that do not track to ``side`` miss."""

    span: Span
    side: str


class Displacement(Struct, frozen=True, kw_only=True):
    """Movement toward the opponent (negative: away), the same ``step`` micro-units on every frame of ``span``.

    On own frame k of the span the option has moved ``step * (k - span.start + 1)`` by this part.
    """

    span: Span
    step: int


class FollowUp(Struct, frozen=True, kw_only=True):
    """A move that may follow this one by itself (string, cancel).

    ``arrives`` is the span of frames, counted from the parent's contact frame as 0, on which the
    follow-up's first active frame can fall; ``begins`` the span of the parent's own frames on
    which the follow-up's frame 1 can fall. Either may be unknown. ``on`` lists the parent results
    (block, hit, counter_hit, whiff) after which it is allowed.
    """

    move: str
    arrives: Span | None = None
    begins: Span | None = None
    on: frozenset[str] = frozenset({"block", "hit", "counter_hit", "whiff"})


class Requires(Struct, frozen=True, kw_only=True):
    """What must hold to use the move; None asks nothing."""

    stance: str | None = None
    back_turned: bool | None = None
    near_wall: bool | None = None
    health_below: float | None = None
    meter: int | None = None
    follows: bool = False


class Move(Struct, frozen=True, kw_only=True):
    """One option as a timeline of windows: an attack, a parry, a movement, a guard.

    ``kind`` is attack, parry, movement or guard. ``total`` is the whole duration: the user is free on own frame
    ``total + 1`` when nothing touches; ``FOREVER`` for options that are held. ``wakes_from`` lists the
    knockdown states out of which it is a wake-up option. ``derived`` names the fields that were worked
    out, with the formula, for provenance.
    """

    id: str
    name: str
    kind: str
    input: str | None = None
    hits: tuple[Hit, ...] = ()
    total: int | None = None
    airborne: tuple[Span, ...] | None = None
    crouching: tuple[Span, ...] | None = None
    grounded: tuple[Span, ...] | None = ()
    invulnerable: tuple[Shield, ...] | None = None
    armour: tuple[Armour, ...] | None = None
    parry: tuple[Parry, ...] | None = None
    guard: tuple[Guard, ...] = ()
    sidestep: tuple[Sidestep, ...] | None = None
    displacement: tuple[Displacement, ...] | None = None
    counter_state: tuple[Span, ...] | None = None
    cost: int | None = None
    requires: Requires | None = None
    follow_ups: tuple[FollowUp, ...] = ()
    wakes_from: frozenset[str] = frozenset()
    tags: frozenset[str] = frozenset()
    note: str = ""
    source: str = ""
    derived: dict[str, str] = {}


class ThrowBreak(Struct, frozen=True, kw_only=True):
    """One way to break throws: its input, and the frames after contact in which it counts."""

    id: str
    input: str | None = None
    window: int | None = None


class Knockdown(Struct, frozen=True, kw_only=True):
    """A knockdown state: what it means, and the ids of the pack's wake-up options out of it.

    ``posture`` is that of the side until then: grounded, or airborne for one that falls.
    """

    id: str
    meaning: str = ""
    posture: str = "grounded"
    wake_ups: tuple[str, ...] = ()


class Effect(Struct, frozen=True, kw_only=True):
    """What a wall or a floor makes of a hit.

    ``damage`` comes on top. ``replaces`` names those of advantage (the striker's, for contact on its first
    active frame), knockdown and distance (between the two afterwards, micro-units) that hold instead of
    the hit's own; one that is named and None is unknown.
    """

    id: str
    meaning: str = ""
    damage: float | None = 0.0
    advantage: int | None = None
    knockdown: str | None = None
    distance: int | None = None
    replaces: frozenset[str] = frozenset()


class Conventions(Struct, frozen=True, kw_only=True):
    """How this game reads its numbers and decides what code must not.

    ``same_frame`` maps ``(mine, theirs)`` kinds of strike, throw to trade, first, second or break.
    ``counter_hit`` lists the phases (startup, active, recovery) of an attack or parry in which its
    user is counter-hit. ``breakable_in`` lists the phases in which a throw can be broken.
    ``blockstun_immune`` is what cannot touch a side in blockstun. ``guards`` maps a guard to the
    posture it stands in. ``wall_effects`` and ``floor_effects`` are all that a hit can do there.
    """

    frame_rate: float = 60.0
    startup_counts: str = "first_active"
    distance_unit: str = "unit"
    distances: dict[str, int] = {}
    levels: dict[str, Level]
    guards: dict[str, str] = field(default_factory=lambda: {"standing": "standing", "crouching": "crouching"})
    same_frame: dict[tuple[str, str], str] = {}
    counter_hit: frozenset[str] = frozenset({"startup"})
    breakable_in: frozenset[str] | None = None
    blockstun_immune: Catch | None = None
    throw_breaks: dict[str, ThrowBreak] = {}
    tags: dict[str, str] = {}
    knockdowns: dict[str, Knockdown] = {}
    wall_effects: dict[str, Effect] = {}
    floor_effects: dict[str, Effect] = {}
    none_when_absent: frozenset[str] = frozenset()


class Character(Struct, frozen=True, kw_only=True):
    """One fighter: health in points, moves by id in file order, and the ids that are its key moves."""

    id: str
    name: str
    about: str = ""
    health: float | None = None
    moves: dict[str, Move]
    key_moves: tuple[str, ...] = ()


class Pack(Struct, frozen=True, kw_only=True):
    """One game: conventions, system and wake-up options by id, characters by id, the hash of its files."""

    id: str
    name: str
    version: str
    about: str = ""
    conventions: Conventions
    system: dict[str, Move]
    wake_ups: dict[str, Move] = {}
    characters: dict[str, Character]
    hash: str = ""
