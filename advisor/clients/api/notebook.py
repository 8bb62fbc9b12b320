"""The operations of the lab notebook: trials, study sets, and two versions of a pack compared.

Each function makes a plan, as in ``advisor.clients.api.operations``.
"""

from __future__ import annotations

import uuid

import msgspec

from advisor.clients.api.calls import Call, Given, get, json_of, path_of, post, raw
from advisor.notebook.next_lab import NextLab
from advisor.notebook.rerun import Rerun
from advisor.notebook.sets import SetInfo
from advisor.service.notes.wire import (
    CompareGiven,
    EntryGiven,
    EntryShown,
    LabGiven,
    RerunGiven,
    SetForm,
    SetGiven,
    SetPage,
    TrialFilter,
    TrialForm,
    TrialGiven,
    TrialPage,
)
from advisor.versions import Comparison

__all__ = [
    "add_entry", "add_set", "add_trial", "compare_versions", "export_set", "get_set", "get_trial", "import_set",
    "list_sets", "list_trials", "next_lab", "remove_entry", "remove_set", "rerun_set",
]

LINES = "application/jsonl"


def add_trial(trial: TrialGiven | Given, key: str | None = None) -> Call[TrialForm]:
    """Write down a trial. It goes with a ``key`` of its own when none is given, so that it may be sent twice: it is
    written once. Give one to send the same again later."""
    return post("/v1/trials", trial, json_of(TrialForm), changes=True, key=key or str(uuid.uuid4()))


def list_trials(wanted: TrialFilter | Given | None = None) -> Call[TrialPage]:
    """A page of the trials that match, oldest first; ``question`` is the JSON of a question."""
    query = msgspec.to_builtins(wanted) if isinstance(wanted, TrialFilter) else dict(wanted or {})
    return get("/v1/trials", TrialPage, {k: str(v).lower() if isinstance(v, bool) else v for k, v in query.items()})


def get_trial(trial: str) -> Call[TrialForm]:
    """One trial by its id, corrected or not."""
    return get(path_of("v1", "trials", trial), TrialForm)


def list_sets() -> Call[SetPage]:
    """The study sets, by name."""
    return get("/v1/sets", SetPage)


def add_set(given: SetGiven | Given) -> Call[SetInfo]:
    """Make an empty study set."""
    return post("/v1/sets", given, json_of(SetInfo), changes=True)


def get_set(name: str) -> Call[SetForm]:
    """A study set with its entries and the answers that they had."""
    return get(path_of("v1", "sets", name), SetForm)


def remove_set(name: str) -> Call[None]:
    """Strike out a study set."""
    return Call(method="DELETE", path=path_of("v1", "sets", name), read=_nothing, safe=False)


def add_entry(name: str, entry: EntryGiven | Given) -> Call[EntryShown]:
    """Save a situation in the study set ``name``, with the answer that it has now."""
    return post(path_of("v1", "sets", name, "entries"), entry, json_of(EntryShown), changes=True)


def remove_entry(name: str, entry: str) -> Call[None]:
    """Strike out an entry of the study set ``name``."""
    return Call(method="DELETE", path=path_of("v1", "sets", name, "entries", entry), read=_nothing, safe=False)


def rerun_set(name: str, given: RerunGiven | Given | None = None) -> Call[Rerun]:
    """Ask a study set again: what changed. Once accepted, a second time finds nothing new."""
    sent = given or RerunGiven()
    accepts = sent.accept if isinstance(sent, RerunGiven) else bool(sent.get("accept"))
    return post(path_of("v1", "sets", name, "rerun"), sent, json_of(Rerun), changes=accepts)


def next_lab(name: str, given: LabGiven | Given | None = None) -> Call[NextLab]:
    """What to try or measure next for a study set."""
    return post(path_of("v1", "sets", name, "lab"), given or LabGiven(), json_of(NextLab))


def export_set(name: str) -> Call[bytes]:
    """A study set as JSON Lines."""
    return Call(method="GET", path=path_of("v1", "sets", name, "lines"), read=raw, accept=LINES)


def import_set(name: str, lines: bytes) -> Call[SetInfo]:
    """A new study set ``name`` from JSON Lines: all of it or nothing."""
    path = path_of("v1", "sets", name, "lines")
    return Call(method="POST", path=path, read=json_of(SetInfo), body=lines, safe=False, sent_as=LINES)


def compare_versions(given: CompareGiven | Given) -> Call[Comparison]:
    """Two versions of a pack, loaded ones or files, and what follows from their difference."""
    return post("/v1/compare", given, json_of(Comparison))


def _nothing(_: bytes) -> None:
    """Nothing is answered."""
