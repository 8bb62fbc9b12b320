"""The frame table of a fighter: key moves, or everything."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.pack.model import Character, Hit, Move, Pack
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, UNKNOWN, number, signed, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Column, Paragraph, Section, Table
from advisor.units import from_micro

__all__ = ["every_move", "frame_row", "frame_table", "key_moves"]


def key_moves(desk: Desk, fighter: Character) -> Section:
    """The key moves of a fighter, or all of them where the pack names none."""
    chosen = [fighter.moves[key] for key in fighter.key_moves if key in fighter.moves]
    blocks = [Paragraph(fighter.about)] if fighter.about else []
    return Section(
        title=f"Key moves of {fighter.name}",
        blocks=[*blocks, frame_table(desk, "Frames", chosen or fighter.moves.values())],
    )


def every_move(desk: Desk, fighter: Character) -> Section:
    """All moves of a fighter in the order of the pack."""
    table = frame_table(desk, "Frames", fighter.moves.values())
    return Section(title=f"Every move of {fighter.name}", blocks=[table], fresh=True)


def frame_table(desk: Desk, caption: str, moves: Iterable[Move]) -> Table:
    """A row a move. Numbers are those of its first hit; levels and damages of all hits are listed."""
    return Table(
        caption=caption,
        units=desk.units(in_words("first: the first frame that can touch"), in_words(
            "on block, hit and counter-hit: advantage in frames"
        )),
        columns=[
            Column("Move"), Column("Input"), Column("Level"), Column("First", "frame", True),
            Column("Active", "frames", True), Column("Damage", "points", True), Column("On block", "frames", True),
            Column("On hit", "frames", True), Column("On counter-hit", "frames", True),
            Column("Reach", desk.unit, True), Column("Remarks"),
        ],
        rows=[frame_row(desk.pack, move) for move in moves],
        note=say("{UNKNOWN} is not recorded, {DASH} does not apply.", UNKNOWN=UNKNOWN, DASH=DASH),
    )  # fmt: skip


def frame_row(pack: Pack, move: Move) -> list[str]:
    """The cells of one move; a move that does not attack has a dash where only attacks have a number."""
    hit = move.hits[0] if move.hits else None
    levels = ", ".join(dict.fromkeys(word(one.level) if one.level else UNKNOWN for one in move.hits))
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
    said = [word(tag) for tag in sorted(move.tags | {tag for hit in move.hits for tag in hit.tags or ()})]
    windows = {
        "crouching": move.crouching, "in the air": move.airborne,
        "parry": tuple(parry.span for parry in move.parry or ()),
        "invulnerable": tuple(shield.span for shield in move.invulnerable or ()),
        "armour": tuple(armour.span for armour in move.armour or ()),
    }  # fmt: skip
    said += [say(
        "{name} on {spans}",
        name=name, spans=', '.join(span.shown() for span in spans),
    ) for name, spans in windows.items() if spans]
    needs = move.requires
    if needs is not None:
        asked = {
            f"stance {word(needs.stance or '')}": needs.stance is not None, "back turned": needs.back_turned is True,
            "a wall": needs.near_wall is True, f"health below {needs.health_below or 0:g}": bool(needs.health_below),
            f"meter {needs.meter or 0}": bool(needs.meter), "the move before it": needs.follows,
        }  # fmt: skip
        said += [say("needs {name}", name=name) for name, there in asked.items() if there]
    if move.cost:
        said.append(say("costs {cost} meter", cost=move.cost))
    leaves = move.hits[0].leaves_hit if move.hits else None
    if leaves is not None and leaves.knockdown not in (None, "none"):
        said.append(say("knocks down ({knockdown})", knockdown=word(leaves.knockdown or '')))
    return "; ".join(said) or DASH
