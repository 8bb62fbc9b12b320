"""The routes of jobs: submit, look, list, fetch the answer, cancel."""

from __future__ import annotations

import asyncio
from typing import Any

import msgspec
from litestar import Request, Response, delete, get, post
from litestar.di import NamedDependency
from litestar.params import FromPath

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.service.access.caller import caller_of
from advisor.service.asking.bounds import Bounds
from advisor.service.asking.media_types import check_media_type, media_type_of
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.asking.submitting import picture_form
from advisor.service.jobs.board import Board
from advisor.service.jobs.wire import JOB_EXAMPLE, LONG, Job, JobPage, JobRequest, study_of
from advisor.service.operations import BODY_ERRORS, READ_ERRORS, Body, Operations
from advisor.service.running.served import served_of
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON

__all__ = ["JOBS"]

READ = {"needs": "read"}
_DECODER = msgspec.json.Decoder(JobRequest)


@post(
    "/v1/jobs",
    operation_id="submitJob",
    summary="Run a long study in the background",
    description="The request of a long study, to be answered in the background: look at the job until it is done, then "
    "fetch its answer. A faulty request is refused at once. A job belongs to the key that it was submitted with; no "
    "other finds it.",
    status_code=202,
    opt=READ,
)
async def submit_job(
    request: Request[Any, Any, Any], library: NamedDependency[Library], jobs: NamedDependency[Board]
) -> Response[Job]:
    """Check and queue a job."""
    check_media_type(request.headers.get("content-type", ""))
    bounds = Bounds.of(served_of(request).holding.settings)
    submitted = decode(await request.body(), _DECODER, words_of(JobRequest), bounds)
    study = study_of(submitted)
    await asyncio.to_thread(_check, library, study, submitted.request)
    job = await jobs.submit(study, submitted.request, caller_of(request.scope).owner)
    return Response(job, status_code=202, media_type=JSON, headers={"Location": f"/v1/jobs/{job.id}"})


def _check(library: Library, study: str, request: Any) -> None:
    """Refuse what the study itself would refuse at once, pointing into the body of the job."""
    check = LONG[study].check
    try:
        shelf = library.shelf(getattr(request, "pack", None))
        if check is not None:
            check(shelf.pack, request)
    except AdvisorError as error:
        error.pointer = f"/request{error.pointer}"
        raise


@get("/v1/jobs", operation_id="listJobs", summary="The jobs that are remembered", opt=READ)
async def list_jobs(request: Request[Any, Any, Any], jobs: NamedDependency[Board]) -> JobPage:
    """The caller's jobs, the oldest first."""
    return JobPage(jobs=await jobs.listed(caller_of(request.scope).sees))


@get("/v1/jobs/{job:str}", operation_id="getJob", summary="How far a job is", opt=READ)
async def get_job(request: Request[Any, Any, Any], jobs: NamedDependency[Board], job: FromPath[str]) -> Job:
    """One job."""
    return await jobs.job(job, caller_of(request.scope).sees)


def _any_form(_: Request[Any, Any, Any]) -> None:
    """Which forms there are hangs on the job, so the route itself looks at what is accepted."""


@get(
    "/v1/jobs/{job:str}/answer",
    operation_id="getJobAnswer",
    summary="The answer of a job",
    description="What the study's own route would answer, in the same forms; of a failed job its problem.",
    before_request=_any_form,
    opt=READ,
)
async def get_job_answer(
    request: Request[Any, Any, Any], jobs: NamedDependency[Board], job: FromPath[str]
) -> Response[bytes]:
    """The answer of a finished job."""
    sees = caller_of(request.scope).sees
    task = TASKS[(await jobs.job(job, sees)).study]
    wanted = media_type_of(request.headers.get("accept", ""), task)
    forms = await jobs.forms(job, sees)
    answer = forms.get(wanted, forms[JSON])
    headers = {"Vary": "Accept"} if task.pictures else None
    return Response(answer.body, status_code=answer.status, media_type=answer.media_type, headers=headers)


@delete(
    "/v1/jobs/{job:str}",
    operation_id="cancelJob",
    summary="Cancel a job",
    description="A job that is queued or running is cancelled; one that is over stays as it is. It may be done twice. "
    "With several servers, one that has not heard within two seconds that the job ended says how far it is; it will "
    "still be cancelled.",
    status_code=202,
    opt=READ,
)
async def cancel_job(request: Request[Any, Any, Any], jobs: NamedDependency[Board], job: FromPath[str]) -> Job:
    """Cancel one job."""
    return await jobs.cancel(job, caller_of(request.scope).sees)


_AWAY = "The store of the jobs (Redis, for several servers) cannot be reached."
_JOB_FOUND = {**READ_ERRORS, "404": "The job is not known, or was dropped since.", "503": _AWAY}
_RETRY = {"Retry-After": ("Seconds after which to try again.", "integer")}
_LONG = [TASKS[name] for name in LONG]
JOBS = Operations(
    routes=(submit_job, list_jobs, get_job, get_job_answer, cancel_job),
    types=(Job, JobPage, *(task.answer for task in _LONG)),
    done={
        "submitJob": "It is queued.",
        "listJobs": "The jobs of the caller (all, for an administrator), the oldest first.",
        "getJob": "The job.",
        "getJobAnswer": "The answer, as the route of the study would give it.",
        "cancelJob": "The job: cancelled, unless it was over before (or its server has not confirmed it yet).",
    },
    errors={
        "submitJob": {**BODY_ERRORS, "503": f"There is no room for another job. {_AWAY}"},
        "listJobs": {**READ_ERRORS, "503": _AWAY},
        "getJob": _JOB_FOUND,
        "cancelJob": _JOB_FOUND,
        "getJobAnswer": {
            **_JOB_FOUND, "406": "The caller takes none of the forms of the answer.",
            "409": "The job is not over, or was cancelled.", "422": "The job failed: it took too long, or was refused.",
        },
    },
    headers={
        ("submitJob", "202"): {"Location": ("Path of the job.", "string")},
        **{
            (name, "503"): _RETRY for name in ("submitJob", "listJobs", "getJob", "getJobAnswer", "cancelJob")
        },
    },
    links={
        "submitJob": {
            name: (name, {"job": "$response.body#/id"}) for name in ("getJob", "getJobAnswer", "cancelJob")
        },
        "cancelJob": {"getJob": ("getJob", {"job": "$response.body#/id"})},
    },
    parameters={"job": ("Job id.", "kept_by_who_submitted_it")},
    bodies={
        "submitJob": Body(
            type=JobRequest, description="The study, and what its own route takes.", summary="A study as a job",
            example=JOB_EXAMPLE,
        )
    },
    answers={
        "getJobAnswer": {
            JSON: {"anyOf": [{"$ref": f"#/components/schemas/{task.answer.__name__}"} for task in _LONG]},
            **{form: picture_form(form) for task in _LONG for form in task.pictures},
        }
    },
)
"""The operations of jobs."""
