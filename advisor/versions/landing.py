"""Which attacks are guaranteed after a blocked move, in one version of a pack, each exchange worked out once.

After a block the exchange takes no more of the blocked move than where and until when it holds its user, so
moves that leave the same are one *aftermath*; and the same numbers of an attack land alike whoever owns it.
"""

from __future__ import annotations

from collections.abc import Hashable

from msgspec import Struct
from msgspec.structs import replace

from advisor.facts import Entry
from advisor.facts.question import Fighter
from advisor.pack.model import Move, Pack, Shield
from advisor.studies.beats_chance import LANDS
from advisor.studies.beats_stage import IDLE, Asked, Stage, after_block
from advisor.studies.exposed_punish import opponents
from advisor.timeline.exchange import meet
from advisor.timeline.side import Side
from advisor.units import Span

__all__ = ["Landing", "Punished", "numbers_of", "physics_of"]

NAMES = frozenset({"id", "name", "input", "note", "source", "derived"})
NO_MATTER = frozenset({"damage", "chip"})
PLACED = frozenset({"option", "prior", "prior_frame"})
BODY = ("airborne", "crouching", "grounded", "invulnerable")
"""What a move in recovery still is, for what touches it: its posture, and what passes through it."""


def numbers_of(move: Move) -> Hashable:
    """Everything of a move but names, notes and where its values come from."""
    return tuple(getattr(move, name) for name in move.__struct_fields__ if name not in NAMES)


def physics_of(move: Move) -> Hashable:
    """The same without damage: what decides whether it lands."""
    kept = (getattr(move, name) for name in move.__struct_fields__ if name not in NAMES and name != "hits")
    hits = tuple(
        tuple(getattr(hit, name) for name in hit.__struct_fields__ if name not in NO_MATTER) for hit in move.hits
    )
    return (*kept, hits)


class Reply(Struct, kw_only=True):
    """One attack of an opponent: its entry, first active frame, damage, and the number of its physics."""

    entry: Entry
    first: int | None
    damage: float | None
    physics: int


class Punished(Struct, kw_only=True):
    """The attacks of one opponent that are guaranteed after a block, those of which it is unknown, the best damage.

    ``best`` counts unknown damage as 0 and is None when nothing is guaranteed.
    """

    sure: frozenset[str]
    unknown: frozenset[str]
    best: float | None


NOTHING = Punished(sure=frozenset(), unknown=frozenset(), best=None)
NEVER, HANGS = 0, 1
"""The aftermaths of a move after which its user can act at once, and of one where nobody knows when it can."""


