"""The exchange of two options in closed form over their windows.

Each side's first contact is found by itself (``contact.py``), then the two are compared. The
exchange is *decided* only when all alternatives that unknown properties leave open end alike.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from advisor.pack.model import Conventions
from advisor.timeline.body import NOTHING
from advisor.timeline.contact import Attack, Contact, Way, armoured_of, needs_of
from advisor.timeline.side import Side

__all__ = ["Contact", "Exchange", "meet"]

SAME_FRAME = {
    ("strike", "strike"): "trade",
    ("strike", "throw"): "first",
    ("throw", "strike"): "second",
    ("throw", "throw"): "break",
}


class Exchange(Struct, frozen=True, kw_only=True):
    """What happens when two options meet.

    ``by`` is the side (me, them, both, none) whose attack made the deciding contact; ``effect`` is
    hit, counter_hit, blocked, parried (that attack was caught), trade, break or none; ``unknown``
    when the alternatives differ, and then ``missing`` names the properties that would decide.
    ``mine`` and ``theirs`` are each side's own first contact had the other's not come first
    (None: it does not touch, or that is unknown); ``my_miss`` and ``their_miss`` say why not.
    """

    by: str
    effect: str
    frame: int | None
    posture: str | None
    phase: str | None
    breakable: bool | None
    decided: bool
    missing: frozenset[str]
    mine: Contact | None
    theirs: Contact | None
    my_miss: str | None
    their_miss: str | None
    armoured: tuple[tuple[str, int], ...] | None = ()


def meet(
    conventions: Conventions,
    me: Side,
    them: Side,
    distance: int | None,
    *,
    nearest: int = 0,
    farthest: int | None = None,
) -> Exchange:
    """The exchange of ``me`` and ``them`` at ``distance`` micro-units.

    When the distance is unknown (None) it lies in ``[nearest, farthest]`` (farthest None: no bound).

    Units: frames on the common clock; contacts count from frame 1.
    Source: the domain's exchange order (evaded, parried, armoured, blocked, hit), checked against
    a frame-by-frame simulator.
    """
    away = (distance, nearest, farthest)
    mine = Attack(conventions, me, them, away, "mine", "theirs")
    theirs = Attack(conventions, them, me, away, "theirs", "mine")
    return _compare(conventions, mine, theirs)


def _compare(conventions: Conventions, mine: Attack, theirs: Attack) -> Exchange:
    """The deciding contact out of both sides' possible ones."""
    if len(mine.ways) == 1 and len(theirs.ways) == 1:
        a, b = mine.ways[0], theirs.ways[0]
        orders = list(_order(conventions, mine, theirs, a, b))
        if len(orders) == 1:
            by, effect, way, frame = orders[0]
            lone = by in ("me", "them")
            return Exchange(
                by=by,
                effect=effect,
                frame=frame,
                posture=_sure(way.posture) if way and lone else None,
                phase=_sure(way.phase) if way and lone else None,
                breakable=way.breakable if way else False,
                decided=True,
                missing=NOTHING,
                mine=a if isinstance(a, Contact) else None,
                theirs=b if isinstance(b, Contact) else None,
                my_miss=mine.miss if not isinstance(a, Contact) else None,
                their_miss=theirs.miss if not isinstance(b, Contact) else None,
                armoured=_taken(mine.ways, theirs.ways, frame),
            )
    return _compare_all(conventions, mine, theirs)


