"""Layered defence: a guard held up to a frame, and from that frame on something else, as one timeline.

A layer built on frame k holds its guard on own frames 1 to k - 1; own frame k is frame 1 of what
comes then. Met early it is the guard, met later it is the rest.
"""

from __future__ import annotations

from typing import Any

import msgspec
from msgspec import Struct

from advisor.facts import Entry, Outcome, Pair, Ready, Situation, pair_of
from advisor.facts.records import Record
from advisor.pack.model import Hit, Move, ThrowBreak
from advisor.sentences import say, spoken
from advisor.timeline.exchange import Exchange
from advisor.units import FOREVER, Span

__all__ = ["Layer", "Layered", "layered_move"]

_KEEP = 20_000
_MADE: dict[tuple[int, int, int, str], tuple[Move, Move, Move]] = {}


class Layer(Struct, frozen=True, kw_only=True):
    """What is held first, and what comes from the switch frame on.

    ``then`` is None when the press brings out nothing; ``breaks`` is the throw break that is pressed.
    """

    id: str
    name: str
    first: Entry
    then: Entry | None
    breaks: ThrowBreak | None = None


def layered_move(first: Move, then: Move, switch: int) -> Move:
    """``first`` on own frames 1 to ``switch`` - 1, ``then`` from ``switch`` on, with all windows of both.

    A kind of window that either side does not know is unknown for the whole. Units: own frames.
    """
    if switch <= 1:
        return then
    key = (id(first), id(then), switch, spoken())
    kept = _MADE.get(key)
    if kept is not None and kept[0] is first and kept[1] is then:
        return kept[2]
    if len(_MADE) >= _KEEP:
        _MADE.clear()
    made = _layered(first, then, switch)
    _MADE[key] = (first, then, made)
    return made


def _layered(first: Move, then: Move, switch: int) -> Move:
    late = switch - 1
    return Move(
        id=f"{first.id}+{then.id}@{switch}",
        name=say("{first}, {then} from frame {switch}", first=first.name, then=then.name, switch=switch),
        kind=then.kind,
        hits=tuple(_later(hit, late) for hit in then.hits),
        total=then.total if then.total is None or then.total >= FOREVER else then.total + late,
        airborne=_spans(first.airborne, then.airborne, switch),
        crouching=_spans(first.crouching, then.crouching, switch),
        grounded=_spans(first.grounded, then.grounded, switch),
        counter_state=_spans(first.counter_state, then.counter_state, switch),
        invulnerable=_windows(first.invulnerable, then.invulnerable, switch),
        armour=_windows(first.armour, then.armour, switch),
        parry=_windows(first.parry, then.parry, switch),
        guard=_windows(first.guard, then.guard, switch) or (),
        sidestep=_windows(first.sidestep, then.sidestep, switch),
        displacement=_windows(first.displacement, then.displacement, switch),
        cost=then.cost,
        tags=then.tags,
    )


def _later(hit: Hit, frames: int) -> Hit:
    return msgspec.structs.replace(
        hit,
        first_active=None if hit.first_active is None else hit.first_active + frames,
        active_stop=None if hit.active_stop is None else hit.active_stop + frames,
    )


def _before(span: Span, switch: int) -> Span:
    return Span(span.start, min(span.stop, switch))


def _after(span: Span, switch: int) -> Span:
    late = switch - 1
    return Span(span.start + late, span.stop if span.stop >= FOREVER else span.stop + late)


def _spans(
    first: tuple[Span, ...] | None, then: tuple[Span, ...] | None, switch: int
) -> tuple[Span, ...] | None:
    if first is None or then is None:
        return None
    early = [_before(span, switch) for span in first]
    return (*(span for span in early if span), *(_after(span, switch) for span in then))


def _windows(first: tuple[Any, ...] | None, then: tuple[Any, ...] | None, switch: int) -> tuple[Any, ...] | None:
    """Windows of one kind (shields, guards, parries, ...), each with a ``span``."""
    if first is None or then is None:
        return None
    early = [msgspec.structs.replace(window, span=_before(window.span, switch)) for window in first]
    later = [msgspec.structs.replace(window, span=_after(window.span, switch)) for window in then]
    return (*(window for window in early if window.span), *later)


