"""Errors as problem details (RFC 9457): one table of titles, one shape for every error."""

from __future__ import annotations

import logging
import re
from typing import Any

import msgspec
from litestar import Request, Response
from litestar.exceptions import (
    HTTPException,
    MethodNotAllowedException,
    NotFoundException,
    ValidationException,
)

from advisor.errors import STATUS, AdvisorError, did_you_mean
from advisor.service.wire import Problem

__all__ = ["PROBLEM", "TITLES", "decode", "encode_problem", "problem_of", "respond"]

PROBLEM = "application/problem+json"
_log = logging.getLogger("advisor.service")

TITLES: dict[str, str] = {
    "body-malformed": "the body is not the JSON it should be",
    "value-invalid": "a value is not what it should be",
    "question-impossible": "the question contradicts itself",
    "question-ambiguous": "the question can be read in two ways",
    "pack-unknown": "no such pack",
    "character-unknown": "no such character",
    "move-unknown": "no such move",
    "option-unknown": "no such option",
    "distance-unknown": "no such named distance",
    "not-found": "nothing is here",
    "method-not-allowed": "this method is not offered here",
    "not-acceptable": "the answer cannot be given in that form",
    "body-too-large": "the body is too large",
    "media-type-unsupported": "the body has to be JSON",
    "data-faulty": "a pack or rule file is faulty",
    "fault": "the fault is ours",
}


def problem_of(error: AdvisorError, *, parameter: str = "") -> Problem:
    """The body for an error; what is ours says no more than that it is."""
    return Problem(
        type=f"/problems/{error.code}",
        title=TITLES[error.code],
        status=STATUS[error.code],
        code=error.code,
        detail=error.message,
        pointer=error.pointer,
        parameter=parameter,
        help=error.help,
    )


def encode_problem(problem: Problem) -> bytes:
    return msgspec.json.encode(problem)


def respond(problem: Problem) -> Response[bytes]:
    """The response for a problem."""
    return Response(encode_problem(problem), status_code=problem.status, media_type=PROBLEM)


_PATH = re.compile(r"^(?P<text>.*?)(?: - at `(?P<path>.*)`)?$", re.DOTALL)
_MISSING = re.compile(r"Object missing required field `(?P<name>[^`]*)`")
_UNKNOWN = re.compile(r"Object contains unknown field `(?P<name>[^`]*)`")
_PARTS = re.compile(r"\.([^.\[\]]+)|\[(\d+|\.\.\.)\]")


def decode(body: bytes, decoder: msgspec.json.Decoder[Any], names: dict[str, list[str]]) -> Any:
    """The value in ``body``; ``names`` gives the known field names by JSON pointer of their object.

    Errors: ``AdvisorError`` ``body-malformed`` or ``value-invalid`` with a JSON pointer.
    """
    try:
        return decoder.decode(body)
    except msgspec.ValidationError as error:
        raise _invalid(str(error), names) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise AdvisorError(
            "body-malformed", f"the body cannot be read: {error}".lower(), help="send one JSON object in UTF-8"
        ) from None
    except RecursionError:
        raise AdvisorError("body-malformed", "the body is nested too deeply") from None


def _invalid(text: str, names: dict[str, list[str]]) -> AdvisorError:
    match = _PATH.match(text)
    assert match is not None
    message, pointer = match["text"], _pointer(match["path"] or "$")
    known = names.get(pointer, [])
    missing, unknown = _MISSING.match(message), _UNKNOWN.match(message)
    if missing:
        name = missing["name"]
        return AdvisorError(
            "value-invalid", f"`{name}` is missing", help=f"add `{name}`", pointer=f"{pointer}/{name}"
        )
    if unknown:
        name = unknown["name"]
        help = did_you_mean(name, known) or (f"known here: {', '.join(known)}" if known else "")
        return AdvisorError(
            "value-invalid", f"`{name}` is not known here", help=help, pointer=f"{pointer}/{_escaped(name)}"
        )
    return AdvisorError("value-invalid", _plain(message), help=_remedy(pointer, names), pointer=pointer)


def _remedy(pointer: str, names: dict[str, list[str]]) -> str:
    words = names.get(pointer)
    return f"one of {', '.join(words)}" if words else ""


def _plain(message: str) -> str:
    """The decoder's message in the trade's words: no type names of a programming language."""
    for old, new in (
        ("Expected `", "expected `"), ("got `", "got `"), ("`str`", "text"), ("`int`", "a whole number"),
        ("`float`", "a number"), ("`bool`", "true or false"), ("`object`", "an object"), ("`array`", "a list"),
        ("`null`", "null"), ("Invalid", "invalid"), ("`float | str | null`", "a number, text or null"),
    ):
        message = message.replace(old, new)
    message = re.sub(r"`([a-z| ]+)`", lambda m: _types(m[1]), message)
    return message[:1].lower() + message[1:]


def _types(text: str) -> str:
    words = {
        "str": "text", "int": "a whole number", "float": "a number", "bool": "true or false",
        "object": "an object", "array": "a list", "null": "null",
    }
    parts = [words.get(p.strip(), p.strip()) for p in text.split("|")]
    return " or ".join(parts)


def _pointer(path: str) -> str:
    return "".join(f"/{_escaped(a or b)}" for a, b in _PARTS.findall(path))


def _escaped(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")


def handle(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Any exception that reaches the server, as a problem."""
    if isinstance(error, AdvisorError):
        if STATUS[error.code] >= 500:
            _log.error("%s %s: %s", request.method, request.url.path, error.message)
        return respond(problem_of(error))
    if isinstance(error, ValidationException):
        return respond(_parameter_problem(error))
    if isinstance(error, NotFoundException):
        return respond(problem_of(AdvisorError("not-found", f"nothing is at `{request.url.path}`")))
    if isinstance(error, MethodNotAllowedException):
        said = f"`{request.method}` is not offered at `{request.url.path}`"
        response = respond(problem_of(AdvisorError("method-not-allowed", said)))
        if allow := (error.headers or {}).get("Allow"):
            response.headers["Allow"] = allow
        return response
    if isinstance(error, HTTPException) and error.status_code == 413:
        return respond(problem_of(AdvisorError("body-too-large", "the body is larger than the limit")))
    if isinstance(error, HTTPException) and error.status_code < 500:
        problem = problem_of(AdvisorError("value-invalid", str(error.detail)))
        problem.status = error.status_code
        return respond(problem)
    _log.exception("%s %s", request.method, request.url.path, exc_info=error)
    return respond(problem_of(AdvisorError("fault", "something went wrong on our side")))


def _parameter_problem(error: ValidationException) -> Problem:
    extra = error.extra if isinstance(error.extra, list) else []
    first: dict[str, Any] = extra[0] if extra and isinstance(extra[0], dict) else {}
    name = str(first.get("key", ""))
    said = _plain(_PATH.sub(r"\g<text>", str(first.get("message", error.detail))))
    return problem_of(AdvisorError("value-invalid", f"`{name}`: {said}" if name else said), parameter=name)
