"""Where nothing is guaranteed: how often to do what."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from advisor.errors import AdvisorError
from advisor.facts.question import Blocked, Fighter, HitLanded, Moment
from advisor.pack.model import UPRIGHT, Character
from advisor.sentences import in_words, say
from advisor.sheets.cells import DASH, move_names, number, percent
from advisor.sheets.desk import Desk, pictured
from advisor.sheets.model import Block, Column, Paragraph, Points, Section, Table
from advisor.sheets.okizeme import Down
from advisor.studies.guess_model import Guess, GuessAnswer, Option

__all__ = ["guess_blocks", "guesses", "option_table", "payoff_table"]

MOST = 3
"""Guesses that are shown in full."""
SHOWN = 8
LITTLE = 0.5
"""Points (or the same part of a round) within which two options count as equal."""
TRIED = 10
"""Situations that are tried."""


class Spot(Struct, frozen=True):
    """A situation that may be a guess; ``distance`` in the pack's unit."""

    moment: Moment
    distance: float | None


def guesses(desk: Desk, them: Character, found: list[Down], prefix: str = "") -> Section:
    """The situations of this match-up in which both sides have to mix, in full; the others in a line each."""
    shown: list[Section] = []
    settled: list[str] = []
    for spot in list(_spots(desk, them, found))[:TRIED]:
        request = Guess(
            me=desk.mine, them=Fighter(character=them.id), moment=spot.moment, distance=spot.distance, limit=SHOWN
        )
        try:
            answer: GuessAnswer = desk.study("guess", request)
        except AdvisorError:
            # A situation that cannot be reckoned is no guess to show: its properties are on the lab list.
            continue
        if _asks(answer) and len(shown) < MOST:
            key = f"{prefix}mix-{len(shown) + 1}"
            title = answer.situation.sentence.rstrip(".")
            shown.append(Section(title=title, blocks=guess_blocks(desk, request, answer, key)))
        else:
            settled.append(f"{answer.situation.sentence} {answer.summary}.")
    blocks: list[Block] = [Paragraph(
        in_words(
            "Shares are the best mix of either side; what an option loses is what it costs against the other side's "
            "mix. Worth counts damage for less damage against, and the best certain punish of what is left."
        )
    )]  # fmt: skip
    if not shown:
        blocks.append(Paragraph(in_words("None of the situations that were tried asks for a mix.")))
    if settled:
        blocks += [Paragraph(in_words("Tried as well:")), Points(settled)]
    return Section(title=in_words("The mix"), blocks=blocks, sections=shown, fresh=True)


def _asks(answer: GuessAnswer) -> bool:
    """Whether I have to mix: several options of mine, and it matters which of them meets which of theirs."""
    mine, theirs = _mixed(answer.mine), _mixed(answer.theirs)
    worth = [answer.table[i][j].value for i in mine for j in theirs]
    return len(mine) > 1 and max(worth) - min(worth) > LITTLE


def _mixed(options: list[Option]) -> list[int]:
    return [i for i, one in enumerate(options) if one.share > 0]


def _spots(desk: Desk, them: Character, found: list[Down]) -> Iterator[Spot]:
    """After my quickest and my key moves are blocked; after my knockdowns; after theirs; after their quickest."""
    near = desk.near()
    for key in _quickest(desk.me)[:1]:
        yield Spot(Blocked(attacker="me", move=key), near)
    for down in found[:2]:
        if down.moment is not None:
            yield Spot(down.moment, down.at)
    for key in _flooring(them)[:1]:
        yield Spot(HitLanded(attacker="them", move=key), near)
    for key in _quickest(them)[:1]:
        yield Spot(Blocked(attacker="them", move=key), near)
    for key in desk.me.key_moves:
        move = desk.me.moves.get(key)
        if move is not None and move.hits and move.hits[0].on_block is not None and move.hits[0].on_block > -10:
            yield Spot(Blocked(attacker="me", move=key), near)


