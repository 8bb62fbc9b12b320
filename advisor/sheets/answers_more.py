"""Answers of the studies that a usual sheet does not ask, and tables of what of mine loses."""

from __future__ import annotations

from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, gathered, number, percent, runs, signed, word
from advisor.sheets.desk import Desk, pictured
from advisor.sheets.model import Block, Column, Paragraph, Points, Table
from advisor.studies.beats_answer import Beats, BeatsAnswer
from advisor.studies.defence_answer import DefenceAnswer
from advisor.studies.exposed_answer import Exposed, ExposedAnswer
from advisor.studies.replay import Replay
from advisor.studies.replay_answer import ReplayAnswer
from advisor.studies.round_answer import Round, RoundAnswer
from advisor.studies.setups_model import Setups

__all__ = ["beats_blocks", "defence_blocks", "exposed_blocks", "replay_blocks", "round_blocks", "setups_blocks"]


def exposed_blocks(desk: Desk, request: Exposed, answer: ExposedAnswer, key: str) -> list[Block]:
    """Moves and who punishes them, or options that lose to one of theirs."""
    del request, key
    at = say("at {distance:g} {unit}", distance=answer.distance, unit=answer.unit)
    blocks: list[Block] = []
    if answer.moves:
        blocks.append(Table(
            caption=say("Moves that are punished, {at}", at=at), units=desk.units(),
            columns=[
                Column(in_words("Move")), Column(in_words("Advantage"), in_words("frames"), True),
                Column(in_words("Punished by"), in_words("opponents"), True),
                Column(in_words("Worst"), in_words("points"), True), Column(in_words("Punishes")),
            ],
            rows=[
                [
                    one.name, signed(one.advantage), say("{punishers} of {of}", punishers=one.punishers, of=one.of),
                    number(one.worst) if one.by else DASH,
                    gathered([say(
                        "{by} (frame {frame}, {damage})",
                        by=by.name, frame=number(by.frame), damage=number(by.damage),
                    ) for by in one.by], 5)
                    if one.by else one.sentence,
                ]
                for one in answer.moves
            ],
        ))  # fmt: skip
    if answer.lost:
        blocks.append(Table(
            caption=say(
                "Options of yours that lose, {at}",
                at=at,
            ), units=desk.units(in_words("delays of theirs in frames")),
            columns=[
                Column(in_words("Option")), Column(in_words("Verdict")), Column(in_words("At once")),
                Column(in_words("On delays"), in_words("frames"), True),
                Column(in_words("Taken"), in_words("points"), True), Column(in_words("Why")),
            ],
            rows=[
                [one.name, word(one.verdict), word(one.at_once), runs(one.delays), number(one.taken), one.sentence]
                for one in answer.lost
            ],
        ))  # fmt: skip
    return blocks


def beats_blocks(desk: Desk, request: Beats, answer: BeatsAnswer, key: str) -> list[Block]:
    """Everything of mine that answers it, by the moment of its life."""
    del request, key
    names = [one.name for one in answer.targets]
    table = Table(
        caption=say(
            "What beats {names}, at {distance:g} {unit}",
            names=gathered(names), distance=answer.distance, unit=answer.unit,
        ), units=desk.units(),
        columns=[
            Column(in_words("Option")), Column(in_words("Whose")), Column(in_words("When")),
            Column(in_words("Verdict")), Column(in_words("Covers"), in_words("options"), True),
            Column(in_words("Delay"), in_words("frames"), True),
            Column(in_words("Window"), in_words("frames"), True), Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Why")),
        ],
        rows=[
            [
                one.name, desk.pack.characters[one.character].name, word(one.when), word(one.verdict),
                say("{covers} of {of}", covers=one.covers, of=one.of), DASH if one.delay is None else number(one.delay),
                DASH if one.window is None else number(one.window), DASH if one.damage is None else number(one.damage),
                one.cells[0].sentence if one.cells else DASH,
            ]
            for one in answer.rows
        ],
    )  # fmt: skip
    blocks: list[Block] = [Paragraph(one.sentence) for one in answer.targets]
    return [*blocks, table, *([Points([one.sentence for one in answer.open])] if answer.open else [])]


