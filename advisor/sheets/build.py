"""Whole sheets: of a fighter, of a match-up, of a study set."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import msgspec

from advisor.advice import CAUTIONS, TrialRules
from advisor.errors import QuestionError
from advisor.facts.lookup import character_in
from advisor.library import Library, Shelf
from advisor.notebook import Entry, Notebook, Sets
from advisor.notebook.next_lab import next_lab
from advisor.notebook.sets import request_type
from advisor.notebook.tried import tried_for
from advisor.sentences import in_words, mark, say, spoken
from advisor.sheets.answers import advice_blocks, answer_blocks
from advisor.sheets.desk import Desk, Draft, written
from advisor.sheets.lab import next_steps
from advisor.sheets.model import Paragraph, Section, Sheet
from advisor.sheets.tested import Tested, tried_between
from advisor.sheets.usual import usual

__all__ = ["fighter_sheet", "set_sheet"]

Progress = Callable[[int, int], None] | None
MOST_MATCHES = 3
"""Match-ups of a set that get the usual sections."""
HEAD = mark(
    "An advantage of +3 means free three frames first. Frame 1 is the first frame of an action; a move with first 10 "
    "can touch on its frame 10. A question mark is not recorded, which is never taken for zero."
)


def fighter_sheet(
    library: Library, me: str, them: str | None = None, *, pack: str | None = None, notebook: Notebook | None = None,
    rules: TrialRules | None = None, date: str = "", quick: bool = False, pictures: bool = True,
    progress: Progress = None,
) -> Sheet:
    """The sheet of ``me`` (character ids), against ``them`` when one is named, dated ``date`` as it is given.

    ``quick`` leaves out coverage and the guess; ``progress`` is told (done, whole). Errors: ``Unanswerable`` for an
    unknown pack or character. A section that cannot be worked out says so and spoils no other.
    """
    desk = _desk(library.shelf(pack), me, them, notebook, rules, pictures)
    drafts = usual(desk, quick=quick)
    sections = _sections(drafts, _Steps(len(drafts), progress))
    title = say("{me} against {them}", me=desk.me.name, them=desk.them.name) if desk.them else desk.me.name
    lead = in_words("Study sheet of a match-up") if desk.them else in_words("Study sheet of a fighter")
    return Sheet(
        title=title, lead=say(
            "{lead}, for {me}.",
            lead=lead, me=desk.me.name,
        ), about=_about([desk.shelf], date), cautions=_cautions(),
        sections=sections, language=spoken(),
    )  # fmt: skip


def set_sheet(
    library: Library, notebook: Notebook, name: str, *, rules: TrialRules | None = None, date: str = "",
    quick: bool = False, pictures: bool = True, progress: Progress = None,
) -> Sheet:
    """The sheet of the study set ``name``: its entries in order, asked now, then the usual sections of its match-ups.

    Errors: ``AdvisorError`` ``set-unknown``; ``QuestionError`` for a set without entries; ``Unanswerable`` when no
    pack of an entry is loaded. An entry that has no answer says why and spoils no other.
    """
    info, entries = Sets(notebook).get(name)
    if not entries:
        raise QuestionError(
            "value-invalid", f"the set `{name}` has no entries", help="save one: advisor sets add", pointer="/name"
        )
    desks = _matches(library, entries, notebook, rules, pictures)
    shelves = {id(desk.shelf): desk.shelf for desk in desks} or {0: library.shelf(None)}
    drafts = [
        Draft(entry.name, partial(_entry, library, entry, notebook, rules, pictures, f"entry-{i}"))
        for i, entry in enumerate(entries, 1)
    ]  # fmt: skip
    drafts.append(Draft(in_words(
        "Next in the lab"
    ), lambda: next_steps(next_lab(Sets(notebook), name, notebook, library))))
    matches = [usual(desk, quick=quick, key=f"match-{i}-") for i, desk in enumerate(desks[:MOST_MATCHES], 1)]
    steps = _Steps(len(drafts) + sum(map(len, matches)), progress)
    sections = _sections(drafts, steps)
    sections += [
        Section(title=_match(desk), blocks=[], sections=_sections(match, steps), fresh=True)
        for desk, match in zip(desks, matches, strict=False)
    ]
    if len(desks) > MOST_MATCHES:
        left = ", ".join(_match(desk) for desk in desks[MOST_MATCHES:])
        said = Paragraph(say("The usual sections of {left}.", left=left))
        sections.append(Section(title=in_words("Left out"), blocks=[said]))
    return Sheet(
        title=info.name, lead=info.note or say("Study sheet of a set of {count} situations.", count=len(entries)),
        about=_about(list(shelves.values()), date), cautions=_cautions(), sections=sections, language=spoken(),
    )  # fmt: skip


def _cautions() -> list[str]:
    return [in_words(one) for one in (*CAUTIONS, HEAD)]


class _Steps:
    """Tells how many of ``whole`` drafts are written."""

    def __init__(self, whole: int, progress: Progress) -> None:
        self.whole, self.done, self.progress = whole, 0, progress

    def step(self) -> None:
        self.done += 1
        if self.progress is not None:
            self.progress(self.done, self.whole)


def _sections(drafts: list[Draft], steps: _Steps) -> list[Section]:
    sections = []
    for draft in drafts:
        section = written(draft)
        steps.step()
        if section is not None:
            sections.append(section)
    return sections


def _desk(
    shelf: Shelf, me: str, them: str | None, notebook: Notebook | None, rules: TrialRules | None, pictures: bool
) -> Desk:
    mine = character_in(shelf.pack, me, "/me")
    theirs = None if them is None else character_in(shelf.pack, them, "/them")
    tested = Tested() if notebook is None else tried_between(shelf, notebook, me, them, rules)
    return Desk(shelf=shelf, me=mine, them=theirs, tested=tested, pictures=pictures)


def _about(shelves: list[Shelf], date: str) -> list[tuple[str, str]]:
    about = [(in_words("Date"), date)] if date else []
    for shelf in shelves:
        pack = shelf.pack
        about += [
            (in_words("Game"), f"{pack.name} {pack.version}"), (in_words("Data"), pack.hash),
            (in_words("Rules"), shelf.rules.hash),
        ]  # fmt: skip
    return about


def _matches(
    library: Library, entries: tuple[Entry, ...], notebook: Notebook, rules: TrialRules | None, pictures: bool
) -> list[Desk]:
    """Every match-up of the entries, each once, in order; entries about nobody the pack has are passed over."""
    seen: dict[tuple[str, str, str | None], Desk | None] = {}
    for entry in entries:
        request: Any = msgspec.convert(entry.request, request_type(entry.study))
        shelf = library.shelf(getattr(request, "pack", None))
        sides = _sides(request)
        if sides is None or any(side is not None and side not in shelf.pack.characters for side in sides):
            continue
        me, them = sides
        if (shelf.pack.id, me, them) not in seen:
            seen[shelf.pack.id, me, them] = _desk(shelf, me, them, notebook, rules, pictures)
    return [desk for desk in seen.values() if desk is not None]


def _sides(request: Any) -> tuple[str, str | None] | None:
    """Whose question it is and against whom; of strings, the side that faces them."""
    request = getattr(request, "question", None) or request
    me, them = getattr(request, "me", None), getattr(request, "them", None)
    owner = getattr(request, "character", None)
    if owner is not None:
        return (owner, None) if them is None else (them.character, owner)
    if me is None:
        return None
    return me.character, None if them is None else them.character


def _entry(
    library: Library, entry: Entry, notebook: Notebook, rules: TrialRules | None, pictures: bool, key: str
) -> Section:
    """An entry asked now. Errors: as its question or study."""
    request: Any = msgspec.convert(entry.request, request_type(entry.study))
    shelf = library.shelf(getattr(request, "pack", None))
    desk = Desk(shelf=shelf, me=next(iter(shelf.pack.characters.values())), pictures=pictures)
    note = [Paragraph(entry.note)] if entry.note else []
    if entry.study is None:
        blocks = advice_blocks(desk, shelf.ask(request, tried_for(notebook, request, shelf.pack, rules=rules)))
    else:
        blocks = answer_blocks(desk, entry.study, request, shelf.study(entry.study, request), key)
    return Section(title=entry.name, blocks=[*note, *blocks])


def _match(desk: Desk) -> str:
    return say("{me} against {them}", me=desk.me.name, them=desk.them.name) if desk.them else desk.me.name
