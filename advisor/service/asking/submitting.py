"""The routes of the tasks: a question or a study goes to the desk as it came, in a body or in an address."""

from __future__ import annotations

from typing import Any

from litestar import Request, get, post
from litestar.handlers import HTTPRouteHandler
from litestar.openapi.datastructures import ResponseSpec
from litestar.types import ASGIApp

from advisor.service.asking.arriving import body_of, first_headers, joined
from advisor.service.asking.asked import PictureQuery, PlainQuery, asked_of
from advisor.service.asking.etags import HEADERS, NOT_MODIFIED, any_named, keeping, named
from advisor.service.asking.media_types import check_media_type, media_type_of
from advisor.service.asking.sent import Sent
from advisor.service.operations import BODY_ERRORS, Body, Operations
from advisor.service.problems import RETRY_AFTER
from advisor.service.running.served import served_of
from advisor.service.weighing.tasks import TASKS, Task
from advisor.service.weighing.work import JSON, Answer

__all__ = ["TASK_OPERATIONS", "picture_form"]

HOW = {"hit": "advisor; hit", "miss": "advisor; fwd=miss", "shared": "advisor; fwd=miss; collapsed"}
"""``Cache-Status`` (RFC 9211) by how an answer was found."""


def _response(answer: Answer, headers: dict[str, str]) -> Sent:
    if answer.how:
        headers["Cache-Status"] = HOW[answer.how]
    if answer.status == 503:
        headers["Retry-After"] = str(RETRY_AFTER)
    return Sent(answer.status, answer.media_type, answer.body, headers)


async def _looked_at_later(_: Request[Any, Any, Any]) -> None:
    """Which forms are accepted hangs on the task, and may stand in the address: the routes look at it themselves."""


def _submit(task: Task) -> HTTPRouteHandler:
    """The route of a task; the body goes to the desk as it came."""
    varies = {"Vary": "Accept"} if task.pictures else {}

    async def submit(request: Request[Any, Any, Any]) -> ASGIApp:
        served, given = served_of(request), first_headers(request.scope)
        media_type = media_type_of(joined(request.scope, b"accept"), task)
        check_media_type(given.get(b"content-type", b"").decode("latin-1"))
        most = served.holding.settings.max_body
        body = await body_of(request.receive, most, given.get(b"content-length", b""))
        return _response(await served.desk.ask(task.name, body, media_type), dict(varies))

    done = ResponseSpec(data_container=task.answer, description=task.summary, generate_examples=False)
    return post(
        task.path,
        name=task.operation,
        operation_id=task.operation,
        summary=task.summary,
        description=task.description,
        status_code=200,
        responses={200: done},
        before_request=_looked_at_later,
        opt={"needs": "read"},
    )(submit)


def _get(task: Task) -> HTTPRouteHandler:
    """The same with the question in the address: to be linked to, shown as a picture, and kept by others."""

    async def ask(request: Request[Any, Any, Any]) -> ASGIApp:
        served = served_of(request)
        desk = served.desk
        body, media_type = asked_of(request, task, served.holding.settings.max_body)
        data = desk.data
        etag = await desk.etag(task.name, body, media_type)
        headers = keeping(request, etag, served.holding.settings.cache_seconds) if etag else {}
        if etag is not None and named(request, etag):
            return Sent(304, JSON, b"", headers)
        answer = await desk.ask(task.name, body, media_type)
        if answer.status != 200 or desk.data != data:  # Refused, or the data were read again meanwhile.
            return _response(answer, {"Cache-Control": "no-store", "Vary": "Accept"})
        if any_named(request):
            return Sent(304, JSON, b"", headers)
        return _response(answer, headers)

    done = ResponseSpec(data_container=task.answer, description=task.summary, generate_examples=False)
    return get(
        task.path,
        name=task.operation_get,
        operation_id=task.operation_get,
        summary=f"{task.summary}, by an address",
        description=f"{task.description} The same as with POST, with the question in the address: to be linked to, "
        "shown as a picture, and kept. Pointers of errors lead into the question.",
        responses={200: done},
        before_request=_looked_at_later,
        opt={"needs": "read"},
    )(ask)


def picture_form(media_type: str) -> dict[str, Any] | None:
    """What the document says of a picture: text when it is XML, else bytes."""
    return {"type": "string"} if media_type.endswith("xml") else None


NO_FORM = "The caller takes none of the forms of the answer."
NO_TIME = "Too many questions wait for a worker, or this one takes too long to weigh."
ASKED = "The state of the game, and what to weigh."
_ALL = tuple(TASKS.values())
_BODIES = {t.name: Body(type=t.request, description=ASKED, summary=t.summary, example=t.example) for t in _ALL}
_DONE = {t.name: "Ranked responses, best first." if t.name == "advice" else "The answer." for t in _ALL}
_FORMS = {t.name: {JSON: t.answer, **{form: picture_form(form) for form in t.pictures}} for t in _ALL}
_RETRY = {"Retry-After": ("Seconds after which to try again.", "integer")}


def _errors(task: Task) -> dict[str, str]:
    return {**BODY_ERRORS, "503": NO_TIME, **({"406": NO_FORM} if task.pictures else {})}


def _got_errors(task: Task) -> dict[str, str]:
    return {k: v.replace("body", "question") for k, v in _errors(task).items() if k not in ("408", "415")}


TASK_OPERATIONS = Operations(
    routes=(*map(_submit, _ALL), *map(_get, _ALL)),
    types=tuple(task.answer for task in _ALL),
    done={name: _DONE[t.name] for t in _ALL for name in (t.operation, t.operation_get)},
    errors={t.operation: _errors(t) for t in _ALL} | {t.operation_get: _got_errors(t) for t in _ALL},
    headers={(name, "503"): _RETRY for t in _ALL for name in (t.operation, t.operation_get)}
    | {(t.operation_get, status): HEADERS for t in _ALL for status in ("200", "304")},
    bodies={t.operation: _BODIES[t.name] for t in _ALL},
    asked={t.operation_get: _BODIES[t.name] for t in _ALL},
    unchanged={t.operation_get: NOT_MODIFIED for t in _ALL},
    queries={t.operation_get: PictureQuery if t.pictures else PlainQuery for t in _ALL},
    answers={name: _FORMS[t.name] for t in _ALL for name in (t.operation, t.operation_get)},
)
"""Advice and the studies."""
