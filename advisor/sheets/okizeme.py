"""After a knockdown: what leaves them on the floor, and what covers the ways up."""

from __future__ import annotations

from collections import Counter

import msgspec
from msgspec import Struct

from advisor.errors import AdvisorError
from advisor.facts.question import Fighter, HitLanded, KnockedDown
from advisor.pack.model import UPRIGHT, CatchOutcome, Leaves, Move
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, gathered, number, percent, runs, signed, state
from advisor.sheets.desk import Desk, pictured
from advisor.sheets.model import Block, Column, Paragraph, Points, Section, Table
from advisor.studies.coverage import Coverage
from advisor.studies.coverage_answer import CoverageAnswer, Row
from advisor.studies.parries import Parries, ParriesAnswer
from advisor.units import from_micro

__all__ = ["Down", "cover_table", "coverage_blocks", "covered", "downs", "knockdowns", "worth_a_look"]

USUAL = 0.1
"""Share of the attacks from which on what a catch leads to counts as usual."""
MOST = 3
"""Knockdowns that are looked at in detail."""
ROWS = 6
"""Rows of each of their tables."""


class Down(Struct, kw_only=True, frozen=True):
    """One way of mine to put them down: a move that hit, or what a parry's catch leads to.

    Units: advantage in frames, damage in points, distance in the pack's unit; None is unknown.
    """

    name: str
    state: str
    moment: HitLanded | KnockedDown | None
    advantage: int | None
    damage: float | None
    distance: float | None
    at: float | None
    key: bool
    asks: bool
    """It needs something, ends otherwise at a wall, or few attacks lead to it."""


def downs(desk: Desk) -> list[Down]:
    """Every way, in the order of the pack. ``moment`` is None where the advantage is not recorded."""
    found: list[Down] = []
    usual = _usual_catches(desk)
    for key, move in desk.me.moves.items():
        if move.hits and move.hits[0].leaves_hit is not None:
            down = move.hits[0].leaves_hit.knockdown
            if down not in (None, UPRIGHT):
                found.append(_of_move(desk, key, move, str(down)))
        for parry in move.parry or ():
            found += [one for outcome in parry.outcomes if (one := _of_catch(desk, move, outcome, usual)) is not None]
    return found


def _usual_catches(desk: Desk) -> set[tuple[str, str | None]]:
    """Parries with those of their ends that at least ``USUAL`` of the attacks lead to."""
    try:
        answer: ParriesAnswer = desk.study("parries", Parries(me=desk.mine, them=desk.theirs, distance=desk.near()))
    except AdvisorError:
        return set()
    caught: Counter[tuple[str, str | None]] = Counter()
    for one in answer.opponents:
        caught.update({(one.parry, name): number for name, number in one.outcomes.items()})
    of: Counter[str] = Counter()
    for one in answer.opponents:
        of[one.parry] += one.moves
    return {end for end, number in caught.items() if number >= USUAL * of[end[0]]}


def _of_move(desk: Desk, key: str, move: Move, down: str) -> Down:
    hit = move.hits[0]
    left = hit.leaves_hit.distance if hit.leaves_hit else None
    near = desk.near()
    return Down(
        name=move.name, state=down, advantage=hit.on_hit, damage=hit.damage, at=near,
        moment=None if hit.on_hit is None else HitLanded(attacker="me", move=key),
        distance=_after(near, hit.pushback_hit, left), key=key in desk.me.key_moves,
        asks=move.requires is not None or _turns(hit.leaves_hit),
    )  # fmt: skip


def _turns(left: Leaves | None) -> bool:
    """Whether a wall or a floor may make something else of it."""
    return left is None or (left.wall or UPRIGHT) != UPRIGHT or (left.floor or UPRIGHT) != UPRIGHT


def _after(near: float | None, push: int | None, extra: int | None) -> float | None:
    """The distance afterwards: that of the contact, the pushback, and what the hit leaves on top."""
    if near is None or push is None:
        return None
    return round(near + from_micro(push + (extra or 0)), 6)


def _of_catch(
    desk: Desk, move: Move, outcome: CatchOutcome, usual: set[tuple[str, str | None]]
) -> Down | None:
    left = outcome.leaves
    if left is None or left.knockdown in (None, UPRIGHT):
        return None
    away = None if left.distance is None else from_micro(left.distance)
    often = (move.id, outcome.name) in usual
    name = outcome.name or in_words("a catch")
    moment = None
    if outcome.advantage is not None:
        moment = KnockedDown(floored="them", state=str(left.knockdown), frames=outcome.advantage)
    return Down(
        name=f"{name} ({move.name})", state=str(left.knockdown), advantage=outcome.advantage,
        damage=outcome.damage, moment=moment, distance=away, at=away,
        key=move.id in desk.me.key_moves,
        asks=not often or bool(move.wakes_from) or move.requires is not None or _turns(left),
    )  # fmt: skip


def worth_a_look(desk: Desk, found: list[Down]) -> list[Down]:
    """The ones to look at in detail: on the floor, a state each; key moves first, then free ones, then by damage."""
    grounded = {key for key, one in desk.pack.conventions.knockdowns.items() if one.posture == "grounded"}
    open_ = [one for one in found if one.state in grounded and one.moment is not None and one.distance is not None]
    open_.sort(key=lambda one: (one.asks, not one.key, -(one.damage or 0.0), one.name))
    first: dict[str, Down] = {}
    for one in open_:
        first.setdefault(one.state, one)
    return list(first.values())[:MOST]