class Landing:
    """The punishes of one pack. Distances are micro-units at the contact of the blocked move."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self._numbers: dict[Hashable, int] = {}
        self._replies: dict[str, dict[str, Reply]] = {}
        self._aftermaths: dict[Hashable, int] = {}
        self._stages: dict[int, Stage] = {}
        self._left: dict[tuple[int, int], int] = {}
        self._met: dict[tuple[int, int], str] = {}
        self._punished: dict[tuple[int, str], Punished] = {}

    def number(self, move: Move) -> int:
        """The number of a move's physics, the same for moves that only differ in names and damage."""
        return self._numbers.setdefault(physics_of(move), len(self._numbers))

    def replies(self, character: str) -> dict[str, Reply]:
        """The attacks that a character can use freely, by id."""
        if character not in self._replies:
            fighter = Fighter(character=character)
            ((_, entries),) = opponents(self.pack, fighter, [fighter])
            self._replies[character] = {entry.key: self._reply(entry) for entry in entries}
        return self._replies[character]

    def _reply(self, entry: Entry) -> Reply:
        hit = entry.move.hits[0]
        return Reply(entry=entry, first=hit.first_active, damage=hit.damage, physics=self.number(entry.move))

    def aftermath(self, owner: str, move: Move, away: int) -> int:
        """The number of what ``owner``'s blocked ``move`` leaves: moves of one number are punished alike."""
        at = (self.number(move), away)
        if at not in self._left:
            self._left[at] = self._aftermath(owner, move, away)
        return self._left[at]

    def _aftermath(self, owner: str, move: Move, away: int) -> int:
        level = self.pack.conventions.levels.get(move.hits[0].level or "")
        lead = move.hits[0].on_block
        if level is not None and not level.blocked_by:
            return NEVER
        if lead is None or lead >= 0:
            return HANGS if lead is None else NEVER
        fighter = Fighter(character=owner)
        # What else a fighter has makes no difference to what this move leaves, and takes long to settle.
        alone = replace(move, follow_ups=())
        character = replace(self.pack.characters[owner], moves={move.id: alone}, key_moves=())
        pack = replace(self.pack, characters={owner: character})
        asked = Asked(pack=pack, them=fighter, distance=away)
        stage = after_block(asked, fighter, move, away)
        sides = stage.sides(Entry(move=IDLE, key=IDLE.id, name=IDLE.name)) if stage is not None else None
        if stage is None or sides is None:
            return HANGS
        found = self._aftermaths.setdefault(_taken(stage, *sides), HANGS + 1 + len(self._aftermaths))
        self._stages.setdefault(found, stage)
        return found

    def punished(self, aftermath: int, them: str) -> Punished:
        """The punishes that the opponent ``them`` has after it."""
        if aftermath == NEVER:
            return NOTHING
        at = (aftermath, them)
        if at not in self._punished:
            self._punished[at] = self._weigh(aftermath, self.replies(them))
        return self._punished[at]

    def _weigh(self, aftermath: int, replies: dict[str, Reply]) -> Punished:
        if aftermath == HANGS:
            return Punished(sure=frozenset(), unknown=frozenset(replies), best=None)
        said = {key: self._lands(aftermath, reply) for key, reply in replies.items()}
        sure = frozenset(key for key, word in said.items() if word == "guaranteed")
        return Punished(
            sure=sure,
            unknown=frozenset(key for key, word in said.items() if word == "unknown"),
            best=max((replies[key].damage or 0.0 for key in sure), default=None),
        )

    def _lands(self, aftermath: int, reply: Reply) -> str:
        at = (aftermath, reply.physics)
        if at not in self._met:
            self._met[at] = _word(self._stages[aftermath], reply)
        return self._met[at]


def _taken(stage: Stage, me: Side, them: Side) -> Hashable:
    """All that an exchange takes from the stage, beside the attack itself."""
    mine, theirs = (
        tuple(getattr(side, name) for name in side.__struct_fields__ if name not in PLACED) for side in (me, them)
    )
    situation = stage.situation
    where = (situation.distance, situation.nearest, situation.farthest)
    return (mine, _held_body(me), theirs, _held_body(them), physics_of(them.option), where)


def _held_body(side: Side) -> Hashable:
    """What the move that holds a side still makes of its body: windows that are not over, from the frame it is on."""
    if side.prior is None:
        return None
    return tuple(_still(getattr(side.prior, name), side.prior_frame) for name in BODY)


def _still(windows: tuple[Span | Shield, ...] | None, frame: int) -> Hashable:
    if windows is None:
        return None
    spans = [(one.span, one.to) if isinstance(one, Shield) else (one, None) for one in windows]
    return tuple((max(span.start - frame, 0), span.stop - frame, to) for span, to in spans if span.stop > frame)


def _word(stage: Stage, reply: Reply) -> str:
    """``guaranteed``, ``no`` or ``unknown``, as ``advisor exposed`` has it."""
    sides = stage.sides(reply.entry)
    if sides is None:
        return "unknown"
    me, them = sides
    if reply.first is not None and me.free_at + reply.first > them.free_at:
        return "no"
    situation = stage.situation
    met = meet(
        situation.pack.conventions, me, them, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    )  # fmt: skip
    if not met.decided:
        return "unknown"
    lands = met.by == "me" and met.effect in LANDS and met.frame is not None and met.frame <= them.free_at
    return "guaranteed" if lands and not met.breakable else "no"
