"""What my parries catch, and own moves that bait a reply into one."""

from __future__ import annotations

from advisor.errors import QuestionError
from advisor.facts.question import Fighter
from advisor.pack.model import Character
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, UNKNOWN, gathered, number, percent, signed, state, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Block, Column, Section, Table
from advisor.studies.baits_model import Bait, Baits, BaitsRequest
from advisor.studies.parries import CaughtMove, CaughtString, Opponent, Parries, ParriesAnswer

__all__ = ["bait_table", "baits", "caught_table", "let_in_table", "parries", "share_table"]


def parries(desk: Desk) -> Section | None:
    """What each parry catches, of one opponent move by move or of everybody by share; None without a parry."""
    try:
        answer: ParriesAnswer = desk.study(
            "parries", Parries(me=desk.mine, them=desk.theirs, distance=desk.near())
        )
    except QuestionError:
        return None
    blocks: list[Block] = [share_table(answer)]
    if desk.them is not None:
        blocks.append(caught_table(answer, desk.unit))
        strings = let_in_table(answer, desk.them)
        blocks += [strings] if strings.rows else []
    return Section(title=say("What the parries of {name} catch", name=desk.me.name), blocks=blocks)


def share_table(answer: ParriesAnswer) -> Table:
    """How much of each opponent each parry catches."""
    return Table(
        caption=in_words("Share of attacks and strings that each parry catches"),
        units=in_words("attacks and strings counted; shares in %"),
        columns=[
            Column(in_words("Opponent")), Column(in_words("Parry")),
            Column(in_words("Active on"), in_words("own frames")),
            Column(in_words("Attacks"), in_words("caught of all"), True), Column(in_words("Share"), "%", True),
            Column(in_words("Strings"), in_words("let in of all"), True),
        ],
        rows=[_share(one) for one in answer.opponents],
        note=in_words("A share with a range: what is not recorded could add up to the second number."),
    )  # fmt: skip


def _share(one: Opponent) -> list[str]:
    sure, most = percent(one.share), percent(one.share_at_most)
    return [
        one.name, one.parry_name, one.frames, say("{caught} of {moves}", caught=one.caught, moves=one.moves),
        sure if sure == most else say("{sure} to {most}", sure=sure, most=most), say(
            "{strings_caught} of {strings}",
            strings_caught=one.strings_caught, strings=one.strings,
        ),
    ]  # fmt: skip


def caught_table(answer: ParriesAnswer, unit: str) -> Table:
    """What each catch leads to and after which moves; and what goes through."""
    names = {one.parry: one.parry_name for one in answer.opponents}
    groups: dict[tuple[str, ...], list[str]] = {}
    for row in answer.moves:
        groups.setdefault((row.parry, *_end(row)), []).append(row.name)
    return Table(
        caption=in_words("What the catch leads to"), units=say(
            "damage in points; advantage in frames; distance in {unit}",
            unit=unit,
        ),
        columns=[
            Column(in_words("Parry")), Column(in_words("End")),
            Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Advantage"), in_words("frames"), True),
            Column(in_words("Leaves")), Column(in_words("Of their moves")),
        ],
        rows=[
            [names.get(key[0], key[0]), *key[1:], f"{len(moves)}: {gathered(moves, 40)}"]
            for key, moves in groups.items()
        ],
    )  # fmt: skip


def _end(row: CaughtMove) -> tuple[str, str, str, str]:
    if row.caught is None:
        return say("{UNKNOWN} not recorded", UNKNOWN=UNKNOWN), DASH, DASH, DASH
    if not row.caught:
        return in_words(
            "goes through"
        ) if row.decision != "spared" else in_words("goes through: an exception"), DASH, DASH, DASH
    found = row.leads_to
    if found is None:
        return in_words("caught"), UNKNOWN, UNKNOWN, UNKNOWN
    away = "" if found.distance is None else say(" at {distance:g}", distance=found.distance)
    name = found.name or in_words("caught")
    return name, number(found.damage), signed(found.advantage), state(found.knockdown) + away


def let_in_table(answer: ParriesAnswer, them: Character) -> Table:
    """Strings that let a parry in: before which hit, and when to begin."""
    names = {one.parry: one.parry_name for one in answer.opponents}
    moves = {key: move.name for key, move in them.moves.items()}
    return Table(
        caption=in_words("Strings that let a parry in, the hit before it blocked"),
        units=in_words("gaps and delays in frames after the stun"),
        columns=[
            Column(in_words("String")), Column(in_words("Parry")), Column(in_words(
                "Before hit"
            ), in_words("number"), True), Column(in_words("Gap"), in_words("frames"), True),
            Column(in_words("Begin"), in_words("frames late"), True),
        ],
        rows=[
            [" > ".join(moves.get(key, key) for key in row.moves), names.get(row.parry, row.parry), *_entrance(row)]
            for row in answer.strings if row.caught and row.at
        ],
    )  # fmt: skip


def _entrance(row: CaughtString) -> list[str]:
    assert row.at is not None
    hit = row.hits[row.at - 2]
    return [str(row.at), *(_range(each) for each in (hit.gap, hit.delays))]


def _range(found: list[int] | None) -> str:
    if not found:
        return UNKNOWN
    return str(found[0]) if found[0] == found[-1] else say("{found} to {found2}", found=found[0], found2=found[-1])


def baits(desk: Desk, them: Character) -> Section | None:
    """Own moves that invite a reply which a parry (or an evasive option) takes; None when there is none."""
    request = BaitsRequest(me=desk.mine, them=Fighter(character=them.id), distance=desk.near(), limit=8)
    answer: Baits = desk.study("baits", request)
    if not answer.baits:
        return None
    return Section(title=say("Baits against {name}", name=them.name), blocks=[bait_table(answer)])


def bait_table(answer: Baits) -> Table:
    """A row a bait, best first."""
    stun = "" if answer.usual_blockstun is None else say(
        " Looks like: read with a blockstun of {usual_blockstun}.",
        usual_blockstun=answer.usual_blockstun,
    )
    return Table(
        caption=in_words("Baits: a move of yours, and what waits behind it"),
        units=say("advantage in frames; damage in points; distance in {unit}", unit=answer.unit),
        columns=[
            Column(in_words("Bait")), Column(in_words("Leaves you"), in_words("frames"), True), Column(in_words(
                "Looks like"
            ), in_words("frames"), True), Column(in_words("Then")),
            Column(in_words("Catches"), in_words("replies"), True),
            Column(in_words("Damage"), in_words("points"), True), Column(in_words("Risk"), in_words("points"), True),
            Column(in_words("Catches when"), in_words("frames on which it arrives")), Column(in_words("Goes past it")),
        ],
        rows=[_bait(one) for one in answer.baits],
        note=say("Risk: the most damage of what gets through.{stun}", stun=stun),
    )  # fmt: skip


def _bait(one: Bait) -> list[str]:
    caught = [
        f"{each.name} {each.frames.first}-{each.frames.last}" if each.frames else each.name
        for each in one.tries if each.caught
    ]  # fmt: skip
    return [
        f"{one.name} ({word(one.result)})", signed(one.advantage), DASH if one.looks is None else signed(one.looks),
        one.answer_name, say(
            "{caught} of {of}",
            caught=one.caught, of=one.of,
        ), number(one.damage), number(one.risk), gathered(caught, 6),
        gathered(one.loses_to, 6),
    ]  # fmt: skip
