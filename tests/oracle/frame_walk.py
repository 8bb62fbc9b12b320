"""Two sides stepped one common frame at a time until something touches.

Written apart from the product's closed form and sharing no code with it: on every frame, look at
each side, ask what it is doing, decide. Every property that bears on an exchange must be known.

Units: frames on the common clock (the first that counts is 1), distances in micro-units.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar

from advisor.pack.model import Catch, Conventions, Hit, Move
from advisor.units import Span

__all__ = ["Body", "Ground", "Left", "Walked", "left_by", "phase", "posture", "walk"]

T = TypeVar("T")

DEFAULT_SAME_FRAME = {
    ("strike", "strike"): "trade",
    ("strike", "throw"): "first",
    ("throw", "strike"): "second",
    ("throw", "throw"): "break",
}


@dataclass(frozen=True)
class Body:
    """One side: held through frame ``free_at``, then waits ``delay`` frames, then runs ``option``."""

    option: Move
    free_at: int = 0
    held: str = "none"
    prior: Move | None = None
    prior_frame: int = 0
    delay: int = 0
    lying: str = "grounded"


@dataclass(frozen=True)
class Walked:
    """What happened.

    ``by`` is me, them, both or none. ``armoured`` lists (by, frame) of contacts that armour took;
    ``evaded`` (by, frame, reason) of active frames that missed. ``together`` holds both effects,
    mine first, when both sides touched on the deciding frame.
    """

    by: str
    effect: str
    frame: int | None
    posture: str | None
    breakable: bool
    armoured: tuple[tuple[str, int], ...] = ()
    evaded: tuple[tuple[str, int, str], ...] = ()
    together: tuple[str, str] | None = None


@dataclass
class Tally:
    """What one side has used up so far: its spent hits, and hits taken by each armour window."""

    spent: set[int] = field(default_factory=set)
    absorbed: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Contact:
    """One hit touching on one frame."""

    by: str
    number: int
    kind: str
    effect: str
    posture: str
    breakable: bool
    window: int | None


def known(value: T | None) -> T:
    """The value itself. Errors: ``ValueError`` when it is unknown; the walker never guesses."""
    if value is None:
        raise ValueError("the frame walk needs every property to be known")
    return value


def is_held(body: Body, frame: int) -> bool:
    return frame <= body.free_at


def own_frame(body: Body, frame: int) -> int | None:
    """The option's own frame, or None while it does not run."""
    own = frame - body.free_at - body.delay
    return own if 1 <= own <= known(body.option.total) else None


def in_any(spans: tuple[Span, ...] | None, own: int) -> bool:
    return any(own in span for span in known(spans))


def phase(body: Body, frame: int) -> str:
    """One of free, recovery, blockstun, hitstun, knockdown, startup, active, moving, guarding."""
    if is_held(body, frame):
        return "free" if body.held == "none" else body.held
    own = own_frame(body, frame)
    if own is None:
        return "free"
    option = body.option
    if option.kind == "movement":
        return "moving"
    if option.kind == "guard":
        return "guarding"
    if option.kind == "parry":
        first = min(parry.span.start for parry in known(option.parry))
        last = max(parry.span.stop for parry in known(option.parry)) - 1
    else:
        first = min(known(hit.first_active) for hit in option.hits)
        last = max(known(hit.active_stop) for hit in option.hits) - 1
    if own < first:
        return "startup"
    return "active" if own <= last else "recovery"


def body_frame(body: Body, frame: int) -> tuple[Move, int] | None:
    """The move that shapes the body on this frame, and its own frame: the prior move or the option."""
    if is_held(body, frame):
        if body.held == "recovery" and body.prior is not None:
            return body.prior, body.prior_frame + frame
        return None
    own = own_frame(body, frame)
    return None if own is None else (body.option, own)


def posture(body: Body, frame: int) -> str:
    """Standing, crouching, airborne or grounded."""
    if is_held(body, frame) and body.held == "knockdown":
        return body.lying
    shaping = body_frame(body, frame)
    if shaping is None:
        return "standing"
    move, own = shaping
    if in_any(move.airborne, own):
        return "airborne"
    if in_any(move.grounded, own):
        return "grounded"
    return "crouching" if in_any(move.crouching, own) else "standing"


def guards(conventions: Conventions, body: Body, frame: int) -> set[str]:
    """The guards that this side can block with on this frame."""
    doing = phase(body, frame)
    if doing in ("free", "blockstun"):
        return set(conventions.guards)
    if is_held(body, frame):
        return set()
    own = known(own_frame(body, frame))
    return {guard for window in body.option.guard if own in window.span for guard in window.guards}


