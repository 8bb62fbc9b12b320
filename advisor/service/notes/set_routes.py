"""The routes of study sets: make, look at, fill, ask again, rank for the lab, as JSON Lines."""

from __future__ import annotations

from typing import Any

import msgspec
from litestar import Request, Response, delete, get, post
from litestar.di import NamedDependency
from litestar.params import FromPath

from advisor.errors import AdvisorError, DataError, QuestionError
from advisor.notebook.lines import export_set, import_set
from advisor.notebook.next_lab import NextLab
from advisor.notebook.rerun import Rerun
from advisor.notebook.sets import Entry, SetInfo, Sets
from advisor.service.asking.bounds import Bounds, check_bounds
from advisor.service.asking.media_types import check_media_type
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.notes.errands import KeepErrand, LabErrand, RerunErrand
from advisor.service.notes.errands_at import Sent, send
from advisor.service.notes.store import Notes, address_of
from advisor.service.notes.trial_routes import STORE
from advisor.service.notes.wire import (
    ENTRY_EXAMPLE,
    LINES_EXAMPLE,
    EntryGiven,
    EntryShown,
    LabGiven,
    Name,
    RerunGiven,
    SetForm,
    SetGiven,
    SetPage,
)
from advisor.service.operations import BODY_ERRORS, FOUND_ERRORS, READ_ERRORS, Body, Operations
from advisor.service.problems import ParameterError
from advisor.service.running.served import Served
from advisor.service.weighing.work import JSON

__all__ = ["LINES", "SETS"]

LINES = "application/jsonl"
_DECODERS: dict[Any, msgspec.json.Decoder[Any]] = {
    kind: msgspec.json.Decoder(kind) for kind in (SetGiven, EntryGiven, RerunGiven, LabGiven)
}
PARAMETERS = {"set-unknown": "set", "entry-unknown": "entry"}
MOST = 1_000
"""Most entries that are taken at once: the store writes for nobody else meanwhile."""
MEND = "mend the lines; nothing was taken"
SETS_LISTED = "`/v1/sets` lists them"


async def _given(request: Request[Any, Any, Any], kind: Any) -> Any:
    check_media_type(request.headers.get("content-type", ""))
    return decode(await request.body(), _DECODERS[kind], words_of(kind))


def _named(error: AdvisorError) -> AdvisorError:
    """What names a part of the path is told as such."""
    name = PARAMETERS.get(error.code)
    help = SETS_LISTED if error.code == "set-unknown" and "did you mean" not in error.help else error.help
    return error if name is None else ParameterError(error.code, error.message, name=name, help=help)


async def _use(notes: Notes, work: Any) -> Any:
    try:
        return await notes.use(lambda notebook: work(Sets(notebook)))
    except AdvisorError as error:
        raise _named(error) from None


async def _sent(name: str, errand: Any, given: Any, notes: Notes, served: Served, set: str) -> Sent:
    """What a worker makes of an errand about a set that is there. Errors: as ``Notes.use``."""
    await _use(notes, lambda sets: sets.get(set))
    return await send(served.desk, name, errand(notebook=address_of(served.holding.settings), set=set, given=given))


def _shown(entry: Entry) -> EntryShown:
    kept = entry.kept
    return EntryShown(
        name=entry.name, study=entry.study, note=entry.note, request=entry.request,
        answer=kept.answer if kept else None, data_version=kept.data_version if kept else "",
        pack_hash=kept.pack_hash if kept else "", time=kept.time if kept else "",
    )  # fmt: skip


def _form(found: tuple[SetInfo, tuple[Entry, ...]]) -> SetForm:
    info, entries = found
    return SetForm(name=info.name, note=info.note, time=info.time, entries=[_shown(one) for one in entries])


@get("/v1/sets", operation_id="listSets", summary="The study sets", opt={"needs": "read"})
async def list_sets(notes: NamedDependency[Notes]) -> SetPage:
    """All sets."""
    return SetPage(sets=await _use(notes, lambda sets: sets.list()))


@post("/v1/sets", operation_id="addSet", summary="Make a study set", status_code=201, opt={"needs": "notebook"})
async def add_set(request: Request[Any, Any, Any], notes: NamedDependency[Notes]) -> SetInfo:
    """A new, empty set."""
    given = await _given(request, SetGiven)
    made: SetInfo = await _use(notes, lambda sets: sets.add(given.name, given.note))
    return made