def _quickest(fighter: Character) -> list[str]:
    """Attacks that can be blocked and used freely, quickest first."""
    open_ = [
        (move.hits[0].first_active, place, key)
        for place, (key, move) in enumerate(fighter.moves.items())
        if move.hits and move.requires is None and move.hits[0].on_block is not None
    ]  # fmt: skip
    return [key for first, _, key in sorted((f, p, k) for f, p, k in open_ if f is not None) if first]


def _flooring(fighter: Character) -> list[str]:
    """Key moves, then others, that leave me on the floor."""
    keys = dict.fromkeys((*fighter.key_moves, *fighter.moves))
    out = []
    for key in keys:
        move = fighter.moves.get(key)
        left = move.hits[0].leaves_hit if move is not None and move.hits else None
        plain = left is not None and left.knockdown not in (None, UPRIGHT) and left.wall is None and left.floor is None
        if move is not None and plain and move.hits[0].on_hit is not None:
            out.append(key)
    return out


def guess_blocks(desk: Desk, request: Guess, answer: GuessAnswer, key: str) -> list[Block]:
    """Both mixes with their picture, the payoffs of what is mixed, and what is left out."""
    percent_of = answer.unit == "win_chance"
    unit = in_words("% of rounds") if percent_of else in_words("points")
    times = 100 if percent_of else 1
    said = say(
        "Worth {value} {unit} to {characters}.",
        value=_worth(answer.value * times, 1), unit=unit, characters=desk.pack.characters[answer.situation.me].name,
    )
    blocks: list[Block] = [Paragraph(said)]
    told = say("Both mixes as bars. {sentence} {said}", sentence=answer.situation.sentence, said=said)
    blocks += pictured(desk, "guess", key, answer, request, in_words("Both mixes."), told)
    blocks += [
        option_table(in_words("Yours"), answer.mine, unit, times),
        option_table(in_words("Theirs"), answer.theirs, unit, times),
        payoff_table(answer, unit, times),
    ]  # fmt: skip
    if answer.left_out:
        names = move_names(desk.pack, desk.pack.characters[answer.situation.me], *desk.pack.characters.values())
        known = [f"{names.get(key, key)}: {why}" for key, why in list(answer.left_out.items())[:SHOWN]]
        more = len(answer.left_out) - len(known)
        blocks.append(Paragraph(in_words("Left out: ") + "; ".join(known) + (say(
            "; and {more_} more",
            more_=more,
        ) if more > 0 else ""), True))
    return blocks


def option_table(caption: str, options: list[Option], unit: str, times: int) -> Table:
    """What is mixed, most often first, and the nearest of what is not."""
    return Table(
        caption=say(
            "{caption}: how often",
            caption=caption,
        ), units=say("shares in %; losses in {unit}; delays in frames", unit=unit),
        columns=[Column(in_words("Option")), Column(in_words("Share"), "%", True),
        Column(in_words("Loses"), unit, True), Column(in_words("Why"))],
        rows=[[one.name, percent(one.share), number(round(one.loss * times, 2)), _why(one)] for one in options],
    )  # fmt: skip


def _why(one: Option) -> str:
    """Why it is not in the mix; of one that is, how often in other mixes that are as good."""
    if one.share <= 0:
        return one.sentence
    return say(
        "{least} to {most} in mixes as good",
        least=percent(one.least), most=percent(one.most),
    ) if one.most - one.least > 0.0005 else DASH


def _worth(value: float, digits: int = 2) -> str:
    """A worth with its sign; nothing has none."""
    rounded = round(value, digits)
    return f"{rounded:+g}" if rounded else "0"


def payoff_table(answer: GuessAnswer, unit: str, times: int) -> Table:
    """What each mixed option is worth against each of theirs."""
    mine, theirs = _mixed(answer.mine), _mixed(answer.theirs)
    return Table(
        caption=in_words("Worth to you"), units=say("in {unit}", unit=unit),
        columns=[Column(in_words("Option")), *(Column(answer.theirs[j].name, unit, True) for j in theirs)],
        rows=[
            [answer.mine[i].name, *(_worth(answer.table[i][j].value * times) for j in theirs)] for i in mine
        ],
    )  # fmt: skip
