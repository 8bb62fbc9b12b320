"""The routes of the pages. They are for people and no part of the contract of the service."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response, get
from litestar.di import NamedDependency
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.sentences import spoken
from advisor.service.pages.board import Board, board
from advisor.service.pages.said import spoken_files

__all__ = ["PAGES"]

FREE = {"needs": "none"}
"""Pages hold no data: anybody may have them. What they ask for has the scopes of the routes that they ask."""


def _any_form(_: Request[Any, Any, Any]) -> None:
    """A page is given whatever the caller says it takes: a browser takes it."""


@get("/", include_in_schema=False, sync_to_thread=False, before_request=_any_form, opt=FREE)
def home() -> Response[None]:
    """The desk is what most come for; the place is relative, so that it holds behind a prefix."""
    return Response(None, status_code=307, headers={"Location": "desk"})


@get("/desk", include_in_schema=False, sync_to_thread=False, before_request=_any_form, opt=FREE)
def desk_page(request: Request[Any, Any, Any]) -> Response[bytes]:
    """The desk."""
    return _file(request, "desk.html")


@get("/overlay", include_in_schema=False, sync_to_thread=False, before_request=_any_form, opt=FREE)
def overlay_page(request: Request[Any, Any, Any]) -> Response[bytes]:
    """What software for streams lays over the picture."""
    return _file(request, "overlay.html")


@get("/pages/{file:str}", include_in_schema=False, sync_to_thread=False, before_request=_any_form, opt=FREE)
def page_file(request: Request[Any, Any, Any], file: FromPath[str]) -> Response[bytes]:
    """One file of the pages."""
    return _file(request, file)


@get("/desk/board", include_in_schema=False, sync_to_thread=False, opt={"needs": "read"})
def desk_board(library: NamedDependency[Library]) -> Board:
    """What the desk lays out before the first question."""
    return board(library)


def _file(request: Request[Any, Any, Any], name: str) -> Response[bytes]:
    """The file as it is in the caller's language, or 304 when the caller has it. Errors: ``not-found``."""
    found = spoken_files(spoken()).get(name)
    if found is None:
        raise AdvisorError("not-found", f"nothing is at `{request.url.path}`")
    headers = {
        "ETag": found.etag, "Cache-Control": "no-cache", "Content-Security-Policy": found.policy,
        "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
    }  # fmt: skip
    if _has(request.headers.get("if-none-match", ""), found.etag):
        return Response(b"", status_code=304, headers=headers, media_type=found.media_type)
    return Response(found.body, headers=headers, media_type=found.media_type)


def _has(given: str, etag: str) -> bool:
    """Whether ``If-None-Match`` names the tag, compared weakly (RFC 9110, 13.1.2); the tags hold no commas."""
    tags = [tag.strip().removeprefix("W/") for tag in given.split(",")]
    return etag in tags or tags == ["*"]


PAGES: tuple[HTTPRouteHandler, ...] = (home, desk_page, overlay_page, page_file, desk_board)
"""The routes of the pages."""
