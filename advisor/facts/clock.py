"""Clocks: when each side is free after a move was blocked, hit or missed, and what holds it until then."""

from __future__ import annotations

from msgspec import Struct

from advisor.pack.model import Hit, Move

__all__ = ["Clock", "contact_clock", "free_clock"]

NOTHING: frozenset[str] = frozenset()


class Clock(Struct, frozen=True, kw_only=True):
    """When each side is free on the common clock, and what holds it until then.

    ``None`` for a free frame means that it is unknown; ``missing`` names what would tell.
    """

    me_free: int | None
    them_free: int | None
    me_held: str = "none"
    them_held: str = "none"
    me_prior: Move | None = None
    them_prior: Move | None = None
    me_prior_frame: int = 0
    them_prior_frame: int = 0
    missing: frozenset[str] = NOTHING


def free_clock(
    move: Move, lead: int | None, held: str, mine: bool, missing: frozenset[str]
) -> Clock:
    """The clock on which the side that is free first acts at 0."""
    if lead is None:
        return Clock(me_free=None, them_free=None, missing=missing)
    attacker, defender = max(0, -lead), max(0, lead)
    # The attacker goes on with its move until it is free; counted back from its last frame.
    frame = 0 if move.total is None else move.total - attacker
    prior = move if move.total is not None else None
    if mine:
        return Clock(
            me_free=attacker, them_free=defender, me_held="recovery", them_held=held,
            me_prior=prior, me_prior_frame=frame,
        )
    return Clock(
        me_free=defender, them_free=attacker, me_held=held, them_held="recovery",
        them_prior=prior, them_prior_frame=frame,
    )


def contact_clock(
    move: Move, hit: Hit, lead: int | None, stun: int | None, held: str, mine: bool
) -> Clock | None:
    """The clock on which the contact is frame 0; needs the stun."""
    if lead is None or stun is None or hit.first_active is None or held == "none":
        return None
    attacker = stun - lead
    if mine:
        return Clock(
            me_free=attacker, them_free=stun, me_held="recovery", them_held=held,
            me_prior=move, me_prior_frame=hit.first_active,
        )
    return Clock(
        me_free=stun, them_free=attacker, me_held=held, them_held="recovery",
        them_prior=move, them_prior_frame=hit.first_active,
    )