def holds(catch: Catch, hit: Hit) -> bool:
    """Whether the attack is in the set; a set with neither levels nor tags holds everything."""
    if not catch.levels and not catch.tags:
        return True
    return known(hit.level) in catch.levels or any(tag in catch.tags for tag in known(hit.tags))


def is_invulnerable(conventions: Conventions, body: Body, frame: int, hit: Hit) -> bool:
    if is_held(body, frame) and body.held == "blockstun":
        immune = conventions.blockstun_immune
        return immune is not None and holds(immune, hit)
    shaping = body_frame(body, frame)
    if shaping is None:
        return False
    move, own = shaping
    return any(own in shield.span and holds(shield.to, hit) for shield in known(move.invulnerable))


def is_sidestepped(body: Body, frame: int, hit: Hit) -> bool:
    own = None if is_held(body, frame) else own_frame(body, frame)
    if own is None:
        return False
    steps = known(body.option.sidestep)
    return any(own in step.span and step.side not in known(hit.tracks) for step in steps)


def moved(body: Body, frame: int) -> int:
    """Distance covered toward the opponent, added up frame by frame."""
    covered = 0
    for displacement in known(body.option.displacement):
        for own in range(displacement.span.start, displacement.span.stop):
            if own + body.free_at + body.delay <= frame:
                covered += displacement.step
    return covered


def is_parried(body: Body, frame: int, hit: Hit) -> bool:
    own = None if is_held(body, frame) else own_frame(body, frame)
    if own is None:
        return False
    for parry in known(body.option.parry):
        excepted = parry.excepting is not None and holds(parry.excepting, hit)
        if own in parry.span and holds(parry.catches, hit) and not excepted:
            return True
    return False


def armour_window(body: Body, tally: Tally, frame: int, hit: Hit) -> int | None:
    """Number of the first armour window that still takes this attack."""
    own = None if is_held(body, frame) else own_frame(body, frame)
    if own is None:
        return None
    for number, armour in enumerate(known(body.option.armour)):
        has_room = tally.absorbed.get(number, 0) < armour.hits
        if own in armour.span and holds(armour.to, hit) and has_room:
            return number
    return None


def is_counter_hit(conventions: Conventions, body: Body, frame: int) -> bool:
    if phase(body, frame) in conventions.counter_hit:
        return True
    own = None if is_held(body, frame) else own_frame(body, frame)
    return own is not None and in_any(body.option.counter_state, own)


def active_hit(body: Body, tally: Tally, frame: int) -> tuple[int, Hit] | None:
    """The hit that can touch on this frame, with its number; None when there is none."""
    own = None if is_held(body, frame) else own_frame(body, frame)
    if own is None:
        return None
    for number, hit in enumerate(body.option.hits):
        if known(hit.first_active) <= own < known(hit.active_stop) and number not in tally.spent:
            return number, hit
    return None


def why_missed(conventions: Conventions, target: Body, frame: int, hit: Hit, apart: int) -> str | None:
    """The reason why an active hit does not touch; None when it does."""
    if posture(target, frame) not in conventions.levels[known(hit.level)].hits:
        return "posture"
    if is_invulnerable(conventions, target, frame, hit):
        return "invulnerable"
    if is_sidestepped(target, frame, hit):
        return "sidestep"
    return "reach" if apart > known(hit.reach) else None


def contact_of(
    conventions: Conventions, by: str, number: int, hit: Hit, target: Body, tally: Tally, frame: int
) -> Contact:
    """What a hit that touches does to its target."""
    level = conventions.levels[known(hit.level)]
    window = None
    breakable = False
    if is_parried(target, frame, hit):
        effect = "parried"
    elif (window := armour_window(target, tally, frame, hit)) is not None:
        effect = "armoured"
    elif guards(conventions, target, frame) & level.blocked_by:
        effect = "blocked"
    else:
        effect = "counter_hit" if is_counter_hit(conventions, target, frame) else "hit"
        breakable = bool(known(hit.breaks)) and phase(target, frame) in known(conventions.breakable_in)
    return Contact(by, number, level.kind, effect, posture(target, frame), breakable, window)


