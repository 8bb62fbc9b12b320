"""What comes of an exception that reaches the framework: a problem."""

from __future__ import annotations

import logging
from typing import Any

from litestar import Request, Response
from litestar.exceptions import HTTPException

from advisor.errors import STATUS, AdvisorError
from advisor.service.problems import GONE, PROBLEM, RETRY_AFTER, encode_problem, problem_of
from advisor.service.wire import Problem

__all__ = ["handle", "respond"]

_log = logging.getLogger("advisor.service")


def respond(problem: Problem) -> Response[bytes]:
    """The response for a problem."""
    return Response(encode_problem(problem), status_code=problem.status, media_type=PROBLEM)


def handle(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Any exception that reaches the server, as a problem."""
    if isinstance(error, AdvisorError):
        if STATUS[error.code] >= 500:
            _log.error("%s %s: %s", request.method, request.url.path, error.message)
        response = respond(problem_of(error))
        if STATUS[error.code] == 503:
            response.headers["Retry-After"] = str(RETRY_AFTER)
        response.headers.update(getattr(error, "headers", {}))
        return response
    if isinstance(error, HTTPException) and error.status_code < 500:
        response = respond(problem_of(_refusal(request, error)))
        if allow := {k.lower(): v for k, v in (error.headers or {}).items()}.get("allow"):
            response.headers["Allow"] = allow
        return response
    if GONE in request.scope:
        # Nobody gets this answer, and nobody here is at fault.
        return respond(problem_of(AdvisorError("body-malformed", "the caller went away before the body was whole")))
    _log.error("%s %s", request.method, request.url.path, exc_info=error)
    return respond(problem_of(AdvisorError("fault", "something went wrong on our side")))


def _refusal(request: Request[Any, Any, Any], error: HTTPException) -> AdvisorError:
    """What the framework refused, in our own codes."""
    if error.status_code == 404:
        return AdvisorError("not-found", f"nothing is at `{request.url.path}`")
    if error.status_code == 405:
        return AdvisorError("method-not-allowed", f"`{request.method}` is not offered at `{request.url.path}`")
    if error.status_code == 413:
        return AdvisorError("body-too-large", "the body is larger than the limit")
    said = str(error.detail)
    return AdvisorError("value-invalid", said[:1].lower() + said[1:])
