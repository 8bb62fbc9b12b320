"""Strings: which steps jail, where the gaps are, and what fits in them."""

from __future__ import annotations

from advisor.pack.model import Character
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, UNKNOWN, gathered, pack_word, runs, word
from advisor.sheets.desk import Desk
from advisor.sheets.model import Block, Column, Paragraph, Section, Table
from advisor.studies.strings import StringsRequest
from advisor.studies.strings_answer import Fit, StringLink, StringMix, StringsAnswer

__all__ = ["gap_table", "mix_table", "string_blocks", "string_table", "their_strings", "your_strings"]

SHOWN = 5
"""Options that a gap lists."""


def their_strings(desk: Desk, them: Character) -> Section | None:
    """The strings that I face, with what of mine fits in the gaps; None when they have none."""
    request = StringsRequest(character=them.id, them=desk.mine, distance=desk.near(), limit=SHOWN)
    answer: StringsAnswer = desk.study("strings", request)
    if not answer.strings:
        return None
    return Section(title=say("Strings of {name}, and their gaps", name=them.name), blocks=string_blocks(desk, answer))


def your_strings(desk: Desk) -> Section | None:
    """My own strings: where they jail, and where they leave a gap to whoever faces them; None without any."""
    request = StringsRequest(character=desk.me.id, them=desk.theirs, distance=desk.near(), limit=SHOWN)
    answer: StringsAnswer = desk.study("strings", request)
    if not answer.strings:
        return None
    whom = desk.them.name if desk.them else in_words("anybody: only what every fighter can do is tried")
    note = Paragraph(say("What fits in the gaps is for {whom}.", whom=whom), note=True)
    return Section(title=say("Strings of {name}", name=desk.me.name), blocks=[*string_blocks(desk, answer), note])


def string_blocks(desk: Desk, answer: StringsAnswer) -> list[Block]:
    """The strings, the gaps when they are blocked, and the mix-ups."""
    blocks: list[Block] = [string_table(desk, answer)]
    gaps = gap_table(desk, answer)
    if gaps.rows:
        blocks.append(gaps)
    return [*blocks, *(mix_table(desk, answer, mix) for mix in answer.mixups)]


def string_table(desk: Desk, answer: StringsAnswer) -> Table:
    """A row a string, with a word for each of its steps."""
    caption = in_words("Strings") if answer.distance is None else say(
        "Strings, first contact at {distance:g} {unit}",
        distance=answer.distance, unit=desk.unit,
    )
    return Table(
        caption=caption, units=in_words("gaps in frames between the end of the stun and the next hit"),
        columns=[Column(in_words("String")), Column(in_words("Levels")), Column(in_words("Blocked")),
        Column(in_words("On hit")), Column(in_words("On counter-hit"))],
        rows=[
            [
                " > ".join(line.names), ", ".join(pack_word(level) if level else UNKNOWN for level in line.levels),
                *("; ".join(steps) or DASH for steps in (line.on_block, line.on_hit, line.on_counter_hit)),
            ]
            for line in answer.strings
        ],
        note="" if answer.complete else in_words("There are more strings than are listed."),
    )  # fmt: skip


def gap_table(desk: Desk, answer: StringsAnswer) -> Table:
    """What fits after a blocked hit; verdicts are for the side that faces the string."""
    names = {key: name for line in answer.strings for key, name in zip(line.moves, line.names, strict=True)}
    links = [link for link in answer.links if link.on == "block" and link.word not in ("jails", "misses")]
    return Table(
        caption=in_words("What fits in the gaps, when the hit before is blocked"),
        units=desk.units(in_words("delays in frames after the stun")),
        columns=[Column(in_words("Step")), Column(in_words("Arrives"), in_words("frames")),
        Column(in_words("Gap"), in_words("frames")), Column(in_words("What fits"))],
        rows=[
            [
                " > ".join([*(names.get(key, key) for key in link.after), link.name]),
                link.arrives.shown() if link.arrives else UNKNOWN, link.gap.shown() if link.gap else UNKNOWN,
                _fits(link),
            ]
            for link in links
        ],
    )  # fmt: skip


def _fits(link: StringLink) -> str:
    if not link.fits:
        lacks = gathered([say(
            "{property} of {move}",
            property=pack_word(one.property), move=one.move,
        ) for one in link.hangs_on], 3)
        return say("{UNKNOWN} hangs on {lacks}", UNKNOWN=UNKNOWN, lacks=lacks) if link.hangs_on else say(
            "none of {weighed} options",
            weighed=link.weighed,
        )
    lines = [_fit(fit, link) for fit in link.fits]
    left = link.fitting - len(link.fits)
    return "\n".join([*lines, say("and {left} more", left=left)] if left > 0 else lines)


def _fit(fit: Fit, link: StringLink) -> str:
    said = [word(fit.verdict), *(word(tag) for tag in fit.tags if tag != "gap")]
    if link.arrives is not None and link.arrives.width > 1 and not fit.against_all:
        said.append(say("only when it arrives on {arrives}", arrives=runs(fit.arrives)))
    if any(run.last for run in fit.delays):
        said.append(say("delay {delays}", delays=runs(fit.delays)))
    if fit.damage:
        said.append(say("damage {damage:g}", damage=fit.damage))
    return f"{fit.name}: {', '.join(said)}"


def mix_table(desk: Desk, answer: StringsAnswer, mix: StringMix) -> Table:
    """One choice between enders: a row a defence, a column an ender, the verdict for whoever defends."""
    del desk
    names = {key: name for line in answer.strings for key, name in zip(line.moves, line.names, strict=True)}
    after = " > ".join(names.get(key, key) for key in mix.after)
    return Table(
        caption=say(
            "Mix-up after {after} ({on})",
            after=after, on=word(mix.on),
        ), units=in_words("stops: enders stopped, of all"),
        columns=[
            Column(in_words("Defence")), Column(in_words("Stops"), in_words("enders"), True),
            *(Column(f"{one.name} ({pack_word(one.level) if one.level else UNKNOWN})") for one in mix.choices),
        ],
        rows=[
            [one.name, say(
                "{stops} of {of}",
                stops=one.stops, of=one.of,
            ), *_verdicts({c.move: c.verdict for c in one.cells}, mix)]
            for one in mix.answers
        ],
        note=mix.sentence,
    )  # fmt: skip


def _verdicts(cells: dict[str, str], mix: StringMix) -> list[str]:
    return [word(cells.get(one.move, DASH)) for one in mix.choices]