def decide_together(conventions: Conventions, mine: Contact, theirs: Contact) -> Contact | str:
    """The contact that decides a frame on which both touch, or trade or break for both."""
    effects = (mine.effect, theirs.effect)
    if effects == ("parried", "parried"):
        return "break"
    if "parried" in effects:
        return mine if mine.effect == "parried" else theirs
    landed = [contact for contact in (mine, theirs) if contact.effect in ("hit", "counter_hit")]
    if len(landed) == 1:
        return landed[0]
    if len(landed) == 2:
        kinds = (mine.kind, theirs.kind)
        ruling = conventions.same_frame.get(kinds, DEFAULT_SAME_FRAME[kinds])
        return {"first": mine, "second": theirs}.get(ruling, ruling)
    if effects == ("blocked", "blocked"):
        return "break"
    return mine if mine.effect == "blocked" else theirs


def last_frame(me: Body, them: Body) -> int:
    """The last common frame on which either side can still touch."""
    stops = [known(hit.active_stop) - 1 + body.free_at + body.delay for body in (me, them) for hit in body.option.hits]
    return max(stops, default=0)


def walk(conventions: Conventions, me: Body, them: Body, distance: int) -> Walked:
    """The exchange of two sides that start ``distance`` micro-units apart.

    Errors: ``ValueError`` when a property that the walk looks at is unknown.
    """
    tallies = {"me": Tally(), "them": Tally()}
    pairs = (("me", me, "them", them), ("them", them, "me", me))
    armoured: list[tuple[str, int]] = []
    evaded: list[tuple[str, int, str]] = []
    for frame in range(1, last_frame(me, them) + 1):
        contacts: list[Contact] = []
        for by, attacker, of, target in pairs:
            active = active_hit(attacker, tallies[by], frame)
            if active is None:
                continue
            number, hit = active
            apart = distance - moved(me, frame) - moved(them, frame)
            reason = why_missed(conventions, target, frame, hit, apart)
            if reason is not None:
                evaded.append((by, frame, reason))
                continue
            contacts.append(contact_of(conventions, by, number, hit, target, tallies[of], frame))
        armoured += [(contact.by, frame) for contact in contacts if contact.effect == "armoured"]
        if all(contact.effect == "armoured" for contact in contacts):
            for contact in contacts:
                absorbed = tallies["them" if contact.by == "me" else "me"].absorbed
                tallies[contact.by].spent.add(contact.number)
                window = known(contact.window)
                absorbed[window] = absorbed.get(window, 0) + 1
            continue
        together = None
        decided: Contact | str = contacts[0]
        if len(contacts) == 2:
            together = (contacts[0].effect, contacts[1].effect)
            decided = decide_together(conventions, *contacts)
        seen = (tuple(armoured), tuple(evaded), together)
        if isinstance(decided, str):
            return Walked("both", decided, frame, None, False, *seen)
        return Walked(decided.by, decided.effect, frame, decided.posture, decided.breakable, *seen)
    return Walked("none", "none", None, None, False, tuple(armoured), tuple(evaded))


@dataclass(frozen=True)
class Ground:
    """Where the struck side stands when it is struck."""

    near_wall: bool = False
    floor_breaks: bool = False


@dataclass(frozen=True)
class Left:
    """What a hit has done: points, the striker's advantage, the state, distance, and what it met on the way."""

    damage: float
    advantage: int
    knockdown: str
    apart: int
    wall: str
    floor: str


def left_by(conventions: Conventions, hit: Hit, effect: str, apart: int, ground: Ground) -> Left:
    """What a hit, counter-hit or block leaves of a side on that ground, ``apart`` micro-units at the contact.

    Errors: ``ValueError`` when a property that is looked at is unknown.
    """
    blocked = effect == "blocked"
    leaves = known({"hit": hit.leaves_hit, "counter_hit": hit.leaves_counter_hit, "blocked": hit.leaves_block}[effect])
    points = known(hit.chip if blocked else hit.damage)
    lead = known({"hit": hit.on_hit, "counter_hit": hit.on_counter_hit, "blocked": hit.on_block}[effect])
    state = known(leaves.knockdown)
    apart += known(hit.pushback_block if blocked else hit.pushback_hit) + known(leaves.distance)
    met = {"wall": "none", "floor": "none"}
    stands = {"wall": ground.near_wall, "floor": ground.floor_breaks}
    listed = {"wall": conventions.wall_effects, "floor": conventions.floor_effects}
    for place, name in (("wall", known(leaves.wall)), ("floor", known(leaves.floor))):
        if not stands[place] or name == "none":
            continue
        met[place] = name
        made = listed[place][name]
        points += known(made.damage)
        lead = known(made.advantage) if "advantage" in made.replaces else lead
        state = known(made.knockdown) if "knockdown" in made.replaces else state
        apart = known(made.distance) if "distance" in made.replaces else apart
    return Left(points, lead, state, apart, met["wall"], met["floor"])
