"""An answer as blocks of a sheet: advice, and every study."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from advisor.advice import CAUTIONS, Advice
from advisor.advice.answer import ResponseAdvice
from advisor.sentences import in_words, say
from advisor.sheets.answers_more import (
    beats_blocks,
    defence_blocks,
    exposed_blocks,
    replay_blocks,
    round_blocks,
    setups_blocks,
)
from advisor.sheets.cells import DASH, gathered, move_names, named_property, number, signed, state, word
from advisor.sheets.desk import Desk
from advisor.sheets.lab import lab_table
from advisor.sheets.links import string_blocks
from advisor.sheets.mix import guess_blocks
from advisor.sheets.model import Block, Column, Paragraph, Points, Table
from advisor.sheets.okizeme import coverage_blocks
from advisor.sheets.parry import bait_table, caught_table, let_in_table, share_table

__all__ = ["advice_blocks", "answer_blocks"]

Blocks = Callable[[Desk, Any, Any, str], list[Block]]


def advice_blocks(desk: Desk, answer: Advice) -> list[Block]:
    """The situation and the responses in order."""
    blocks: list[Block] = [Paragraph(answer.situation.sentence), Paragraph(_ended(answer.summary))]
    if answer.responses:
        blocks.append(_responses(desk, answer))
    if answer.missing:
        fighters = (desk.pack.characters[side] for side in (answer.situation.me, answer.situation.them))
        names = move_names(desk.pack, *fighters)
        lacks = gathered([named_property(one, names) for one in answer.missing])
        blocks.append(Paragraph(say("Hangs on what nobody has recorded: {lacks}.", lacks=lacks), True))
    return blocks


def _responses(desk: Desk, answer: Advice) -> Table:
    tried = any(one.evidence is not None for one in answer.responses)
    return Table(
        caption=in_words("Responses, best first"),
        units=desk.units(in_words("window: frames on which it may be started and still win")),
        columns=[
            Column(in_words("Response")), Column(in_words("Input")), Column(in_words("Verdict")),
            Column(in_words("Wins"), in_words("replies"), True),
            Column(in_words("First"), in_words("frame"), True),
            Column(in_words("Window"), in_words("frames"), True), Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Leaves you"), in_words("frames"), True), *([Column(in_words("Lab"), in_words(
                "came off of tries"
            ), True)] if tried else []),
            Column(in_words("Why")),
        ],
        rows=[_response(one, tried) for one in answer.responses],
        note=say("Of {considered} responses weighed.", considered=answer.considered),
    )  # fmt: skip


def _response(one: ResponseAdvice, tried: bool) -> list[str]:
    lab = DASH if one.evidence is None else say(
        "{successes} of {tries}",
        successes=one.evidence.successes, tries=one.evidence.tries,
    )
    down = one.leaves.knockdown
    left = f"\n{state(down)}" if down not in (None, "none") else ""
    return [
        one.name, one.input or DASH, word(one.verdict), say("{beats} of {of}", beats=one.beats, of=one.of),
        DASH if one.first_active is None else number(one.first_active),
        DASH if one.window is None else in_words("60 or more") if one.window >= 60 else number(one.window),
        DASH if one.damage is None else number(one.damage), signed(one.leaves.advantage) + left,
        *([lab] if tried else []), one.sentence,
    ]  # fmt: skip


def answer_blocks(desk: Desk, study: str, request: Any, answer: Any, key: str) -> list[Block]:
    """The blocks of a study's answer; ``key`` names its pictures."""
    first: list[Block] = [Paragraph(_ended(answer.summary))]
    usual = {in_words(one) for one in CAUTIONS}
    notes = [one for one in answer.cautions if one not in usual]
    return [*first, *_STUDIES[study](desk, request, answer, key), *([Points(notes)] if notes else [])]


def _ended(text: str) -> str:
    return text if text.endswith((".", "?", "!", "...")) else f"{text}."


def _parries(desk: Desk, request: Any, answer: Any, key: str) -> list[Block]:
    del key
    blocks: list[Block] = [share_table(answer)]
    if request.them is not None:
        blocks.append(caught_table(answer, desk.unit))
        strings = let_in_table(answer, desk.pack.characters[request.them.character])
        blocks += [strings] if strings.rows else []
    return blocks


_STUDIES: dict[str, Blocks] = {
    "coverage": lambda desk, request, answer, key: coverage_blocks(desk, request, answer, key),
    "guess": lambda desk, request, answer, key: [
        Paragraph(answer.situation.sentence), *guess_blocks(desk, request, answer, key)
    ],
    "strings": lambda desk, _request, answer, _key: string_blocks(desk, answer),
    "parries": _parries,
    "baits": lambda _desk, _request, answer, _key: [bait_table(answer)] if answer.baits else [],
    "lab_list": lambda desk, _request, answer, _key: [lab_table(desk, answer)] if answer.items else [],
    "exposed": exposed_blocks,
    "beats": beats_blocks,
    "defence": defence_blocks,
    "setups": setups_blocks,
    "replay": replay_blocks,
    "round": round_blocks,
}