@get("/v1/sets/{set:str}", operation_id="getSet", summary="A study set with its entries", opt={"needs": "read"})
async def get_set(notes: NamedDependency[Notes], set: FromPath[str]) -> SetForm:
    """One set."""
    return _form(await _use(notes, lambda sets: sets.get(set)))


@delete(
    "/v1/sets/{set:str}", operation_id="removeSet", summary="Strike out a study set", status_code=204,
    opt={"needs": "notebook"},
)  # fmt: skip
async def remove_set(notes: NamedDependency[Notes], set: FromPath[str]) -> None:
    """Strike out a set; its rows stay in the store."""
    await _use(notes, lambda sets: sets.remove(set))


@post(
    "/v1/sets/{set:str}/entries", operation_id="addEntry", summary="Save a situation in a study set", status_code=201,
    description="The question, or the study's request, is asked now, and its answer is kept beside it.",
    opt={"needs": "notebook"},
)  # fmt: skip
async def add_entry(
    request: Request[Any, Any, Any], notes: NamedDependency[Notes], served: NamedDependency[Served], set: FromPath[str]
) -> Response[bytes]:
    """Ask, and keep."""
    answer = await _sent("keep", KeepErrand, await _given(request, EntryGiven), notes, served, set)
    if answer.status != 200:
        return answer.response()
    entry = msgspec.json.decode(answer.body, type=Entry)
    return Response(msgspec.json.encode(_shown(entry)), status_code=201, media_type=JSON)


@delete(
    "/v1/sets/{set:str}/entries/{entry:str}", operation_id="removeEntry", summary="Strike out an entry",
    status_code=204, opt={"needs": "notebook"},
)  # fmt: skip
async def remove_entry(notes: NamedDependency[Notes], set: FromPath[str], entry: FromPath[str]) -> None:
    """Strike out one entry."""
    await _use(notes, lambda sets: sets.remove(set, entry))


@post(
    "/v1/sets/{set:str}/rerun", operation_id="rerunSet", summary="Ask a study set again", status_code=200,
    description="Every entry is asked with the data that are loaded now, and compared with the answer that was kept.",
    opt={"needs": "notebook"},
)  # fmt: skip
async def rerun_set(
    request: Request[Any, Any, Any], notes: NamedDependency[Notes], served: NamedDependency[Served], set: FromPath[str]
) -> Response[bytes]:
    """What changed."""
    return (await _sent("rerun", RerunErrand, await _given(request, RerunGiven), notes, served, set)).response()


@post(
    "/v1/sets/{set:str}/lab", operation_id="nextLab", summary="What to try or measure next for a study set",
    description="Trials and missing properties, ranked by the damage that knowing them brings on average.",
    status_code=200, opt={"needs": "read"},
)  # fmt: skip
async def next_lab_of_set(
    request: Request[Any, Any, Any], notes: NamedDependency[Notes], served: NamedDependency[Served], set: FromPath[str]
) -> Response[bytes]:
    """The list."""
    return (await _sent("lab", LabErrand, await _given(request, LabGiven), notes, served, set)).response()


@get(
    "/v1/sets/{set:str}/lines", operation_id="exportSet", summary="A study set as JSON Lines",
    opt={"needs": "read", "large": True}, before_request=lambda _: None,
)  # fmt: skip
async def export_lines(notes: NamedDependency[Notes], set: FromPath[str]) -> Response[bytes]:
    """The set and its entries with their answers, a line each."""
    return Response(await _use(notes, lambda sets: export_set(sets, set)), media_type=LINES)