def defence_blocks(desk: Desk, request: object, answer: DefenceAnswer, key: str) -> list[Block]:
    """Composite options: what one frame covers, and what beats it."""
    del request, key
    switch = answer.mode == "defend"
    table = Table(
        caption=in_words("Layered defence") if switch else in_words("Safe pressure"), units=desk.units(),
        columns=[
            Column(in_words("Option")), Column(in_words("Covers"), in_words("options"), True),
            Column(in_words("Switch on") if switch else in_words("Delay"), in_words("frame"), True),
            Column(in_words("Width"), in_words("frames"), True),
            Column(in_words("Not covered")), Column(in_words("Beaten by")),
        ],
        rows=[
            [
                one.name, say("{covers} of {of}", covers=one.covers, of=one.of), str(one.at),
                str(max((window.width for window in one.windows), default=0)),
                gathered(_replies(answer, one.not_covered)), gathered([by.name for by in one.beaten_by]),
            ]
            for one in answer.rows
        ],
    )  # fmt: skip
    alone = [say(
        "{one_} held alone covers {covers} of {of}",
        one_=one.name, covers=one.covers, of=one.of,
    ) for one in answer.alone]
    return [table, *([Points(alone)] if alone else [])]


def _replies(answer: DefenceAnswer, keys: list[str]) -> list[str]:
    names = {cell.reply: cell.name for row in answer.rows for cell in row.cells}
    return [names.get(key, key) for key in keys]


def setups_blocks(desk: Desk, request: object, answer: Setups, key: str) -> list[Block]:
    """Sequences that meet the ways up."""
    del request, key
    table = Table(
        caption=in_words("Sequences, begun as soon as the one before is over"), units=desk.units(),
        columns=[
            Column(in_words("Sequence")), Column(in_words("Used"), in_words("frames"), True),
            Column(in_words("Touches from"), in_words("frame"), True),
            Column(in_words("Covers"), in_words(
                "ways up"
            ), True), Column(in_words("Width"), in_words("frames"), True),
            Column(in_words("Damage"), in_words("points"), True),
            Column(in_words("Loses to")),
        ],
        rows=[
            [
                " > ".join(one.names), str(one.used), number(one.touches_from), say(
                    "{covered} of {of}",
                    covered=one.covered, of=one.of,
                ),
                str(one.width), number(one.damage), gathered(one.loses_to),
            ]
            for one in answer.setups
        ],
        note="" if answer.complete else in_words("A bound on the work was hit: there may be others."),
    )  # fmt: skip
    return [Paragraph(answer.sentence), *([table] if answer.setups else [])]


def replay_blocks(desk: Desk, request: Replay, answer: ReplayAnswer, key: str) -> list[Block]:
    """The strip, and what happens on which frame."""
    said = say("Frame by frame: {summary}", summary=answer.summary)
    table = Table(
        caption=in_words("What happens"), units=in_words("frames of the common clock"),
        columns=[Column(in_words("Frame"), in_words("frame"), True), Column(in_words("Who")), Column(in_words("What"))],
        rows=[
            [str(one.frame) if one.last == one.frame else say(
                "{frame} to {last}",
                frame=one.frame, last=one.last,
            ), in_words(one.by), one.sentence]
            for one in answer.events
        ],
    )  # fmt: skip
    return [*pictured(desk, "replay", key, answer, request, answer.summary, said), *([table] if table.rows else [])]


def round_blocks(desk: Desk, request: Round, answer: RoundAnswer, key: str) -> list[Block]:
    """Chances to win from each situation, the mix in the one that is shown, and the healths that matter."""
    names = {True: in_words("Yours"), False: in_words("Theirs")}
    chances = Table(
        caption=say(
            "Chance to win at {my_health:g} against {their_health:g} points",
            my_health=answer.my_health, their_health=answer.their_health,
        ), units=in_words(
            "chances in %"
        ),
        columns=[
            Column(in_words("Situation")), Column(in_words("At least"), "%", True),
            Column(in_words("At most"), "%", True), Column(in_words(
                "What it is"
            )),
        ],
        rows=[[word(one.name), percent(one.lower), percent(one.upper), one.sentence] for one in answer.chances],
    )  # fmt: skip
    mixes = [
        Table(
            caption=say(
                "{names}, {situation}: how often",
                names=names[mine], situation=word(answer.stand.situation),
            ), units=in_words("shares in %"),
            columns=[Column(in_words("Option")), Column(in_words("Share"), "%", True)],
            rows=[[one.name, percent(one.share)] for one in options if one.share > 0],
        )
        for mine, options in ((True, answer.mine), (False, answer.theirs))
    ]  # fmt: skip
    said = say("Chance to win over both healths: {summary}", summary=answer.summary)
    turns = [one.sentence for one in answer.thresholds]
    return [
        chances, *(one for one in mixes if one.rows),
        *pictured(desk, "round", key, answer, request, answer.summary, said), *([Points(turns)] if turns else []),
    ]  # fmt: skip