def knockdowns(desk: Desk, found: list[Down]) -> Section | None:
    """Everything of mine that knocks down; None when nothing does."""
    if not found:
        return None
    order = sorted(found, key=lambda one: (one.state, -(one.advantage or 0), one.name))
    heading = desk.distances()[0][0]
    table = Table(
        caption=say(
            "What knocks down, hit at {heading}",
            heading=heading,
        ), units=desk.units(in_words("distance afterwards")),
        columns=[
            Column(in_words("Move")), Column(in_words("Knockdown")),
            Column(in_words("Advantage"), in_words("frames"), True),
            Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Distance"), desk.unit, True),
        ],
        rows=[
            [one.name, state(one.state), signed(one.advantage), number(one.damage), number(one.distance)]
            for one in order
        ],
        note=in_words(
            "Against a wall or on a floor that breaks, a move that has an effect there leaves something else."
        ),
    )  # fmt: skip
    meant = [
        f"{state(key)}: {one.meaning}" for key, one in desk.pack.conventions.knockdowns.items()
        if one.meaning and any(key == each.state for each in found)
    ]  # fmt: skip
    return Section(title=in_words("Knockdowns"), blocks=[table, *([Points(meant)] if meant else [])], fresh=True)


def covered(desk: Desk, down: Down, key: str) -> Section:
    """What covers the ways up after one of them, with its pictures. Errors: as the study's."""
    assert down.moment is not None
    theirs = desk.theirs
    ways = list(desk.pack.conventions.knockdowns[down.state].wake_ups)
    request = Coverage(
        me=desk.mine, them=theirs or Fighter(character=desk.me.id), moment=down.moment, distance=down.at, limit=ROWS,
        replies=ways if theirs is None and ways else None,
    )  # fmt: skip
    answer: CoverageAnswer = desk.study("coverage", request)
    blocks: list[Block] = []
    if theirs is None:
        blocks.append(Paragraph(in_words(
            "Set against the ways up that everybody has; a fighter's own are not in it."
        ), True))
    return Section(
        title=say("After {down} ({state})", down=down.name, state=state(down.state)),
        blocks=[*blocks, *coverage_blocks(desk, request, answer, key)],
    )


def coverage_blocks(desk: Desk, request: Coverage, answer: CoverageAnswer, key: str) -> list[Block]:
    """The situation, the table, the map, and the timing of the best row."""
    blocks: list[Block] = [Paragraph(answer.situation.sentence), cover_table(answer)]
    if not answer.rows:
        return blocks
    whole = say("Verdict of each option against each way up: {summary}.", summary=answer.summary)
    blocks += pictured(desk, "coverage", key, answer, request, in_words("Every option against every way up."), whole)
    best = answer.rows[0]
    strip = msgspec.structs.replace(request, picture="timing", row=best.option)
    name, said = f"{key}-timing", say("Timing of {best}: {sentence}", best=best.name, sentence=best.sentence)
    return [*blocks, *pictured(desk, "coverage", name, answer, strip, say(
        "{best} over every delay.",
        best=best.name,
    ), said)]


def cover_table(answer: CoverageAnswer) -> Table:
    """A row an option: how many ways up one timing covers, how wide it is, and what gets away."""
    names = {head.reply: head.name for head in answer.replies}
    mine = answer.timed_by == "me"
    chance = [Column(in_words("Comes off"), say(
        "% at a spread of {spread:g} frames",
        spread=answer.spread,
    ), True)] if answer.spread else []
    return Table(
        caption=in_words(
            "What covers most, at one timing"
        ), units=in_words("delays and widths in frames; damage in points"),
        columns=[
            Column(in_words("Option")), Column(in_words("Covers"), in_words("replies"), True),
            Column(in_words("Begin") if mine else in_words("Safe when they begin"), in_words(
                "frames late"
            ), True), Column(in_words("Width"), in_words("frames"), True),
            *chance, Column(in_words("Damage"), in_words("points"), True), Column(in_words("Loses to")),
            Column(in_words("Neither")),
            Column(in_words("Helps against these")),
        ],
        rows=[_row(row, names, bool(chance)) for row in answer.rows],
        note=say("Against {list}.", list=gathered(list(names.values()), 40)),
    )  # fmt: skip


def _row(row: Row, names: dict[str, str], chance: bool) -> list[str]:
    helps = [say(
        "{one_} ({count} of {of})",
        one_=one.name, count=len(one.covers), of=one.of,
    ) for one in row.partners[:2]]
    needs = say(" (needs {needs})", needs=', '.join(row.needs)) if row.needs else ""
    return [
        row.name + needs, say("{covered} of {of}", covered=row.covered, of=row.of), runs(row.windows) or DASH,
        str(row.width) if row.width else DASH,
        *([percent(row.success)] if chance else []), number(row.damage) if row.covered else DASH,
        gathered([names.get(key, key) for key in row.loses_to], 12),
        gathered([names.get(key, key) for key in row.left], 12), gathered(helps),
    ]  # fmt: skip