@post(
    "/v1/sets/{set:str}/lines", operation_id="importSet", summary="Make a study set from JSON Lines", status_code=201,
    description="What the export gives; all of it is taken, or nothing.",
    opt={"needs": "notebook", "large": True},
)  # fmt: skip
async def import_lines(
    request: Request[Any, Any, Any], notes: NamedDependency[Notes], served: NamedDependency[Served],
    set: FromPath[str],
) -> SetInfo:
    """A new set of that name."""
    try:
        msgspec.convert(set, Name)
    except msgspec.ValidationError:
        help = "1 to 200 characters, no space at the ends, no `/`"
        raise ParameterError("value-invalid", f"`{set}` is no name of a set", name="set", help=help) from None
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in (LINES, "application/x-ndjson"):
        said = f"the body is said to be `{kind}`" if kind else "the body's type is not stated"
        raise AdvisorError("media-type-unsupported", said, help=f"send `content-type: {LINES}`")
    body = await request.body()
    depth = Bounds(served.holding.settings.max_depth, len(body) + 1)
    lines = body.splitlines()
    if len(lines) > MOST + 1:
        raise AdvisorError("body-too-large", f"{len(lines)} lines", help=f"at most {MOST} entries: make several sets")
    for number, line in enumerate(lines, 1):
        try:
            check_bounds(line, depth)
        except AdvisorError as error:
            said = f"line {number}: {error.message.replace('the body', 'it')}"
            raise AdvisorError("lines-faulty", said, help=MEND) from None
    try:
        made: SetInfo = await _use(notes, lambda sets: import_set(sets, body, name=set))
    except (DataError, QuestionError) as error:
        raise AdvisorError("lines-faulty", error.message, help=MEND) from None
    except AdvisorError as error:
        if error.code != "set-exists":
            raise
        raise ParameterError(error.code, error.message, name="set", help=error.help) from None
    return made


_ALL = (
    list_sets, add_set, get_set, remove_set, add_entry, remove_entry, rerun_set, next_lab_of_set, export_lines,
    import_lines,
)  # fmt: skip
_SET = {"404": "There is no such set."}
_HEAVY = {"503": "The store does not answer or has no room, no worker is free, or it takes too long."}
_BODY = {k: v for k, v in BODY_ERRORS.items() if k not in ("404", "422")}
SETS = Operations(
    routes=_ALL,
    types=(SetInfo, SetPage, SetForm, EntryShown),
    done={
        "listSets": "All sets, by name.",
        "addSet": "It is made.",
        "getSet": "The set.",
        "removeSet": "It is struck out.",
        "addEntry": "It is saved, with its answer.",
        "removeEntry": "It is struck out.",
        "rerunSet": "How every entry fared.",
        "nextLab": "The list, most valuable first.",
        "exportSet": "The first line is the set's, each after it an entry's.",
        "importSet": "It is made.",
    },
    errors={
        "listSets": {**READ_ERRORS, **STORE},
        "addSet": {**_BODY, **STORE, "409": "A set of that name exists."},
        "getSet": {**READ_ERRORS, **_SET, **STORE},
        "removeSet": {**READ_ERRORS, **_SET, **STORE},
        "addEntry": {
            **BODY_ERRORS, **_HEAVY, "404": "There is no such set, or what the request names is not known.",
            "409": "The set has an entry of that name.",
        },
        "removeEntry": {**FOUND_ERRORS, **STORE, "404": "There is no such set, or no such entry."},
        "rerunSet": {**_BODY, **_SET, **_HEAVY},
        "nextLab": {**_BODY, **_SET, **_HEAVY},
        "exportSet": {**_SET, **STORE, "400": "The request is malformed."},
        "importSet": {
            **_BODY, **STORE, "409": "A set of that name exists.", "415": "The body is not JSON Lines.",
            "422": "A line is faulty: the problem names every one.",
        },
    },
    headers={
        (str(route.operation_id), "503"): {"Retry-After": ("Seconds after which to try again.", "integer")}
        for route in _ALL
    },
    links={
        "addSet": {"getSet": ("getSet", {"set": "$response.body#/name"})},
        "importSet": {"getSet": ("getSet", {"set": "$response.body#/name"})},
        "getSet": {"exportSet": ("exportSet", {"set": "$response.body#/name"})},
    },
    parameters={"set": ("Name of the study set.", "no_such_set"), "entry": ("Name of the entry.", "no_such_entry")},
    bodies={
        "addSet": Body(type=SetGiven, description="Name and note.", summary="A set", example={"name": "punishes"}),
        "addEntry": Body(
            type=EntryGiven, description="A question, or a study's request.", summary="A blocked move",
            example=ENTRY_EXAMPLE,
        ),
        "rerunSet": Body(type=RerunGiven, description="What to compare.", summary="Look only", example={}),
        "nextLab": Body(type=LabGiven, description="How much to plan for.", summary="Ten tries each", example={}),
        "importSet": Body(
            type=str, description="The set's line, then one for each entry.", summary="A set of one entry",
            example=LINES_EXAMPLE, media_type=LINES,
        ),
    },
    answers={
        "addEntry": {JSON: EntryShown}, "rerunSet": {JSON: Rerun}, "nextLab": {JSON: NextLab},
        "exportSet": {LINES: {"type": "string"}},
    },
)
"""The operations of study sets."""
