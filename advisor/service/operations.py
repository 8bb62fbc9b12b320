"""A group of routes, with what the OpenAPI document says of them beside what the framework finds out by itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from litestar.handlers import HTTPRouteHandler, WebsocketRouteHandler
from msgspec import Struct

__all__ = [
    "BODY_ERRORS", "FOUND_ERRORS", "NOT_ACCEPTABLE", "OURS", "READ_ERRORS", "Body", "Operations",
]

NOT_ACCEPTABLE = {"406": "The caller takes no JSON."}
BODY_ERRORS = {
    "400": "The body is not what it should be.",
    "404": "The pack, character, move, option, distance or knockdown state is not known.",
    **NOT_ACCEPTABLE,
    "408": "The body took too long to arrive.",
    "413": "The body is too large.",
    "415": "The body is not JSON.",
    "422": "The question contradicts itself.",
}
"""Errors of an operation that takes a question."""
READ_ERRORS = {"400": "The request is malformed.", **NOT_ACCEPTABLE}
FOUND_ERRORS = {**READ_ERRORS, "404": "The pack, character or move is not known."}
OURS = {"500": "The fault is ours."}
"""Errors that any operation may have."""


class Body(Struct, frozen=True, kw_only=True):
    """What is sent to an operation: its type, a sentence on it, an example with its heading, and the form it has."""

    type: Any
    description: str
    summary: str
    example: Any
    media_type: str = "application/json"


class Operations(Struct, frozen=True, kw_only=True):
    """Routes and what is said of them, by operation id.

    ``types`` are those that answers name, ``done`` says what a success brings, ``errors`` those by status (what every
    operation may have is added), ``headers`` by (operation, status) name a header with its meaning and JSON type,
    ``links`` where an answer leads: link name, (operation id, parameters). ``bodies`` are what is sent, ``answers``
    the forms of a success by media type when the framework cannot know them (a type, a schema, or None for bytes),
    ``queries`` Structs of query parameters. ``parameters`` says what a path parameter is, with an example;
    ``patterns`` which form it has. ``problems`` are types of errors that say more than others, by (operation, status).
    ``asked`` is what the query parameter ``question`` holds as JSON, ``unchanged`` what a 304 means where there is one.
    """

    routes: tuple[HTTPRouteHandler | WebsocketRouteHandler, ...]
    types: tuple[Any, ...] = ()
    done: Mapping[str, str]
    errors: Mapping[str, Mapping[str, str]]
    headers: Mapping[tuple[str, str], Mapping[str, tuple[str, str]]] = {}
    links: Mapping[str, Mapping[str, tuple[str, Mapping[str, str]]]] = {}
    parameters: Mapping[str, tuple[str, str]] = {}
    patterns: Mapping[str, str] = {}
    bodies: Mapping[str, Body] = {}
    answers: Mapping[str, Mapping[str, Any]] = {}
    queries: Mapping[str, type[Struct]] = {}
    asked: Mapping[str, Body] = {}
    unchanged: Mapping[str, str] = {}
    problems: Mapping[tuple[str, str], type[Struct]] = {}
