"""The usual sections of a sheet about one fighter, or about a match-up."""

from __future__ import annotations

from functools import partial

from advisor.pack.model import Character
from advisor.sentences import in_words, say
from advisor.sheets.desk import Desk, Draft
from advisor.sheets.frames import every_move, key_moves
from advisor.sheets.lab import trials, unknown
from advisor.sheets.links import their_strings, your_strings
from advisor.sheets.mix import guesses
from advisor.sheets.model import Section
from advisor.sheets.okizeme import covered, downs, knockdowns, worth_a_look
from advisor.sheets.parry import baits, parries
from advisor.sheets.punish import own_punished, punished, punishes

__all__ = ["about_fighter", "about_match", "usual"]


def usual(desk: Desk, *, quick: bool = False, key: str = "") -> list[Draft]:
    """The drafts of a desk; ``quick`` leaves out coverage and the guess. ``key`` begins the names of pictures."""
    if desk.them is None:
        return about_fighter(desk, quick=quick, key=key)
    return about_match(desk, desk.them, quick=quick, key=key)


def about_match(desk: Desk, them: Character, *, quick: bool, key: str) -> list[Draft]:
    """What one fighter has to know of one opponent."""
    return [
        Draft(in_words("Key moves"), partial(key_moves, desk, desk.me)),
        Draft(in_words("Their key moves"), partial(key_moves, desk, them)),
        Draft(in_words("Punishing"), partial(punishes, desk, them)),
        Draft(in_words("What is punished of yours"), partial(punished, desk, them)),
        Draft(in_words("Their strings"), partial(their_strings, desk, them)),
        Draft(in_words("Your strings"), partial(your_strings, desk)),
        Draft(in_words("Parries"), partial(parries, desk)),
        Draft(in_words("Baits"), partial(baits, desk, them)),
        *_floor(desk, quick, key),
        *([] if quick else [Draft(in_words("The mix"), partial(_mix, desk, them, key))]),
        Draft(in_words("What was tested"), partial(trials, desk)),
        Draft(in_words("What is unknown"), partial(unknown, desk)),
    ]


def about_fighter(desk: Desk, *, quick: bool, key: str) -> list[Draft]:
    """What holds against everybody, and what each opponent gives away."""
    others = [one for one in desk.pack.characters.values() if one.id != desk.me.id]
    return [
        Draft(in_words("Key moves"), partial(key_moves, desk, desk.me)),
        Draft(in_words("What is punished of yours"), partial(own_punished, desk)),
        *(Draft(say("Punishing {one_}", one_=one.name), partial(punishes, desk, one)) for one in others),
        Draft(in_words("Your strings"), partial(your_strings, desk)),
        Draft(in_words("Parries"), partial(parries, desk)),
        *_floor(desk, quick, key),
        Draft(in_words("What was tested"), partial(trials, desk)),
        Draft(in_words("What is unknown"), partial(unknown, desk)),
        Draft(in_words("Every move"), partial(every_move, desk, desk.me)),
    ]


def _floor(desk: Desk, quick: bool, key: str) -> list[Draft]:
    found = downs(desk)
    drafts = [Draft(in_words("Knockdowns"), partial(knockdowns, desk, found))]
    if not quick:
        drafts += [
            Draft(say("After {down}", down=down.name), partial(covered, desk, down, f"{key}floor-{i}"))
            for i, down in enumerate(worth_a_look(desk, found), 1)
        ]
    return drafts


def _mix(desk: Desk, them: Character, key: str) -> Section:
    return guesses(desk, them, worth_a_look(desk, downs(desk)), key)
