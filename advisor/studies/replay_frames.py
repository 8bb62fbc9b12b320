"""Both sides of an exchange on any frame: phase, posture, windows, movement, and the distance between them.

Up to the deciding contact this is what the timeline says of each side. After it the attacker goes on with
its option, and the struck side is held until the stated advantage lets it go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from advisor.advice.answer import Missing
from advisor.advice.proof import property_of
from advisor.facts import Pair, Situation
from advisor.pack.model import UPRIGHT, Catch, Hit, Move
from advisor.sentences import in_words, say
from advisor.studies.replay_answer import SideFrame, StripFrame, WindowOn
from advisor.timeline.body import Body
from advisor.timeline.exchange import Exchange
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER, from_micro

__all__ = ["OTHER", "ROLES", "Strip"]

ROLES = {"me": "mine", "them": "theirs"}
OTHER = {"me": "them", "them": "me"}
UNDECIDED = "unknown"
TAIL = 20
"""Frames shown of what has no end that is known."""

LANDED = ("hit", "counter_hit", "blocked")
_ADVANTAGES = {"blocked": "on_block", "hit": "on_hit", "counter_hit": "on_counter_hit"}
_BODY = ("airborne", "grounded", "crouching")
Ways = Sequence[tuple[str, frozenset[str]]]


class Strip:
    """An exchange of two sides that are known, frame by frame."""

    def __init__(self, situation: Situation, pair: Pair, me: Side, them: Side, exchange: Exchange) -> None:
        self.situation = situation
        self.conventions = situation.pack.conventions
        self.pair = pair
        self.sides = {"me": me, "them": them}
        self.exchange = exchange
        self.contact = exchange.frame if exchange.decided else None
        decided = self.contact is not None and exchange.by in OTHER and exchange.effect in LANDED
        self.struck = OTHER[exchange.by] if decided else None
        self.stuck_until = self._stuck_until() if decided else None

    def body(self, who: str, frame: int) -> Body:
        """What the timeline says of a side on a common frame."""
        return Body(self.conventions, self.sides[who], frame, ROLES[who])

    def own(self, who: str, frame: int) -> int:
        """The option's own frame on a common frame; below 1 before it begins."""
        return frame - self.sides[who].begins

    def missing(self, needs: frozenset[str]) -> list[Missing]:
        """Properties as a lab player looks them up, in order."""
        return sorted({property_of(path, self.pair, self.situation) for path in needs})

    def distance(self, frame: int) -> int | None:
        """Micro-units between the two on a frame up to the contact; None when unknown."""
        parts = [self._moved(who, frame) for who in OTHER]
        if self.situation.distance is None or None in parts:
            return None
        return self.situation.distance - sum(part for part in parts if part is not None)

    def _moved(self, who: str, frame: int) -> int | None:
        timeline = timeline_of(self.sides[who].option)
        return None if timeline.moves is None else timeline.moved(self.own(who, frame))

    def last(self) -> int:
        """The last frame worth showing: both are free again, or what follows is not known."""
        if self.contact is not None and self.struck is None:
            return self.contact
        if self.contact is None or self.struck is None:
            return max(self._idle_from(who) for who in OTHER)
        over = self.sides[self.exchange.by].over()
        ends = [self.contact + TAIL if end is None or end >= FOREVER else end + 1 for end in (over, self.stuck_until)]
        return max(self.contact + 1, *ends)

    def _idle_from(self, who: str) -> int:
        """The first frame on which the side is free after its option, or some frames of one without an end."""
        side = self.sides[who]
        over = side.over()
        if over is not None and over < FOREVER:
            return max(1, over + 1)
        edges = timeline_of(side.option).edges
        return max(1, side.begins + (TAIL if over is None else 0) + max(edges))

    def _stuck_until(self) -> int | None:
        """The last frame on which the contact holds the struck side; None when the data do not say."""
        outcome, over = self.pair.outcome, self.sides[self.exchange.by].over()
        if outcome is None or outcome.advantage is None or over is None or over >= FOREVER:
            return None
        return over + (outcome.advantage if self.exchange.by == "me" else -outcome.advantage)

    def at(self, frame: int) -> StripFrame:
        """Both sides on one common frame."""
        after = self.contact is not None and frame > self.contact
        distance = None if after else self.distance(frame)
        return StripFrame(
            frame=frame, me=self.side(frame, "me"), them=self.side(frame, "them"),
            distance=None if distance is None else from_micro(distance), after=after,
        )  # fmt: skip

    def side(self, frame: int, who: str) -> SideFrame:
        """One side on one common frame."""
        if self.contact is not None and frame > self.contact and who == self.struck:
            return self._struck(frame)
        body = self.body(who, frame)
        out = self._shown(body.phases(), body.postures())
        out.windows = list(self._windows(body))
        moved = self._moved(who, frame)
        if moved != 0:
            out.moved = None if moved is None else from_micro(moved)
        side = self.sides[who]
        if body.where in ("option", "maybe over"):
            out.doing, out.own = "option", body.own
        elif frame <= side.free_at and side.held != "none":
            out.doing, out.own = "held", body.prior_own or None
        return out

    def _shown(self, phases: Ways, postures: Ways) -> SideFrame:
        """The one phase and posture, or all that are possible with what would tell."""
        out = SideFrame(phase=phases[0][0], posture=postures[0][0], doing="free")
        needs: frozenset[str] = frozenset()
        if len(phases) > 1:
            out.phase, out.phases, needs = UNDECIDED, [p for p, _ in phases], needs.union(*(n for _, n in phases))
        if len(postures) > 1:
            words = list(dict.fromkeys(p for p, _ in postures))
            out.posture, out.postures = UNDECIDED, words
            needs = needs.union(*(n for _, n in postures))
        out.hangs_on = self.missing(needs)
        return out

    def _struck(self, frame: int) -> SideFrame:
        """The struck side after the contact: held by it, then free."""
        exchange, outcome = self.exchange, self.pair.outcome
        role = ROLES[exchange.by]
        down = outcome.knockdown if outcome else None
        if self.stuck_until is not None and frame > self.stuck_until:
            return SideFrame(phase="free", posture="standing", doing="free", windows=list(self._free_guards()))
        leaves = frozenset({f"{role}.leaves"})
        if down not in (None, UPRIGHT):
            phases: list[tuple[str, frozenset[str]]] = [("knockdown", frozenset())]
        elif exchange.effect == "blocked":
            phases = [("blockstun", frozenset())]
        elif down is None:
            phases = [("hitstun", leaves), ("knockdown", leaves)]
        else:
            phases = [("hitstun", frozenset())]
        if self.stuck_until is None and self.contact is not None and frame > self.contact + 1:
            lead = outcome.advantage if outcome else None
            wanted = f"{role}.total" if lead is not None else f"{role}.{_ADVANTAGES[exchange.effect]}"
            phases = [*phases, ("free", frozenset({wanted}))]
        postures = list(dict.fromkeys(self._lying(phase, down) for phase, _ in phases))
        out = self._shown(phases, [(posture, frozenset()) for posture in postures])
        out.doing = "held"
        return out

    def _lying(self, phase: str, down: str | None) -> str:
        if phase != "knockdown":
            return "standing"
        known = self.conventions.knockdowns.get(down or "")
        return known.posture if known else "grounded"

    def _free_guards(self) -> Iterator[WindowOn]:
        if self.conventions.guards:
            yield WindowOn(kind="guard", number=1, to=", ".join(sorted(self.conventions.guards)))

    def _windows(self, body: Body) -> Iterator[WindowOn]:
        """Windows that are on: those of the option, or of the move that it still recovers from."""
        if body.where in ("option", "maybe over"):
            sure = body.where == "option"
            yield from active_windows(body.side.option, body.own, sure)
            yield from _other_windows(body.side.option, body.own, sure)
        elif body.prior_own and body.side.prior is not None:
            yield from _postures_and_shields(body.side.prior, body.prior_own, True)
        elif body.where in ("free", "blockstun"):
            yield from self._free_guards()
            immune = self.conventions.blockstun_immune
            if immune is not None and body.where == "blockstun":
                yield WindowOn(kind="invulnerable", number=1, to=caught(immune))


