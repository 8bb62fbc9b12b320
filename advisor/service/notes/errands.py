"""What takes a worker: asking a set again, what to do next, comparing two versions of a pack.

They are weighed where questions are, under the same bounds; what a worker needs to know beside the caller's request,
such as where the notebook is, the route writes down for it.
"""

from __future__ import annotations

from typing import Any

import msgspec
from msgspec import Struct

from advisor.errors import AdvisorError, DataError, QuestionError, Unanswerable, did_you_mean
from advisor.facts.question import Question
from advisor.library import Library, Shelf, load_shelf_files
from advisor.notebook import Sets
from advisor.notebook.next_lab import NextLab, next_lab
from advisor.notebook.rerun import Rerun, answer_of, differences, rerun
from advisor.notebook.sets import Entry, request_type
from advisor.notebook.store import now
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.notes.store import notebook_at
from advisor.service.notes.wire import CompareGiven, EntryGiven, LabGiven, RerunGiven, Version
from advisor.service.weighing.tasks import Task
from advisor.versions import AskedBefore, Comparison, StudyBefore, changed_studies, compare

__all__ = ["ERRANDS", "CompareErrand", "KeepErrand", "LabErrand", "RerunErrand"]


class _SetErrand(Struct, kw_only=True):
    notebook: str
    set: str


class KeepErrand(_SetErrand, kw_only=True):
    """Save an entry with its answer."""

    given: EntryGiven


class RerunErrand(_SetErrand, kw_only=True):
    """Ask a set again."""

    given: RerunGiven


class LabErrand(_SetErrand, kw_only=True):
    """Rank what to do next for a set."""

    given: LabGiven


class CompareErrand(Struct, kw_only=True):
    """Compare two versions."""

    notebook: str
    engine: str
    given: CompareGiven


def _keep(library: Library, asked: KeepErrand) -> Entry:
    given = asked.given
    kind = request_type(given.study)
    try:
        plain = decode(msgspec.json.encode(given.request), msgspec.json.Decoder(kind), words_of(kind))
        try:
            msgspec.convert(given.request, kind)
            request = given.request
        except msgspec.ValidationError:  # Whole numbers may be written as 10.0, where they are read, not where kept.
            request = msgspec.to_builtins(plain)
        entry = Entry(name=given.name, request=request, study=given.study, note=given.note)
        kept = msgspec.structs.replace(answer_of(entry, library), time=now())
    except AdvisorError as error:
        error.pointer = f"/request{error.pointer}"
        raise
    entry = msgspec.structs.replace(entry, kept=kept)
    with notebook_at(asked.notebook) as notebook:
        try:
            Sets(notebook).add_entry(asked.set, entry)
        except AdvisorError as error:
            if error.code == "set-exists":
                error.pointer = "/name"
            raise
    return entry


def _rerun(library: Library, asked: RerunErrand) -> Rerun:
    with notebook_at(asked.notebook) as notebook:
        return rerun(Sets(notebook), asked.set, library, accept=asked.given.accept, wording=asked.given.wording)


def _lab(library: Library, asked: LabErrand) -> NextLab:
    with notebook_at(asked.notebook) as notebook:
        return next_lab(Sets(notebook), asked.set, notebook, library, tries=asked.given.tries, limit=asked.given.limit)


def _compare(library: Library, asked: CompareErrand) -> Comparison:
    given = asked.given
    old, new = _version(library, given.old, "/old", "plain"), _version(library, given.new, "/new", asked.engine)
    known = {**old.pack.characters, **new.pack.characters}
    if given.character is not None and given.character not in known:
        raise Unanswerable(
            "character-unknown", f"neither version has a character `{given.character}`",
            help=did_you_mean(given.character, known) or f"known: {', '.join(sorted(known))}", pointer="/character",
        )  # fmt: skip
    questions, studies = list(given.questions), []
    if given.set is not None:
        with notebook_at(asked.notebook) as notebook:
            entries = _entries(Sets(notebook), given.set)
        for one in entries:
            if one.study is None:
                questions.append(AskedBefore(name=one.name, question=msgspec.convert(one.request, Question)))
            else:
                studies.append(StudyBefore(name=one.name, study=one.study, request=one.request))
    return compare(
        old.pack, new.pack, new.rules, new.evaluator, questions=questions,
        also=changed_studies(old.pack, new.pack, new.rules, new.evaluator, studies, differences),
        distance=given.distance, character=given.character,
    )  # fmt: skip


def _entries(sets: Sets, name: str) -> tuple[Entry, ...]:
    try:
        return sets.get(name)[1]
    except AdvisorError as error:
        if error.code == "set-unknown":
            error.pointer, error.help = "/set", "`/v1/sets` lists them"
        raise


def _version(library: Library, given: Version, pointer: str, engine: str) -> Shelf:
    """The shelf of a version. Errors: ``QuestionError`` for neither or both; ``AdvisorError`` ``files-faulty``."""
    if (given.pack is None) == (given.files is None):
        raise QuestionError(
            "value-invalid", "a version is a loaded pack or files, one of them", help="give `pack` or `files`",
            pointer=pointer,
        )  # fmt: skip
    if given.files is None:
        return library.shelf(given.pack, f"{pointer}/pack")
    own = [path for path in given.files if path.startswith("rules/")]
    if own:
        raise QuestionError(
            "value-invalid", f"`{own[0]}` is a rule, and rules are not taken from callers",
            help="leave the rules out: the ones that are loaded hold for both versions", pointer=f"{pointer}/files",
        )  # fmt: skip
    try:
        return load_shelf_files(given.files, engine=engine)
    except DataError as error:
        raise AdvisorError("files-faulty", error.message, help="mend the files", pointer=f"{pointer}/files") from None


def _errand(name: str, request: type[Struct], answer: type[Struct], run: Any) -> Task:
    return Task(
        name=name, operation=name, request=request, answer=answer, run=run, summary=name, description="", example={}
    )


ERRANDS: dict[str, Task] = {
    task.name: task for task in (
        _errand("keep", KeepErrand, Entry, _keep), _errand("rerun", RerunErrand, Rerun, _rerun),
        _errand("lab", LabErrand, NextLab, _lab), _errand("compare", CompareErrand, Comparison, _compare),
    )
}  # fmt: skip
"""Errands by name; a worker takes them as it takes tasks."""
