"""The frame table of a fighter: key moves, or everything."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.pack.model import Character, Hit, Move, Pack
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, UNKNOWN, number, pack_word, signed, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Column, Paragraph, Section, Table
from advisor.units import from_micro

__all__ = ["every_move", "frame_row", "frame_table", "key_moves"]


def key_moves(desk: Desk, fighter: Character) -> Section:
    """The key moves of a fighter, or all of them where the pack names none."""
    chosen = [fighter.moves[key] for key in fighter.key_moves if key in fighter.moves]
    blocks = [Paragraph(fighter.about)] if fighter.about else []
    return Section(
        title=say("Key moves of {name}", name=fighter.name),
        blocks=[*blocks, frame_table(desk, in_words("Frames"), chosen or fighter.moves.values())],
    )


def every_move(desk: Desk, fighter: Character) -> Section:
    """All moves of a fighter in the order of the pack."""
    table = frame_table(desk, in_words("Frames"), fighter.moves.values())
    return Section(title=say("Every move of {name}", name=fighter.name), blocks=[table], fresh=True)


def frame_table(desk: Desk, caption: str, moves: Iterable[Move]) -> Table:
    """A row a move. Numbers are those of its first hit; levels and damages of all hits are listed."""
    return Table(
        caption=caption,
        units=desk.units(in_words("first: the first frame that can touch"), in_words(
            "on block, hit and counter-hit: advantage in frames"
        )),
        columns=[
            Column(in_words("Move")), Column(in_words("Input")), Column(in_words("Level")),
            Column(in_words("First"), in_words("frame"), True),
            Column(in_words("Active"), in_words("frames"), True),
            Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("On block"), in_words("frames"), True),
            Column(in_words("On hit"), in_words("frames"), True),
            Column(in_words("On counter-hit"), in_words("frames"), True),
            Column(in_words("Reach"), desk.unit, True), Column(in_words("Remarks")),
        ],
        rows=[frame_row(desk.pack, move) for move in moves],
        note=say("{UNKNOWN} is not recorded, {DASH} does not apply.", UNKNOWN=UNKNOWN, DASH=DASH),
    )  # fmt: skip


def frame_row(pack: Pack, move: Move) -> list[str]:
    """The cells of one move; a move that does not attack has a dash where only attacks have a number."""
    hit = move.hits[0] if move.hits else None
    levels = ", ".join(dict.fromkeys(pack_word(one.level) if one.level else UNKNOWN for one in move.hits))
    numbers = [DASH] * 7 if hit is None else _numbers(pack, move, hit)
    return [move.name, move.input or DASH, levels or word(move.kind), *numbers, _remarks(move)]


def _numbers(pack: Pack, move: Move, hit: Hit) -> list[str]:
    level = pack.conventions.levels.get(hit.level or "")
    unblockable = level is not None and not level.blocked_by
    active = None if hit.active_stop is None or hit.first_active is None else hit.active_stop - hit.first_active
    return [
        number(hit.first_active), number(active), " + ".join(number(one.damage) for one in move.hits),
        DASH if unblockable else signed(hit.on_block), signed(hit.on_hit), signed(hit.on_counter_hit),
        number(None if hit.reach is None else from_micro(hit.reach)),
    ]  # fmt: skip


def _remarks(move: Move) -> str:
    """Tags, special windows, what it asks for and what it leaves, in a line."""
    said = [pack_word(tag) for tag in sorted(move.tags | {tag for hit in move.hits for tag in hit.tags or ()})]
    windows = {
        in_words("crouching"): move.crouching, in_words("in the air"): move.airborne,
        in_words("parry"): tuple(parry.span for parry in move.parry or ()),
        in_words("invulnerable"): tuple(shield.span for shield in move.invulnerable or ()),
        in_words("armour"): tuple(armour.span for armour in move.armour or ()),
    }  # fmt: skip
    said += [say(
        "{name} on {spans}",
        name=name, spans=', '.join(span.shown() for span in spans),
    ) for name, spans in windows.items() if spans]
    needs = move.requires
    if needs is not None:
        asked = {
            say("stance {stance}", stance=pack_word(needs.stance or "")): needs.stance is not None,
            in_words("the back turned"): needs.back_turned is True, in_words("a wall near by"): needs.near_wall is True,
            say("health below {limit:g}", limit=needs.health_below or 0): bool(needs.health_below),
            say("{price} meter", price=needs.meter or 0): bool(needs.meter),
            in_words("the move before it"): needs.follows,
        }  # fmt: skip
        said += [say("needs {name}", name=name) for name, there in asked.items() if there]
    if move.cost:
        said.append(say("costs {cost} meter", cost=move.cost))
    leaves = move.hits[0].leaves_hit if move.hits else None
    if leaves is not None and leaves.knockdown not in (None, "none"):
        said.append(say("knocks down ({knockdown})", knockdown=pack_word(leaves.knockdown or "")))
    return "; ".join(said) or DASH
