"""What is sent to the notebook, and what it answers."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

from advisor.facts.question import Question
from advisor.notebook.sets import SetInfo
from advisor.notebook.trial import Trial
from advisor.service.weighing.tasks import TASKS
from advisor.versions.answer import AskedBefore

__all__ = [
    "COMPARE_EXAMPLE", "ENTRY_EXAMPLE", "LINES_EXAMPLE", "TRIAL_EXAMPLE",
    "CompareGiven", "EntryGiven", "EntryShown", "LabGiven", "Name", "RerunGiven",
    "SetForm", "SetGiven", "SetPage", "TrialFilter", "TrialForm", "TrialGiven",
    "TrialPage", "Version",
]

NO_NUL = r"^[^\x00]*$"
"""Some databases cannot hold a NUL."""
Id = Annotated[str, Meta(min_length=1, max_length=64, pattern=NO_NUL)]
Name = Annotated[str, Meta(min_length=1, max_length=200, pattern=r"^(?!\.{1,2}$)[^\s/\x00](?:[^/\x00]*[^\s/\x00])?$")]
"""It stands in a path, where a `/` would part it and `..` lead elsewhere."""
Text = Annotated[str, Meta(max_length=2_000, pattern=NO_NUL)]


class TrialGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """A trial to write down: so many successes in so many tries of a response, in the situation of a question."""

    question: Annotated[Question, Meta(description="The situation, as for advice; what is weighed does not matter.")]
    response: Annotated[Id, Meta(description="The option of mine that was tried.")]
    reply: Annotated[Id | None, Meta(description="Their option that it was tried against; none when left out.")] = None
    successes: Annotated[int, Meta(ge=0, le=1_000_000, description="How often it came off.")]
    tries: Annotated[int, Meta(ge=1, le=1_000_000, description="How often it was tried.")]
    delay: Annotated[
        Annotated[int, Meta(ge=-10_000, le=10_000)] | None, Meta(description="Frames by which it was delayed.")
    ] = None
    window: Annotated[
        Annotated[float, Meta(gt=0, le=100_000)] | None,
        Meta(description="Frames on which it may be started and still win, for the player's timing spread."),
    ] = None
    player: Annotated[Id | None, Meta(description="Who tried.")] = None
    note: Text = ""
    corrects: Annotated[Id | None, Meta(description="Id of the trial that this one replaces, which stays.")] = None


class TrialForm(Struct, kw_only=True):
    """A trial as it was written down."""

    id: str
    time: Annotated[str, Meta(description="UTC, ISO 8601.")]
    situation: Annotated[dict[str, Any], Meta(description="What counts as the same situation.")]
    response: str
    reply: str | None
    successes: Annotated[int, Meta(description="How often it came off.")]
    tries: Annotated[int, Meta(description="How often it was tried.")]
    delay: Annotated[int | None, Meta(description="Frames.")]
    window: Annotated[float | None, Meta(description="Frames.")]
    player: str | None
    note: str
    corrects: str | None
    data_version: str
    pack_hash: str

    @classmethod
    def of(cls, trial: Trial) -> TrialForm:
        """The form of a record."""
        fields = {name: getattr(trial, name) for name in cls.__struct_fields__ if name != "situation"}
        return cls(situation=msgspec.to_builtins(trial.situation), **fields)


class TrialPage(Struct, kw_only=True):
    """Trials, oldest first."""

    trials: list[TrialForm]
    next: Annotated[str | None, Meta(description="`after` of the next page; null at the end.")]


class TrialFilter(Struct, kw_only=True, forbid_unknown_fields=True):
    """Which trials to list."""

    question: Annotated[
        str | UnsetType, Meta(description="Only trials of the situation of this question: its JSON, as for advice.")
    ] = UNSET
    response: Annotated[Id | UnsetType, Meta(description="Only trials of this option of mine.")] = UNSET
    reply: Annotated[Id | UnsetType, Meta(description="Only trials against this option of theirs.")] = UNSET
    player: Annotated[Id | UnsetType, Meta(description="Only trials of this player.")] = UNSET
    corrected: Annotated[bool, Meta(description="Also the trials that were corrected.")] = False
    after: Annotated[
        Annotated[str, Meta(pattern=r"^[0-9]{1,18}$")] | UnsetType, Meta(description="`next` of the page before.")
    ] = UNSET
    limit: Annotated[int, Meta(ge=1, le=1_000, description="Most trials of a page.")] = 100


class SetGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """A new study set."""

    name: Name
    note: Text = ""


class SetPage(Struct, kw_only=True):
    """The study sets, by name."""

    sets: list[SetInfo]


class EntryGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """A situation to save: a question, or the request of a study; its answer is kept beside it."""

    name: Name
    request: Annotated[dict[str, Any], Meta(description="What is sent to `/v1/advice`, or to the study's route.")]
    study: Annotated[str | None, Meta(description="Name of the study; a question for advice when left out.")] = None
    note: Text = ""


class EntryShown(Struct, kw_only=True):
    """A saved situation with the answer that it had."""

    name: str
    study: str | None
    note: str
    request: dict[str, Any]
    answer: Annotated[Any, Meta(description="Null when none was kept.")]
    data_version: str
    pack_hash: str
    time: Annotated[str, Meta(description="When the answer was kept: UTC, ISO 8601.")]


class SetForm(Struct, kw_only=True):
    """A study set with its entries."""

    name: str
    note: str
    time: Annotated[str, Meta(description="When it was made: UTC, ISO 8601.")]
    entries: list[EntryShown]


class RerunGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """How to ask a set again."""

    accept: Annotated[bool, Meta(description="Store the new answers.")] = False
    wording: Annotated[bool, Meta(description="Compare the sentences too.")] = False


class LabGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """What to rank for the lab."""

    tries: Annotated[int, Meta(ge=1, le=10_000, description="Tries of each trial.")] = 10
    limit: Annotated[int, Meta(ge=1, le=1_000, description="Most items.")] = 20


class Version(Struct, kw_only=True, forbid_unknown_fields=True):
    """A version of a pack: one that is loaded, or its files."""

    pack: Annotated[Id | None, Meta(description="Id of a loaded pack.")] = None
    files: Annotated[
        dict[str, str] | None, Meta(description="Text of each file by its path, `characters/wenna.yaml`.")
    ] = None


class CompareGiven(Struct, kw_only=True, forbid_unknown_fields=True):
    """Two versions of a pack, and what to look at."""

    old: Version
    new: Version
    character: Annotated[Id | None, Meta(description="Only what is about this character.")] = None
    distance: Annotated[
        Annotated[float, Meta(ge=0, le=1000)] | Annotated[str, Meta(min_length=1, max_length=64)] | None,
        Meta(description="Where blocked moves touch; every named one when left out."),
    ] = None
    questions: Annotated[list[AskedBefore], Meta(max_length=200, description="Their answers are compared.")] = []
    set: Annotated[Name | None, Meta(description="A study set of the notebook, whose answers are compared too.")] = None


_QUESTION: dict[str, Any] = TASKS["advice"].example
TRIAL_EXAMPLE = {"question": _QUESTION, "response": "putty_jab", "successes": 11, "tries": 12, "player": "ann"}
ENTRY_EXAMPLE = {"name": "cinder knee, blocked", "request": _QUESTION}
LINES_EXAMPLE = '{"set": "punishes", "note": ""}\n' + msgspec.json.encode(ENTRY_EXAMPLE).decode() + "\n"
COMPARE_EXAMPLE = {"old": {"pack": "cold_frame"}, "new": {"pack": "cold_frame"}, "character": "wenna"}