def active_windows(move: Move, own: int, sure: bool) -> Iterator[WindowOn]:
    """Hits that are or may be active on an own frame."""
    for number, hit in enumerate(move.hits, 1):
        on = is_active(hit, own, move.total)
        if on is not False:
            yield WindowOn(kind="active", number=number, to=hit.level or "", sure=bool(on) and sure)


def is_active(hit: Hit, own: int, total: int | None) -> bool | None:
    """Whether the hit can touch on an own frame; None when that is not recorded."""
    if own < 1 or (total is not None and own > total):
        return False
    if hit.first_active is None:
        return None
    if own < hit.first_active:
        return False
    if hit.active_stop is None:
        return True if own == hit.first_active else None
    return own < hit.active_stop


def caught(catch: Catch) -> str:
    """A set of attacks in words: its levels and tags, or everything."""
    return ", ".join((*sorted(catch.levels), *sorted(catch.tags))) or in_words("everything")


def _on(windows: Sequence[Any] | None, own: int) -> Iterator[tuple[int, Any]]:
    """The windows (with a ``span``) that hold the own frame, with their numbers."""
    return ((n, w) for n, w in enumerate(windows or (), 1) if w.span.start <= own < w.span.stop)


def _postures_and_shields(move: Move, own: int, sure: bool) -> Iterator[WindowOn]:
    for kind in _BODY:
        for number, span in enumerate(getattr(move, kind) or (), 1):
            if own in span:
                yield WindowOn(kind=kind, number=number, sure=sure)
    for number, shield in _on(move.invulnerable, own):
        yield WindowOn(kind="invulnerable", number=number, to=caught(shield.to), sure=sure)


def _other_windows(move: Move, own: int, sure: bool) -> Iterator[WindowOn]:
    yield from _postures_and_shields(move, own, sure)
    for number, parry in _on(move.parry, own):
        spared = say(" except {excepting}", excepting=caught(parry.excepting)) if parry.excepting else ""
        yield WindowOn(kind="parry", number=number, to=f"{caught(parry.catches)}{spared}", sure=sure)
    for number, armour in _on(move.armour, own):
        yield WindowOn(kind="armour", number=number, to=caught(armour.to), sure=sure)
    for number, guard in _on(move.guard, own):
        if guard.guards:
            yield WindowOn(kind="guard", number=number, to=", ".join(sorted(guard.guards)), sure=sure)
    for number, step in _on(move.sidestep, own):
        yield WindowOn(kind="sidestep", number=number, to=step.side, sure=sure)
    for number, span in enumerate(move.counter_state or (), 1):
        if own in span:
            yield WindowOn(kind="counter_state", number=number, sure=sure)
