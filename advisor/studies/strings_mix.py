"""The choice at the end of a string: which ender, and what each defence does about all of them."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.advice.wording import listed
from advisor.facts import Entry, Ready, pair_of
from advisor.pack.model import Move, Pack
from advisor.sentences import in_words, mark, say
from advisor.studies.strings_answer import MixAnswer, MixCell, MixChoice, StringLink, StringMix
from advisor.studies.strings_gap import Step, guard_move
from advisor.studies.weighing import STANDS, WINS, tags_of

__all__ = ["defences_of", "mix_of"]


def defences_of(pack: Pack, responses: Sequence[Entry]) -> list[Entry]:
    """What stands against a mix-up: each guard of the pack by itself, then evasions and parries among ``responses``.

    Evasions are the movements that duck, leave the ground, or step aside.
    """
    named = {guard: guard.replace("_", " ").capitalize() for guard in pack.conventions.guards}
    guards = [
        guard_move(pack.conventions, (guard,), id=f"{guard}_guard", name=say("{name} guard", name=name))
        for guard, name in named.items()
    ]
    out = {move.id: Entry(move=move, key=move.id, name=move.name) for move in guards}
    for entry in responses:
        if _evades(entry.move) or entry.move.parry:
            out.setdefault(entry.key, entry)
    return list(out.values())


def _evades(move: Move) -> bool:
    return move.kind == "movement" and bool(move.crouching or move.airborne or move.sidestep)


def mix_of(pack: Pack, steps: Sequence[Step], links: Sequence[StringLink]) -> StringMix:
    """The mix-up of several steps (at least two) out of the same hits on the same result."""
    defences = defences_of(pack, steps[0].situation.responses)
    answers = [_answer(steps, entry) for entry in defences]
    choices = [_choice(step, link, answers) for step, link in zip(steps, links, strict=True)]
    answers.sort(key=lambda a: -a.stops)
    return StringMix(
        after=links[0].after, on=links[0].on, choices=choices, answers=answers, sentence=_sentence(choices, answers)
    )


def _choice(step: Step, link: StringLink, answers: Sequence[MixAnswer]) -> MixChoice:
    """One ender with the defences sorted by what they do about it."""
    met = [(answer, cell) for answer in answers for cell in answer.cells if cell.move == link.move]
    beats = [answer for answer, cell in met if cell.verdict == "loses"]
    lost = [answer for answer, cell in met if cell.verdict in WINS]
    stopped = [answer for answer, cell in met if cell.verdict in STANDS]
    rest = [answer for answer, cell in met if cell.verdict != "loses" and cell.verdict not in STANDS]
    held = [answer for answer in stopped if answer not in lost]
    said = [
        say(text, names=listed([answer.name for answer in some]))
        for text, some in (
            (mark("beats {names}"), beats), (mark("loses to {names}"), lost), (mark("is stopped by {names}"), held),
            (mark("is open against {names}"), rest),
        ) if some
    ]  # fmt: skip
    text = "; ".join(said) or in_words("meets no defence")
    level = step.link.move.hits[0].level if step.link.move.hits else None
    return MixChoice(
        move=link.move, name=link.name, level=level, word=link.word, gap=link.gap,
        beats=[a.option for a in beats], loses_to=[a.option for a in lost], stopped_by=[a.option for a in stopped],
        open=[a.option for a in rest],
        sentence=f"{_with_level(link.name, level)} {text}.",
    )


def _with_level(name: str, level: str | None) -> str:
    return f"{name} ({level})" if level else say("{name} (level unknown)", name=name)


def _answer(steps: Sequence[Step], entry: Entry) -> MixAnswer:
    """One defence, begun on the first frame after the stun, against every ender.

    Begun later it would meet the quick enders as whoever is free does, with the right guard: no choice at all.
    """
    cells = []
    for step in steps:
        # Against an ender that can jail or wait, what counts is its earliest arrival that leaves a gap.
        place = (step.open_arrivals() or [0])[0]
        pair = pair_of(step.situation, Ready(step.situation, entry, "mine"), step.arrivals[place])
        judged = step.weigher.judge([pair])[0]
        cells.append(
            MixCell(
                move=step.link.move.id, verdict=judged.verdict, tags=tags_of(judged),
                sentence=step.weigher.why(pair, judged)[1],
            )
        )
    stops = sum(cell.verdict in STANDS for cell in cells)
    return MixAnswer(option=entry.key, name=entry.name, stops=stops, of=len(cells), cells=cells)


def _sentence(choices: Sequence[MixChoice], answers: Sequence[MixAnswer]) -> str:
    names = ", ".join(_with_level(c.name, c.level) for c in choices)
    best = answers[0] if answers else None
    if best is None:
        return say("{names}: no defence to set against it.", names=names)
    if best.stops == best.of:
        return say("{names}: {best} stops all of them.", names=names, best=best.name)
    return say(
        "{names}: no one defence stops all; {best} stops {stops} of {of}.",
        names=names, best=best.name, stops=best.stops, of=best.of,
    )
