"""Which of my moves are punishable, and by whom: frames and reach choose, the rules are asked about what is listed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct

from advisor.advice import Evaluator
from advisor.advice.answer import Missing
from advisor.facts import Entry, Question, Ready, pair_of, settle
from advisor.facts.question import Blocked, Fighter, Neutral, Whiffed
from advisor.pack.model import Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.beats_chance import LANDS
from advisor.studies.beats_range import same_over
from advisor.studies.beats_stage import Asked, Stage, after_block, after_whiff
from advisor.studies.exposed_answer import ExposedMove, Punisher
from advisor.studies.weighing import Weigher
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side
from advisor.units import from_micro

__all__ = ["Danger", "dangers", "exposed_move", "opponents"]

Entries = list[tuple[Fighter, tuple[Entry, ...]]]


class Danger(Struct, kw_only=True):
    """One move of mine: the stage after it, each opponent's punishes, and opponents that are unknown with why."""

    move: Move
    stage: Stage | None
    lead: int | None
    by: list[tuple[Fighter, list[tuple[Entry, int | None]]]]
    unknown: dict[str, set[Missing]]
    hangs_on: list[Missing]

    @property
    def worst(self) -> float | None:
        """Most damage of a punish; None when there is none, or all are of unknown damage."""
        found = [e.move.hits[0].damage for _, entries in self.by for e, _ in entries]
        return max((d for d in found if d is not None), default=None)


def opponents(pack: Pack, me: Fighter, them: Sequence[Fighter]) -> Entries:
    """The attacks that each opponent can use freely, most damage first."""
    out = []
    for fighter in them:
        situation = settle(pack, Question(me=fighter, them=me, moment=Neutral(), replies="key"))
        attacks = [e for e in situation.responses if e.move.hits]
        attacks.sort(key=lambda e: (-(e.move.hits[0].damage or 0.0), e.key))
        out.append((fighter, tuple(attacks)))
    return out


def dangers(
    pack: Pack, me: Fighter, moves: Sequence[Move], entries: Entries, when: str, distance: int, every: bool
) -> Iterator[Danger]:
    """Who punishes each of my moves; with ``every`` all punishes of an opponent, else the one of most damage."""
    asked = Asked(pack=pack, them=me, distance=distance)
    for move in moves:
        yield _danger(asked, move, entries, when, every)


def _danger(asked: Asked, move: Move, entries: Entries, when: str, every: bool) -> Danger:
    level = asked.pack.conventions.levels.get(move.hits[0].level or "")
    danger = Danger(move=move, stage=None, lead=None, by=[], unknown={}, hangs_on=[])
    if when == "after_block":
        danger.lead = move.hits[0].on_block
        if level is not None and not level.blocked_by:
            return danger
        stage = after_block(asked, entries[0][0], move, asked.distance) if entries else None
    else:
        stage = after_whiff(asked, entries[0][0], move) if entries else None
        free = stage.situation.free.them_free if stage else None
        danger.lead = None if free is None else -free
    if danger.lead is None:
        danger.hangs_on = [Missing(move=move.id, property="on_block" if when == "after_block" else "recovery")]
        return danger
    if stage is None or danger.lead >= 0:
        return danger
    danger.stage = stage
    for fighter, attacks in entries:
        found, lacks = _punishes(stage, attacks, every)
        if found:
            danger.by.append((fighter, found))
        elif lacks:
            danger.unknown[fighter.character] = lacks
    return danger


def _punishes(
    stage: Stage, attacks: Sequence[Entry], every: bool
) -> tuple[list[tuple[Entry, int | None]], set[Missing]]:
    """The attacks that land before I can act with their frame, and what those that may hang on."""
    situation = stage.situation
    found: list[tuple[Entry, int | None]] = []
    lacks: set[Missing] = set()
    for entry in attacks:
        sides = stage.sides(entry)
        if sides is None:
            continue
        me, them = sides
        first = entry.move.hits[0].first_active
        if first is not None and me.free_at + first > them.free_at:
            continue
        met = meet(
            situation.pack.conventions, me, them, situation.distance,
            nearest=situation.nearest, farthest=situation.farthest,
        )
        if not met.decided:
            lacks |= {_named(path, entry, stage) for path in met.missing}
        elif met.by == "me" and met.effect in LANDS and met.frame is not None and met.frame <= them.free_at:
            if met.breakable:
                continue
            found.append((entry, met.frame))
            if not every:
                break
    return found, lacks


