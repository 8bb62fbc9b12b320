"""The routes of the tasks: a question or a study goes to the desk as it came."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response, post
from litestar.di import NamedDependency
from litestar.handlers import HTTPRouteHandler
from litestar.openapi.datastructures import ResponseSpec

from advisor.service.media_types import check_media_type, media_type_of
from advisor.service.operations import BODY_ERRORS, Body, Operations
from advisor.service.tasks import TASKS, Task
from advisor.service.work import JSON, Desk

__all__ = ["TASK_OPERATIONS", "picture_form"]


def _submit(task: Task) -> HTTPRouteHandler:
    """The route of a task; the body goes to the desk as it came."""

    async def submit(request: Request[Any, Any, Any], desk: NamedDependency[Desk]) -> Response[bytes]:
        check_media_type(request.headers.get("content-type", ""))
        media_type = media_type_of(request.headers.get("accept", ""), task)
        answer = await desk.ask(task.name, await request.body(), media_type)
        headers = {"Vary": "Accept"} if task.pictures else None
        return Response(answer.body, status_code=answer.status, media_type=answer.media_type, headers=headers)

    def acceptable(request: Request[Any, Any, Any]) -> None:
        media_type_of(request.headers.get("accept", ""), task)

    done = ResponseSpec(data_container=task.answer, description=task.summary, generate_examples=False)
    return post(
        task.path,
        name=task.operation,
        operation_id=task.operation,
        summary=task.summary,
        description=task.description,
        status_code=200,
        responses={200: done},
        before_request=acceptable,
    )(submit)


def picture_form(media_type: str) -> dict[str, Any] | None:
    """What the document says of a picture: text when it is XML, else bytes."""
    return {"type": "string"} if media_type.endswith("xml") else None


def _errors(task: Task) -> dict[str, str]:
    return {**BODY_ERRORS, "406": "The caller takes none of the forms of the answer."} if task.pictures else BODY_ERRORS


TASK_OPERATIONS = Operations(
    routes=tuple(map(_submit, TASKS.values())),
    types=tuple(task.answer for task in TASKS.values()),
    done={**{task.operation: "The answer." for task in TASKS.values()}, "advise": "Ranked responses, best first."},
    errors={task.operation: _errors(task) for task in TASKS.values()},
    bodies={
        task.operation: Body(
            type=task.request, description="The state of the game, and what to weigh.", summary=task.summary,
            example=task.example,
        )
        for task in TASKS.values()
    },
    answers={
        task.operation: {JSON: task.answer, **{form: picture_form(form) for form in task.pictures}}
        for task in TASKS.values()
    },
)
"""Advice and the studies."""