class Layered:
    """A layer ready to be set against replies on every switch frame."""

    def __init__(self, situation: Situation, layer: Layer) -> None:
        self.situation = situation
        self.layer = layer
        self.held = Ready(situation, layer.first, "mine")
        self._built: dict[int, Ready] = {}
        self._guarded: dict[int, tuple[Ready, Pair]] = {}

    def against(self, reply: Ready, switch: int) -> Pair:
        """The exchange when the guard is given up on own frame ``switch``.

        What touches before that frame meets the guard alone; the timeline of both decides the rest.
        """
        guarded = self._met_by_guard(reply)
        if guarded.me is None:
            return guarded
        press = guarded.me.begins + switch
        at = _contact(guarded)
        if at is not None and at < press:
            return self._pressed(guarded, reply, at, press)
        if self.layer.then is None:
            return guarded
        built = pair_of(self.situation, self._ready(switch), reply)
        if not _decided(guarded):
            # Where it is not sure what the guard alone meets, the whole speaks only of what comes after it.
            late = _contact(built)
            if late is None or late < press:
                return guarded
        return built

    def _met_by_guard(self, reply: Ready) -> Pair:
        kept = self._guarded.get(id(reply))
        if kept is None:
            kept = self._guarded[id(reply)] = (reply, pair_of(self.situation, self.held, reply))
        return kept[1]

    def _ready(self, switch: int) -> Ready:
        built = self._built.get(switch)
        if built is None:
            assert self.layer.then is not None
            move = layered_move(self.layer.first.move, self.layer.then.move, switch)
            entry = Entry(move=move, key=self.layer.id, name=self.layer.name, unmet=self.layer.then.unmet)
            built = self._built[switch] = Ready(self.situation, entry, "mine")
        return built

    def _pressed(self, pair: Pair, reply: Ready, at: int, press: int) -> Pair:
        """What a break pressed on common frame ``press`` does to a throw that has landed on ``at``."""
        pressed, exchange = self.layer.breaks, pair.exchange
        if pressed is None or exchange is None or exchange.theirs is None:
            return pair
        if exchange.by != "them" or exchange.effect not in ("hit", "counter_hit"):
            return pair
        hit = reply.entry.move.hits[exchange.theirs.hit]
        if hit.breaks is not None and pressed.id not in hit.breaks:
            return pair
        if exchange.breakable is False or (pressed.window is not None and press > at + pressed.window):
            return pair
        lacks = set() if exchange.breakable else {"theirs.breaks" if hit.breaks is None else "situation.breakable_in"}
        if pressed.window is None:
            lacks.add(f"situation.throw break {pressed.id}, window")
        return _open(pair, exchange, frozenset(lacks)) if lacks else _broken(pair, exchange)


def _contact(pair: Pair) -> int | None:
    """The common frame of the contact that decides; None when there is none, or it is not sure."""
    exchange = pair.exchange
    return exchange.frame if exchange is not None and exchange.decided else None


def _decided(pair: Pair) -> bool:
    return pair.exchange is not None and pair.exchange.decided


_WITHOUT = (
    "exchange.posture", "exchange.phase", "exchange.breakable", "exchange.damage_taken", "exchange.damage_dealt",
    "exchange.advantage_after", "exchange.distance_after", "exchange.knockdown_after", "exchange.their_punish",
    "exchange.they_can_punish", "exchange.my_punish", "exchange.i_can_punish",
)


def _broken(pair: Pair, exchange: Exchange) -> Pair:
    """The same contact, and the throw is broken."""
    record: Record = {name: value for name, value in pair.record.items() if name not in _WITHOUT}
    record |= {
        "exchange.by": "both", "exchange.effect": "break", "exchange.damage_taken": 0.0, "exchange.damage_dealt": 0.0,
        "exchange.breakable": False,
    }
    broken = msgspec.structs.replace(
        exchange, by="both", effect="break", posture=None, phase=None, breakable=False
    )
    return msgspec.structs.replace(pair, record=record, exchange=broken, outcome=Outcome(dealt=0.0, taken=0.0))


def _open(pair: Pair, exchange: Exchange, missing: frozenset[str]) -> Pair:
    """The same contact, and whether the throw is broken is unknown."""
    dropped = (*_WITHOUT, "exchange.by", "exchange.effect", "exchange.frame")
    record: Record = {name: value for name, value in pair.record.items() if name not in dropped}
    unsure = msgspec.structs.replace(exchange, by="unknown", effect="unknown", decided=False, missing=missing)
    return msgspec.structs.replace(pair, record=record, exchange=unsure, outcome=None, missing=missing)
