"""What was tested, what is unknown, and what to do next in the lab."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.advice.evidence import Evidence
from advisor.notebook.next_lab import NextLab
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, gathered, move_names, number, pack_word, percent, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Block, Column, Paragraph, Points, Section, Table
from advisor.studies.gaps_in_data import LabList, LabListAnswer

__all__ = ["lab_table", "next_steps", "trials", "unknown"]

SHOWN = 12


def trials(desk: Desk) -> Section:
    """The trials of the notebook with their intervals, those that contradict theory first."""
    rows = sorted(desk.tested.rows, key=lambda row: row.said.contradiction is None)
    if not rows:
        return Section(title=in_words("What was tested"), blocks=[Paragraph(in_words("No trial is written down yet."))])
    names = move_names(desk.pack, desk.me, *([desk.them] if desk.them else []), *desk.pack.characters.values())
    table = Table(
        caption=in_words("Trials beside theory"), units=in_words("tries counted; chances in %, of the 95 % interval"),
        columns=[
            Column(in_words("Situation")), Column(in_words("Option")), Column(in_words("Against")), Column(in_words(
                "Came off"
            ), in_words("of tries"), True),
            Column(in_words("Chance"), "%", True), Column(in_words("Theory")), Column(in_words("Agreement")),
        ],
        rows=[
            [
                row.sentence, _name(names, row.option), DASH if row.reply is None else _name(names, row.reply),
                say("{successes} of {tries}", successes=row.said.successes, tries=row.said.tries), say(
                    "{low} to {high}",
                    low=percent(row.said.low), high=percent(row.said.high),
                ),
                word(row.verdict), _agreement(row.said, row.older),
            ]
            for row in rows
        ],
    )  # fmt: skip
    against = sum(row.said.contradiction is not None for row in rows)
    said = [Paragraph(say(
        "{against} of {count} contradict theory.",
        against=against, count=len(rows),
    ))] if against else []
    return Section(title=in_words("What was tested"), blocks=[*said, table], fresh=True)


def _name(names: Mapping[str, str], key: str) -> str:
    """The name behind an id; ``id@n`` is a follow-up on frame n."""
    option, at, frame = key.partition("@")
    return f"{names.get(option, option)}{at}{frame}"


def _agreement(said: Evidence, older: bool) -> str:
    found = said.contradiction
    words = in_words("agrees or leaves it open")
    if found is not None:
        words = say(
            "contradicts theory; the lab decides: {follow}",
            follow=word(found.follow),
        ) if found.decisive else in_words(
            "contradicts theory"
        )
    return say("{words}; some on other data", words=words) if older else words


def unknown(desk: Desk) -> Section:
    """The properties nobody has recorded that my punishes hang on, most valuable first."""
    request = LabList(me=desk.mine, them=desk.theirs, distance=desk.near(), limit=SHOWN)
    answer: LabListAnswer = desk.study("lab_list", request)
    if not answer.items:
        return Section(title=in_words("What is unknown"), blocks=[Paragraph(in_words(
            "No punish hangs on anything that is not recorded."
        ))])
    whom = say(" of {them}", them=desk.them.name) if desk.them else ""
    table = lab_table(desk, answer)
    first = Paragraph(say(
        "Of {answers} punishes{whom} that were looked at, {undecided} are undecided.",
        answers=answer.answers, whom=whom, undecided=answer.undecided,
    ))
    return Section(title=in_words("What is unknown"), blocks=[first, table])


def lab_table(desk: Desk, answer: LabListAnswer) -> Table:
    """A row a property."""
    names = {key: one.name for key, one in desk.pack.characters.items()}
    return Table(
        caption=in_words("What to measure, most valuable first"), units=in_words("answers counted"),
        columns=[
            Column(in_words("Property")), Column(in_words("Of")), Column(in_words("Whose")),
            Column(in_words("Answers"), in_words("hang on it"), True),
            Column(in_words("Alone"), in_words("on nothing else"), True), Column(in_words("For example")),
        ],
        rows=[
            [
                pack_word(one.property), one.name or DASH, names.get(one.character, DASH), str(one.answers),
                str(one.alone), gathered(one.examples, 3),
            ]
            for one in answer.items
        ],
        note=say(
            "{properties} more.",
            properties=answer.properties - len(answer.items),
        ) if answer.properties > len(answer.items) else "",
    )  # fmt: skip


def next_steps(found: NextLab) -> Section:
    """What to do next for a study set, by the damage that knowing it brings."""
    blocks: list[Block] = [Paragraph(found.summary)]
    if found.items:
        blocks.append(Table(
            caption=say("Next in the lab, {tries} tries each", tries=found.tries), units=in_words(
                "worth in damage, points; chances in %"
            ),
            columns=[
                Column(in_words("What")), Column(in_words("Worth"), in_words("points"), True),
                Column(in_words("Changes the choice"), "%", True),
                Column(in_words("For"), in_words("entries")), Column(in_words("In words")),
            ],
            rows=[
                [
                    one.what, number(round(one.value, 3)), percent(one.chance),
                    gathered([share.entry for share in one.entries if share.value > 0]), one.sentence,
                ]
                for one in found.items
            ],
        ))  # fmt: skip
    if found.left_out:
        blocks += [Paragraph(in_words(
            "Left out:"
        ), True), Points([f"{one.what} ({one.reason})" for one in found.left_out])]
    blocks += [Paragraph(one, True) for one in found.cautions]
    return Section(title=in_words("Next in the lab"), blocks=blocks)
