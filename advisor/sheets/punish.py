"""What is punished after a block, by distance: theirs by me, and mine by them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import Struct

from advisor.facts.question import Fighter
from advisor.pack.model import Character, Hit
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, UNKNOWN, gathered, move_names, named_property, number, signed, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Block, Column, Paragraph, Section, Table
from advisor.studies.exposed_answer import Exposed, ExposedAnswer, ExposedMove, Punisher
from advisor.units import from_micro

__all__ = ["own_punished", "punished", "punishes"]

LOSES = "loses"
"""What the rules say of the guard of one who is punished."""


class Place(Struct, frozen=True):
    """What the study says at one distance (heading, value in the pack's unit), by move."""

    name: str
    distance: float | None
    answer: ExposedAnswer
    moves: dict[str, ExposedMove]


def punishes(desk: Desk, them: Character) -> Section:
    """Which moves of theirs I punish after a block: the best punish at each distance, and what each is good for."""
    me, theirs = desk.mine, Fighter(character=them.id)
    places = _places(desk, theirs, me)
    table = _table(desk, places, them, desk.me, say(
        "What {me} punishes of {them} after a block",
        me=desk.me.name, them=them.name,
    ), True)
    blocks: list[Block] = [
        Paragraph(
            in_words(
                "The punish of the most damage that lands before they can guard, by the distance of the contact. "
                "Frame 10 of 12: it lands on frame 10, and they are held up to frame 12."
            )
        )
    ]
    blocks += [table] if table.rows else [Paragraph(say(
        "Nothing of {them} is punished at these distances.",
        them=them.name,
    ))]
    tools = _tools(desk, places)
    if tools.rows:
        blocks.append(tools)
    return Section(title=say("Punishing {name}", name=them.name), blocks=blocks)


def punished(desk: Desk, them: Character) -> Section:
    """Which moves of mine they punish after a block."""
    places = _places(desk, desk.mine, Fighter(character=them.id))
    table = _table(desk, places, desk.me, them, say(
        "What {them} punishes of {me} after a block",
        them=them.name, me=desk.me.name,
    ), False)
    safe = _safe(desk.me, places)
    blocks: list[Block] = [table] if table.rows else []
    if safe:
        blocks.append(Paragraph(
            say(
                "Minus on block, yet nothing of {them} is fast enough and reaches at these distances: {safe}.",
                them=them.name, safe=gathered(safe, 40),
            )
        ))  # fmt: skip
    return Section(title=say("What {name} punishes", name=them.name), blocks=blocks or [Paragraph(in_words(
        "Nothing at these distances."
    ))])


def own_punished(desk: Desk) -> Section:
    """Which moves of mine anybody punishes after a block, at the nearest distance."""
    heading, near = desk.distances()[0]
    answer: ExposedAnswer = desk.study("exposed", Exposed(me=desk.mine, distance=near, limit=200))
    names = {key: one.name for key, one in desk.pack.characters.items()}
    rows = [
        [
            move.name, signed(move.advantage), say(
                "{punishers} of {of}",
                punishers=move.punishers, of=move.of,
            ), number(move.worst),
            gathered([f"{names[one.them]} ({one.name}, {number(one.damage)})" for one in move.by], 12),
        ]
        for move in answer.moves if move.by
    ]  # fmt: skip
    table = Table(
        caption=say("What opponents punish of {me} after a block, at {heading}", me=desk.me.name, heading=heading),
        units=desk.units(), rows=rows,
        columns=[
            Column(in_words("Move")), Column(in_words("On block"), in_words("frames"), True),
            Column(in_words("Punished by"), in_words("opponents"), True),
            Column(in_words("Worst"), in_words("points"), True),
            Column(in_words("Best punish of each"), in_words("damage in points")),
        ],
    )  # fmt: skip
    return Section(
        title=in_words("What is punished of yours"), blocks=[table] if rows else [Paragraph(in_words(
            "Nobody punishes a move here."
        ))]
    )


def _places(desk: Desk, owner: Fighter, punisher: Fighter) -> list[Place]:
    out = []
    for name, distance in desk.distances():
        request = Exposed(me=owner, them=punisher, distance=distance, limit=200)
        answer: ExposedAnswer = desk.study("exposed", request)
        out.append(Place(name, distance, answer, {move.move: move for move in answer.moves}))
    return out


def _table(
    desk: Desk, places: Sequence[Place], owner: Character, punisher: Character, caption: str, mine: bool
) -> Table:
    """A row a move, worst on block first; distances where nothing is punished or in doubt have no column."""
    grid: list[tuple[int, list[str]]] = []
    shown = [place for place in places if any(_telling(owner, place, key) for key in owner.moves)]
    names = move_names(desk.pack, owner, punisher)
    for key, move in owner.moves.items():
        if not any(_concerned(owner, place, key) for place in shown):
            continue
        hit = move.hits[0]
        cells = [_cell(desk, place, key, hit, names, (owner, punisher) if mine else None) for place in shown]
        reach = number(None if hit.reach is None else from_micro(hit.reach))
        grid.append((hit.on_block or 0, [move.name, signed(hit.on_block), reach, *cells]))
    grid.sort(key=lambda row: row[0])
    return Table(
        caption=caption, units=desk.units(in_words("distance at the contact")),
        columns=[
            Column(in_words("Their move") if mine else in_words("Your move")),
            Column(in_words("On block"), in_words("frames"), True),
            Column(in_words("Reach"), desk.unit, True), *(Column(say(
                "At {place}",
                place=place.name,
            ), desk.unit) for place in shown),
        ],
        rows=[cells for _, cells in grid],
        note=say(
            "{DASH} no punish; {UNKNOWN} hangs on what nobody has recorded; to 1: works up to that distance.",
            DASH=DASH, UNKNOWN=UNKNOWN,
        ),
    )  # fmt: skip


def _concerned(owner: Character, place: Place, key: str) -> bool:
    """Whether the move touches at that distance, and is punished or may be."""
    return key in place.moves and _touches(owner.moves[key].hits[0], place.distance)


def _telling(owner: Character, place: Place, key: str) -> bool:
    """Whether it gives the distance a column: what touches there only for want of a known reach does not."""
    move = place.moves.get(key)
    return _concerned(owner, place, key) and move is not None and (
        bool(move.by) or owner.moves[key].hits[0].reach is not None
    )  # fmt: skip


def _touches(hit: Hit, distance: float | None) -> bool:
    return hit.reach is None or distance is None or from_micro(hit.reach) >= distance


def _cell(
    desk: Desk, place: Place, key: str, hit: Hit, names: Mapping[str, str],
    lab: tuple[Character, Character] | None,
) -> str:
    if not _touches(hit, place.distance):
        return in_words("out of its reach")
    move = place.moves.get(key)
    if move is None:
        return DASH
    if not move.by:
        lacks = gathered([named_property(one, names) for one in move.hangs_on], 2)
        return f"{UNKNOWN} ({lacks})"
    free = [one for one in move.by if not one.needs]
    lines = [_line(one) for one in (free[:1] or move.by[:1])]
    more = move.by[0]
    if free and more.needs and (more.damage or 0) > (free[0].damage or 0):
        lines.append(_line(more))
    if lab is not None:
        found = desk.tested.against_theory(lab[1].id, lab[0].id, key, (free or move.by)[0].option, place.distance)
        if found is not None:
            lines.append(say("lab: {successes} of {tries}", successes=found.said.successes, tries=found.said.tries))
    return "\n".join(lines)


def _line(one: Punisher) -> str:
    """The punish, its damage, its frame and how far it works; what it needs; what else the rules say of it."""
    far = "" if one.works_to is None else say(", to {works_to:g}", works_to=one.works_to)
    needs = say(", needs {needs}", needs=', '.join(one.needs)) if one.needs else ""
    rules = "" if one.verdict == LOSES else say(", rules: {verdict}", verdict=word(one.verdict))
    lands = say("frame {frame} of {held_until}", frame=number(one.frame), held_until=one.held_until)
    return f"{one.name}, {number(one.damage)}\n{lands}{far}{needs}{rules}"


def _safe(owner: Character, places: Sequence[Place]) -> list[str]:
    """Moves that are minus on block and in no table: known, and punished nowhere that they touch."""
    out = []
    for key, move in owner.moves.items():
        lead = move.hits[0].on_block if move.hits else None
        if lead is not None and lead < 0 and not any(_concerned(owner, place, key) for place in places):
            out.append(f"{move.name} ({signed(lead)})")
    return out


def _tools(desk: Desk, places: Sequence[Place]) -> Table:
    """My punishes by speed at the nearest distance: how much each does and what it is the best for."""
    place = places[0]
    best: dict[str, list[str]] = {}
    all_: dict[str, int] = {}
    known: dict[str, Punisher] = {}
    for move in place.moves.values():
        for one in move.by:
            known.setdefault(one.option, one)
            all_[one.option] = all_.get(one.option, 0) + 1
        free = [one for one in move.by if not one.needs] or move.by
        if free:
            best.setdefault(free[0].option, []).append(move.name)
    order = sorted(best, key=lambda key: (known[key].frame or 0, -(known[key].damage or 0), key))
    return Table(
        caption=say("Your punishes by speed, at {place}", place=place.name), units=desk.units(),
        columns=[
            Column(in_words("Punish")), Column(in_words("Lands on"), in_words("frame"), True),
            Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Punishes"), in_words("moves"), True), Column(in_words("The most damage after")),
        ],
        rows=[
            [known[key].name, number(known[key].frame), number(known[key].damage), str(all_[key]),
             gathered(best[key], 12)]
            for key in order
        ],
    )  # fmt: skip