def _named(path: str, entry: Entry, stage: Stage) -> Missing:
    """A property as the lab list names it: of their attack, or of my move."""
    role, name = path.split(".", 1)
    if path == "situation.distance" and "moment.pushback" in stage.situation.missing:
        return Missing(move=stage.step.id, property="pushback")
    if role == "situation":
        return Missing(move="", property=name)
    if role == "mine":
        return Missing(move=entry.move.id, property=name)
    return Missing(move=stage.step.id, property=name.removeprefix("prior."))


def exposed_move(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, me: Fighter, danger: Danger, of: int, when: str, limit: int
) -> ExposedMove:
    """The row of one move of mine, each listed punish put before the rules from my side."""
    by = [
        _punisher(pack, rules, evaluator, me, danger, fighter, entry, frame)
        for fighter, entries in danger.by
        for entry, frame in entries[:limit]
    ]
    by.sort(key=lambda p: (-(p.damage or 0.0), p.frame or 0, p.them, p.option))
    hangs = sorted({m for lacks in danger.unknown.values() for m in lacks} | set(danger.hangs_on))
    return ExposedMove(
        move=danger.move.id, name=danger.move.name, advantage=danger.lead,
        punishers=len(danger.by), unknown=len(danger.unknown) + (of if danger.hangs_on else 0), of=of,
        worst=danger.worst, by=by, hangs_on=hangs, sentence=_sentence(danger, by, hangs, when),
    )


def _punisher(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, me: Fighter, danger: Danger, fighter: Fighter, entry: Entry,
    frame: int | None,
) -> Punisher:
    stage = danger.stage
    assert stage is not None
    theirs = stage.situation
    at = theirs.distance if stage.when == "after_whiff" else None
    start = at if at is not None else (None if theirs.distance is None else theirs.distance + stage.shift)
    kind = Whiffed if stage.when == "after_whiff" else Blocked
    situation = settle(
        pack,
        Question(
            me=me, them=fighter, moment=kind(attacker="me", move=danger.move.id),
            distance=None if start is None else from_micro(start),
            responses=[stage.theirs.key], replies=[entry.key],
        ),
    )
    weigher = Weigher(situation, rules, evaluator)
    pair = pair_of(
        situation, Ready(situation, situation.responses[0], "mine"), Ready(situation, situation.replies[0], "theirs")
    )
    judged = weigher.judge([pair])[0]
    sides = stage.sides(entry)
    return Punisher(
        them=fighter.character, option=entry.key, name=entry.name, frame=frame, held_until=-(danger.lead or 0),
        damage=entry.move.hits[0].damage, works_to=None if sides is None else _works_to(stage, *sides),
        needs=list(entry.unmet), verdict=judged.verdict, sentence=weigher.why(pair, judged)[1],
    )


def _works_to(stage: Stage, me: Side, them: Side) -> float | None:
    """The distance (at the contact after a block, at the start after a miss) up to which the punish lands."""
    situation = stage.situation
    if situation.distance is None:
        return None

    def same(met: Exchange) -> bool:
        return met.by == "me" and met.effect in LANDS and met.frame is not None and met.frame <= them.free_at

    found = same_over(situation.pack.conventions, me, them, situation.distance, same)
    return None if found is None or found[1] is None else round(from_micro(found[1] + stage.shift), 4)


def _sentence(danger: Danger, by: Sequence[Punisher], hangs: Sequence[Missing], when: str) -> str:
    name, lead = danger.move.name, danger.lead
    what = in_words("Blocked") if when == "after_block" else in_words("Missed")
    if lead is None and not hangs:
        return say("No guard stops {name}.", name=name)
    if lead is None:
        props = ", ".join(m.property.replace("_", " ") for m in hangs)
        return say("{what}, {name} hangs on {props}.", what=what, name=name, props=props)
    if lead >= 0:
        return say("{what}, {name} leaves you {lead:+d}.", what=what, name=name, lead=lead)
    if not by:
        rest = in_words("a punish hangs on data") if hangs else in_words("nothing is fast enough and reaches")
        return say("{what}, {name} leaves you {lead:+d}; {rest}.", what=what, name=name, lead=lead, rest=rest)
    best = by[0]
    damage = say(", {damage:g} damage", damage=best.damage) if best.damage is not None else ""
    return say(
        "{what}, {name} leaves you {lead:+d}: {best} lands on frame {frame}{damage}.",
        what=what, name=name, lead=lead, best=best.name, frame=best.frame, damage=damage,
    )
