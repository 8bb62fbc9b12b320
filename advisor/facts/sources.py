"""For every fact of the vocabulary, the properties that can change it.

Roles are ``mine`` and ``theirs`` (the two options), ``moment`` (the move that just happened), ``question``,
``me`` and ``them`` (the characters). A test changes properties at random and fails when a fact moves that
does not name the property.
"""

from __future__ import annotations

__all__ = ["SOURCES", "WINDOWS"]

WINDOWS = (
    "first_active",
    "active",
    "level",
    "reach",
    "tags",
    "tracking",
    "total",
    "airborne",
    "crouching",
    "grounded",
    "invulnerable",
    "armour",
    "parry",
    "guard",
    "sidestep",
    "displacement",
    "counter_state",
)
# Each is shown only where a hit has an effect there.
_AROUND = ("question.wall_near_them", "question.wall_near_me", "question.floor")
_BOTH = (
    *(f"mine.{p}" for p in WINDOWS),
    "mine.breaks",
    "mine.arrives",
    *(f"theirs.{p}" for p in WINDOWS),
    "theirs.breaks",
    "theirs.arrives",
    "moment.lead",
    "moment.stun",
    "moment.total",
    "moment.airborne",
    "moment.crouching",
    "moment.invulnerable",
    "moment.first_active",
    "moment.pushback",
    "moment.leaves",
    "moment.reach",
    "question.distance",
    *_AROUND,
)
_CLOCK = (
    "moment.lead",
    "moment.stun",
    "moment.first_active",
    "moment.leaves",
    "mine.arrives",
    "theirs.arrives",
    "mine.first_active",
    "theirs.first_active",
    *_AROUND,
)
_PLACE = ("question.distance", "moment.pushback", "moment.leaves", "moment.reach", *_AROUND)
_AFTER = tuple(
    f"{role}.{p}"
    for role in ("mine", "theirs")
    for p in ("damage", "chip", "on_block", "on_hit", "on_counter_hit", "pushback", "leaves")
)
# Where nobody has told of a wall, an option that asks for one has it.
_OUTCOME = (*_BOTH, *_AFTER, "mine.requires", "theirs.requires")
_PUNISH = (*_OUTCOME, "me.attacks", "them.attacks")


def _of(role: str) -> dict[str, tuple[str, ...]]:
    contact = (f"{role}.first_active", f"{role}.arrives", "moment.lead", "moment.stun")
    return {
        f"{role}.option": (),
        f"{role}.name": (),
        f"{role}.kind": (),
        f"{role}.is_follow_up": (),
        f"{role}.is_held": (f"{role}.total",),
        f"{role}.level": (f"{role}.level",),
        f"{role}.strike_kind": (f"{role}.level",),
        f"{role}.tags": (f"{role}.tags",),
        f"{role}.first_active": (f"{role}.first_active",),
        f"{role}.contact_frame": (*contact, *_CLOCK),
        f"{role}.damage": (f"{role}.damage",),
        f"{role}.reach": (f"{role}.reach",),
        f"{role}.on_block": (f"{role}.on_block",),
        f"{role}.can_be_broken": (f"{role}.breaks",),
        f"{role}.broken_by": (f"{role}.breaks",),
        f"{role}.break_window": (f"{role}.breaks",),
    }


SOURCES: dict[str, tuple[str, ...]] = {
    "situation.moment": (),
    "situation.attacker": (),
    "situation.move": (),
    "situation.move_name": (),
    "situation.advantage": ("moment.lead", "moment.leaves", *_AROUND),
    "situation.they_are": ("moment.lead", "moment.leaves", *_AROUND),
    "situation.i_am": ("moment.lead", "moment.leaves", *_AROUND),
    "situation.distance": _PLACE,
    "situation.my_health": ("question.my_health",),
    "situation.their_health": ("question.their_health",),
    "situation.their_fastest": ("them.attacks",),
    "situation.my_fastest": ("me.attacks",),
    "situation.knockdown": ("moment.leaves", *_AROUND),
    **_of("mine"),
    **_of("theirs"),
    "mine.parry_from": ("mine.parry", *_CLOCK),
    "mine.parry_to": ("mine.parry", *_CLOCK),
    "mine.needs": ("mine.requires", "mine.cost"),
    "mine.stance": ("mine.requires",),
    "mine.health_below": ("mine.requires",),
    "mine.cost": ("mine.requires", "mine.cost"),
    **{
        f"exchange.{name}": _BOTH
        for name in (
            "by",
            "effect",
            "frame",
            "posture",
            "phase",
            "breakable",
            "i_absorb",
            "they_absorb",
            "my_miss",
            "their_miss",
            "near_effect",
            "near_frame",
            "near_breakable",
        )
    },
    **{
        f"exchange.{name}": _CLOCK
        for name in (
            "held_until",
            "they_are",
            "i_am_held_until",
            "i_am",
            "frames_to_spare",
            "frame_lead",
            "they_act_from",
        )
    },
    "exchange.distance": _PLACE,
    "exchange.reach_margin": ("mine.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.reaches": ("mine.reach", "mine.displacement", "theirs.displacement", "moment.reach", *_CLOCK, *_PLACE),
    "exchange.lands_within": ("mine.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.their_reach_margin": ("theirs.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.they_reach": (
        "theirs.reach",
        "mine.displacement",
        "theirs.displacement",
        "moment.reach",
        *_CLOCK,
        *_PLACE,
    ),
    "exchange.my_posture_at_theirs": (
        *(f"mine.{p}" for p in WINDOWS),
        "moment.airborne",
        "moment.crouching",
        "moment.total",
        "moment.first_active",
        *_CLOCK,
    ),
    "exchange.their_posture_at_mine": (
        *(f"theirs.{p}" for p in WINDOWS),
        "moment.airborne",
        "moment.crouching",
        "moment.total",
        "moment.first_active",
        *_CLOCK,
    ),
    "exchange.gap": ("mine.arrives", "theirs.arrives", "moment.stun", "moment.lead", "moment.leaves", *_AROUND),
    "exchange.arrives": ("mine.arrives", "theirs.arrives"),
    "exchange.parry_timing": ("mine.parry", *_CLOCK),
    "exchange.parry_catches": ("mine.parry", "theirs.level", "theirs.tags", *_CLOCK),
    "exchange.catch_name": (*_OUTCOME,),
    "exchange.damage_dealt": _OUTCOME,
    "exchange.damage_taken": _OUTCOME,
    "exchange.advantage_after": _OUTCOME,
    "exchange.distance_after": _OUTCOME,
    "exchange.knockdown_after": _OUTCOME,
    "exchange.their_punish": _PUNISH,
    "exchange.they_can_punish": _PUNISH,
    "exchange.my_punish": _PUNISH,
    "exchange.i_can_punish": _PUNISH,
    "exchange.their_punish_name": _PUNISH,
    "exchange.my_punish_name": _PUNISH,
    **{
        f"exchange.{name}": _OUTCOME
        for name in (
            "wall_after",
            "floor_after",
            "added_damage",
            "added_damage_taken",
            "wall_if_near",
            "floor_if_breaks",
        )
    },
    "exchange.lethal": (*_OUTCOME, "question.their_health"),
    "exchange.they_are_lethal": (*_OUTCOME, "question.my_health"),
}
