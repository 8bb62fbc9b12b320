"""The routes of live channels: submit, look, clear, list, and the two kinds of streams."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import msgspec
from litestar import Request, Response, WebSocket, delete, get, post, websocket
from litestar.di import NamedDependency
from litestar.params import FromPath
from litestar.response.base import ASGIResponse
from msgspec import Struct

from advisor.errors import AdvisorError
from advisor.sentences.catalogue import ENGLISH
from advisor.service.asking.arriving import joined
from advisor.service.asking.media_types import best_of, check_media_type
from advisor.service.asking.queries import read_query
from advisor.service.live.events import Entry, read_mark
from advisor.service.live.hub import Hub
from advisor.service.live.streams import EVENT_STREAM, EventStream, refuse, serve_socket
from advisor.service.live.submitting import submit
from advisor.service.live.subscriber import Subscriber
from advisor.service.live.wire import (
    LiveAdvice,
    LiveChannel,
    LiveClear,
    LivePage,
    LiveState,
    PageQuery,
    StreamQuery,
)
from advisor.service.operations import BODY_ERRORS, READ_ERRORS, Body, Operations
from advisor.service.problems import PROBLEM, RETRY_AFTER, ParameterError
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Desk

__all__ = ["LIVE"]

NAME = r"[a-z0-9_-]{1,64}"


def _name(channel: str) -> str:
    """Errors: ``ParameterError`` for what is no name of a channel."""
    if not re.fullmatch(NAME, channel):
        help = "1 to 64 of a-z, 0-9, `_` and `-`"
        raise ParameterError("value-invalid", f"`{channel[:80]}` is no name of a channel", name="channel", help=help)
    return channel


class _Spoken(Struct):
    """The language of what is kept."""

    language: str = ENGLISH


_SPOKEN = msgspec.json.Decoder(_Spoken)


def _event(entry: Entry) -> Response[bytes]:
    # In the language of who showed it, not of who asks.
    language = _SPOKEN.decode(entry.payload).language
    headers = {"Cache-Control": "no-store", "Content-Language": language}
    return Response(entry.document(), media_type=JSON, headers=headers)


@post(
    "/v1/live/{channel:str}",
    operation_id="submitLive",
    summary="Show a state on a channel",
    description="The state is weighed, and those who watch the channel get it with the advice. A faulty one changes "
    "nothing. States of a channel come out in the order in which they came in.",
    status_code=200,
    opt={"needs": "live"},
)
async def submit_live(
    request: Request[Any, Any, Any],
    hub: NamedDependency[Hub],
    desk: NamedDependency[Desk],
    channel: FromPath[str],
) -> Response[bytes]:
    """Weigh a state and show it."""
    name = _name(channel)
    check_media_type(request.headers.get("content-type", ""))
    done = await submit(hub, desk, name, await request.body())
    if isinstance(done, Entry):
        return _event(done)
    headers = {"Retry-After": str(RETRY_AFTER)} if done.status == 503 else {}
    return Response(done.body, status_code=done.status, media_type=done.media_type, headers=headers)


@get("/v1/live/{channel:str}", operation_id="getLive", summary="What a channel shows now", opt={"needs": "read"})
async def get_live(hub: NamedDependency[Hub], channel: FromPath[str]) -> Response[bytes]:
    """The current state and its advice."""
    return _event(await hub.current(_name(channel)))


@delete(
    "/v1/live/{channel:str}",
    operation_id="clearLive",
    summary="Clear a channel",
    description="Those who watch it get the event `clear`.",
    status_code=200,
    opt={"needs": "live"},
)
async def clear_live(hub: NamedDependency[Hub], channel: FromPath[str]) -> Response[bytes]:
    """Take the state away."""
    return _event(await hub.clear(_name(channel)))


@get("/v1/live", operation_id="listLive", summary="The channels that show something", opt={"needs": "live"})
async def list_live(request: Request[Any, Any, Any], hub: NamedDependency[Hub]) -> LivePage:
    """One page of the channels."""
    wanted = read_query(PageQuery, request.query_params.multi_items())
    found = [one for one in await hub.shown() if one[0] > wanted.after]
    page = [
        LiveChannel(channel=name, at=_moment(at), subscribers=count) for name, at, count in found[: wanted.limit]
    ]
    return LivePage(channels=page, next=page[-1].channel if len(found) > len(page) else None)


def _moment(milliseconds: int) -> str:
    return datetime.fromtimestamp(milliseconds / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _takes_events(request: Request[Any, Any, Any]) -> None:
    given = joined(request.scope, b"accept").strip()
    if given and best_of(given, (EVENT_STREAM, PROBLEM)) is None:
        raise AdvisorError("not-acceptable", f"`accept` is `{given}`", help=f"accept `{EVENT_STREAM}`")


async def _joined(hub: Hub, channel: str, given: StreamQuery, header: str | None) -> Subscriber:
    last = header or given.last_event_id
    return await hub.join(_name(channel), read_mark(last), known=bool(last))


@get(
    "/v1/live/{channel:str}/events",
    operation_id="followLive",
    summary="The events of a channel as they come",
    description="Server-sent events (WHATWG HTML, 9.2): `advice` with a LiveAdvice, `clear` with a LiveClear as data. "
    "The stream begins with the current state, or after `Last-Event-ID` with what was missed since. A comment is sent "
    "when nothing else is, as a sign of life. Who reads too slowly is cut off, and misses nothing by coming back with "
    "the last id. The same events come as JSON messages over a WebSocket at `/v1/live/{channel}/socket`.",
    before_request=_takes_events,
    opt={"needs": "read"},
)
async def follow_live(
    request: Request[Any, Any, Any], hub: NamedDependency[Hub], channel: FromPath[str]
) -> ASGIResponse:
    """The stream of a channel."""
    given = read_query(StreamQuery, request.query_params.multi_items())
    member = await _joined(hub, channel, given, request.headers.get("last-event-id"))
    return EventStream(hub, member, follow=given.follow == "yes" and not request.scope.get("advisor.bare"))


@websocket("/v1/live/{channel:str}/socket", opt={"needs": "read"})
async def live_socket(
    socket: WebSocket[Any, Any, Any], hub: NamedDependency[Hub], channel: FromPath[str]
) -> None:
    """The same events as messages."""
    try:
        given = read_query(StreamQuery, socket.query_params.multi_items())
        member = await _joined(hub, channel, given, socket.headers.get("last-event-id"))
    except AdvisorError as error:
        await refuse(socket, error)
        return
    try:
        await socket.accept()
    except BaseException:
        hub.leave(member)
        raise
    await serve_socket(hub, member, socket)


_EVENTS = {
    "anyOf": [
        {"type": "string", "description": "The stream as text."},
        {
            "type": "object", "description": "One event of it.", "required": ["id", "event", "data"],
            "additionalProperties": False,
            "properties": {
                "id": {"type": "string", "pattern": "^[0-9a-f]{12}-[0-9]+$"},
                "event": {"enum": ["advice", "clear"]},
                "data": {
                    "type": "string", "contentMediaType": JSON,
                    "contentSchema": {
                        "anyOf": [{"$ref": f"#/components/schemas/{kind}"} for kind in ("LiveAdvice", "LiveClear")]
                    },
                },
            },
        },
    ]
}
_AWAY = "The store of the channels does not answer."
_WAIT = {"Retry-After": ("Seconds after which to try again.", "integer")}
_FOUND = {**READ_ERRORS, "404": "The channel shows nothing now.", "503": _AWAY}
LIVE = Operations(
    routes=(submit_live, get_live, clear_live, list_live, follow_live, live_socket),
    types=(LiveAdvice, LiveClear, LivePage),
    done={
        "submitLive": "The event that those who watch the channel get.",
        "getLive": "The event that is current.",
        "clearLive": "The event that those who watch the channel get.",
        "listLive": "One page of the channels, by name.",
        "followLive": "The events.",
    },
    errors={
        "submitLive": {**BODY_ERRORS, "503": f"There is no room for another channel. {_AWAY}"},
        "getLive": _FOUND,
        "clearLive": _FOUND,
        "listLive": {**READ_ERRORS, "503": _AWAY},
        "followLive": {
            **READ_ERRORS, "406": "The caller takes no event stream.",
            "503": f"There is no room for another subscriber. {_AWAY}",
        },
    },
    headers={(key, "503"): _WAIT for key in ("submitLive", "getLive", "clearLive", "listLive", "followLive")},
    links={
        "submitLive": {
            name: (name, {"channel": "$response.body#/channel"}) for name in ("getLive", "clearLive", "followLive")
        },
    },
    parameters={"channel": ("Name of the channel.", "main-stage")},
    patterns={"channel": f"^{NAME}$"},
    bodies={
        "submitLive": Body(
            type=LiveState, description="The state of the game, and what goes along.", summary="A state to show",
            example={"question": TASKS["advice"].example, "note": "game 3", "hold": 8},
        )
    },
    answers={
        "submitLive": {JSON: LiveAdvice}, "getLive": {JSON: LiveAdvice}, "clearLive": {JSON: LiveClear},
        "followLive": {EVENT_STREAM: _EVENTS},
    },
    queries={"listLive": PageQuery, "followLive": StreamQuery},
)
"""The operations of live channels."""