def _compare_all(conventions: Conventions, mine: Attack, theirs: Attack) -> Exchange:
    """The same when something unknown makes alternatives."""
    ends: dict[tuple[str, str], list[tuple[Contact | None, int | None]]] = {}
    for a in mine.ways:
        for b in theirs.ways:
            for whose, what, touch, at in _order(conventions, mine, theirs, a, b):
                ends.setdefault((whose, what), []).append((touch, at))
    my_touch, their_touch = _only(mine.ways), _only(theirs.ways)
    decided = len(ends) == 1
    missing: frozenset[str] = NOTHING
    by = effect = "unknown"
    frame: int | None = None
    contact: Contact | None = None
    if decided:
        (by, effect), found = next(iter(ends.items()))
        frame = found[0][1]
        if len(found) > 1 and any(f != frame for _, f in found):
            frame = None
        alike = {(c.posture, c.phase, c.breakable) if c else None for c, _ in found} if len(found) > 1 else ()
        contact = found[0][0] if len(alike) <= 1 else None
    else:
        missing = missing.union(*(needs_of(w) for w in (*mine.ways, *theirs.ways)))
    return Exchange(
        by=by,
        effect=effect,
        frame=frame,
        posture=_sure(contact.posture) if contact and by in ("me", "them") else None,
        phase=_sure(contact.phase) if contact and by in ("me", "them") else None,
        breakable=contact.breakable if contact else (False if decided and by in ("both", "none") else None),
        decided=decided,
        missing=missing,
        mine=my_touch,
        theirs=their_touch,
        my_miss=mine.miss if my_touch is None and _never(mine.ways) else None,
        their_miss=theirs.miss if their_touch is None and _never(theirs.ways) else None,
        armoured=_taken(mine.ways, theirs.ways, frame),
    )


def _sure(word: str) -> str | None:
    return None if word == "unknown" else word


def _never(ways: list[Way]) -> bool:
    return len(ways) == 1 and not isinstance(ways[0], Contact)


def _only(ways: list[Way]) -> Contact | None:
    return ways[0] if len(ways) == 1 and isinstance(ways[0], Contact) else None


def _taken(mine: list[Way], theirs: list[Way], until: int | None) -> tuple[tuple[str, int], ...] | None:
    """Contacts that armour took on the way; None when the alternatives may differ."""
    if len(mine) > 1 or len(theirs) > 1:
        return () if not any(armoured_of(way) for way in (*mine, *theirs)) else None
    ours, others = armoured_of(mine[0]), armoured_of(theirs[0])
    if not ours and not others:
        return ()
    taken = [(frame, "me") for frame in ours] + [(frame, "them") for frame in others]
    return tuple((by, frame) for frame, by in sorted(taken) if until is None or frame <= until)


def _order(
    conventions: Conventions, mine: Attack, theirs: Attack, a: Way, b: Way
) -> Iterator[tuple[str, str, Contact | None, int | None]]:
    """Every order in which two possible contacts can fall, and how each ends."""
    if not isinstance(a, Contact):
        if not isinstance(b, Contact):
            yield "none", "none", None, None
        else:
            yield "them", b.effect, b, b.frame
        return
    if not isinstance(b, Contact):
        yield "me", a.effect, a, a.frame
        return
    if a.earliest < b.latest:
        yield "me", a.effect, a, a.frame
    if b.earliest < a.latest:
        yield "them", b.effect, b, b.frame
    if a.earliest <= b.latest and b.earliest <= a.latest:
        yield from _together(conventions, mine, theirs, a, b)


def _together(
    conventions: Conventions, mine: Attack, theirs: Attack, a: Contact, b: Contact
) -> Iterator[tuple[str, str, Contact | None, int | None]]:
    """Both touch on one frame."""
    frame = a.frame if a.frame is not None else b.frame
    caught = [way.effect == "parried" for way in (a, b)]
    landed = [way.effect in ("hit", "counter_hit") for way in (a, b)]
    if all(caught) or not (any(caught) or any(landed)):
        yield "both", "break", None, frame
    elif any(caught):
        by, way = ("me", a) if caught[0] else ("them", b)
        yield by, way.effect, way, frame
    elif not all(landed):
        by, way = ("me", a) if landed[0] else ("them", b)
        yield by, way.effect, way, frame
    else:
        levels = conventions.levels
        one = mine.me.option.hits[a.hit].level
        two = theirs.me.option.hits[b.hit].level
        for ours in [levels[one].kind] if one else ["strike", "throw"]:
            for other in [levels[two].kind] if two else ["strike", "throw"]:
                pair = (ours, other)
                rule = conventions.same_frame.get(pair) or SAME_FRAME[pair]
                if rule in ("trade", "break"):
                    yield "both", rule, None, frame
                elif rule == "first":
                    yield "me", a.effect, a, frame
                else:
                    yield "them", b.effect, b, frame
