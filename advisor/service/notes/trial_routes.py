"""The routes of trials: write down, look at, list."""

from __future__ import annotations

from typing import Any

import msgspec
from litestar import Request, Response, get, post
from litestar.di import NamedDependency
from litestar.params import FromPath
from msgspec import UNSET

from advisor.errors import AdvisorError
from advisor.facts.question import Question
from advisor.library import Library
from advisor.service.asking.media_types import check_media_type
from advisor.service.asking.queries import read_query
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.notes.store import Notes
from advisor.service.notes.wire import TRIAL_EXAMPLE, TrialFilter, TrialForm, TrialGiven, TrialPage
from advisor.service.operations import BODY_ERRORS, FOUND_ERRORS, Body, Operations
from advisor.service.problems import ParameterError
from advisor.service.weighing.work import JSON

__all__ = ["STORE", "TRIALS"]

_DECODER = msgspec.json.Decoder(TrialGiven)
_QUESTION = msgspec.json.Decoder(Question)
KEY = "Idempotency-Key"
LONGEST_KEY = 200
LISTED = "`/v1/trials` lists them"
STORE = {"503": "The store does not answer, or has no room: nothing was written."}


def _key(request: Request[Any, Any, Any]) -> str | None:
    """The key of the request (draft-ietf-httpapi-idempotency-key-header-06: a quoted string, or bare)."""
    given = request.headers.get(KEY.lower())
    if given is None:
        return None
    key = given[1:-1] if len(given) > 1 and given[0] == given[-1] == '"' else given
    if not 1 <= len(key) <= LONGEST_KEY or not key.isascii() or not key.isprintable():
        raise ParameterError(
            "value-invalid", f"`{KEY}` is no key", name=KEY, help=f"1 to {LONGEST_KEY} printable characters of ASCII"
        )
    return key


@post(
    "/v1/trials",
    operation_id="addTrial",
    summary="Write down a lab trial",
    description="A trial is only ever added; one with `corrects` counts instead of an earlier one. It is on disk when "
    "this answers. The same `Idempotency-Key` with the same trial gives the first record again.",
    status_code=201,
    opt={"needs": "notebook"},
)
async def add_trial(
    request: Request[Any, Any, Any], library: NamedDependency[Library], notes: NamedDependency[Notes]
) -> Response[TrialForm]:
    """Check and add a trial."""
    from advisor.notebook.recording import trial_of

    check_media_type(request.headers.get("content-type", ""))
    given = decode(await request.body(), _DECODER, words_of(TrialGiven))
    key = _key(request)
    kept = {
        name: getattr(given, name)
        for name in ("successes", "tries", "delay", "window", "player", "note", "corrects")
    }
    pack = library.shelf(given.question.pack, "/question/pack").pack
    trial = trial_of(
        pack, given.question, response=given.response, reply=given.reply, within="/question", key=key, **kept
    )
    try:
        added = TrialForm.of(await notes.use(lambda notebook: notebook.add(trial)))
    except AdvisorError as error:
        if error.code == "idempotency-conflict":
            raise ParameterError(error.code, error.message, name=KEY, help=error.help) from None
        if error.code == "trial-unknown":
            error.help = LISTED
        raise
    return Response(added, status_code=201, media_type=JSON, headers={"Location": f"/v1/trials/{added.id}"})


@get("/v1/trials", operation_id="listTrials", summary="Trials, oldest first", opt={"needs": "read"})
async def list_trials(
    request: Request[Any, Any, Any], library: NamedDependency[Library], notes: NamedDependency[Notes]
) -> TrialPage:
    """One page of the trials that match."""
    from advisor.notebook.recording import situation_in

    wanted = read_query(TrialFilter, request.query_params.multi_items())
    given = {
        name: value for name in TrialFilter.__struct_fields__ if (value := getattr(wanted, name)) is not UNSET
    }
    asked = given.pop("question", None)
    if asked is not None:
        try:
            question = decode(asked.encode("utf-8", "surrogatepass"), _QUESTION, words_of(Question))
            given["situation"] = situation_in(question, library.shelf(question.pack).pack)
        except AdvisorError as error:
            said = f"{error.message} (at `{error.pointer}`)" if error.pointer else error.message
            raise ParameterError(error.code, said, name="question", help=error.help) from None
    try:
        page = await notes.use(lambda notebook: notebook.trials(**given))
    except AdvisorError as error:
        if not error.pointer:
            raise
        name = error.pointer.removeprefix("/")
        raise ParameterError(error.code, error.message, name=name, help=error.help) from None
    return TrialPage(trials=[TrialForm.of(one) for one in page.trials], next=page.next)


@get("/v1/trials/{trial:str}", operation_id="getTrial", summary="One trial", opt={"needs": "read"})
async def get_trial(notes: NamedDependency[Notes], trial: FromPath[str]) -> TrialForm:
    """One trial, corrected or not."""
    try:
        return TrialForm.of(await notes.use(lambda notebook: notebook.trial(trial)))
    except AdvisorError as error:
        if error.code != "trial-unknown":
            raise
        raise ParameterError(error.code, error.message, name="trial", help=LISTED) from None


TRIALS = Operations(
    routes=(add_trial, list_trials, get_trial),
    types=(TrialForm, TrialPage),
    done={
        "addTrial": "It is written down.",
        "listTrials": "One page of the trials that match.",
        "getTrial": "The trial.",
    },
    errors={
        "addTrial": {
            **BODY_ERRORS, **STORE,
            "409": "The key stands for another trial, or the trial that this one corrects was corrected before.",
        },
        "listTrials": {
            **FOUND_ERRORS, **STORE, "404": "What the question names is not known.",
            "413": "The question is too large.", "422": "The question contradicts itself.",
        },
        "getTrial": {**FOUND_ERRORS, **STORE, "404": "There is no such trial."},
    },
    headers={
        ("addTrial", "201"): {"Location": ("Path of the trial.", "string")},
        **{(name, "503"): {"Retry-After": ("Seconds after which to try again.", "integer")}
           for name in ("addTrial", "listTrials", "getTrial")},
    },
    links={"addTrial": {"getTrial": ("getTrial", {"trial": "$response.body#/id"})}},
    parameters={"trial": ("Trial id.", "kept_by_who_wrote_it_down")},
    bodies={
        "addTrial": Body(
            type=TrialGiven, description="What was tried, and how often it came off.",
            summary="Eleven of twelve came off", example=TRIAL_EXAMPLE,
        )
    },
    queries={"listTrials": TrialFilter},
)  # fmt: skip
"""The operations of trials."""
