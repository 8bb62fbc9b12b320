"""Live channels and the state of the service: each function makes a plan, as in ``advisor.clients.api.operations``."""

from __future__ import annotations

from advisor.clients.api.calls import Call, Given, get, json_of, path_of, post
from advisor.service.live.wire import LiveAdvice, LiveClear, LivePage, LiveState
from advisor.service.running.served import Reloaded
from advisor.service.seen.readiness import Ready

__all__ = ["clear_live", "get_live", "list_live", "ready", "reload", "submit_live"]


def submit_live(channel: str, state: LiveState | Given) -> Call[LiveAdvice]:
    """Show a state of the game on a live channel: the event that whoever watches it gets, with the advice.

    It is not sent twice by itself: it might overtake a newer state.
    """
    return post(path_of("v1", "live", channel), state, json_of(LiveAdvice), changes=True)


def get_live(channel: str) -> Call[LiveAdvice]:
    """What a channel shows now; ``NotFound`` when that is nothing. ``listen`` follows it."""
    return get(path_of("v1", "live", channel), LiveAdvice)


def clear_live(channel: str) -> Call[LiveClear]:
    """Show nothing on a channel any more. It is not sent twice by itself: it might clear a newer state."""
    return Call(method="DELETE", path=path_of("v1", "live", channel), read=json_of(LiveClear), safe=False)


def list_live(after: str | None = None, limit: int | None = None) -> Call[LivePage]:
    """A page of the channels that show something, by name; ``after`` is ``next`` of the page before."""
    return get("/v1/live", LivePage, {"after": after, "limit": limit})


def ready() -> Call[Ready]:
    """Whether the service can answer now, part by part; a part that is down is a problem, asked again as others are."""
    return get("/v1/health/ready", Ready)


def reload() -> Call[Reloaded]:
    """Have the service read its packs and rules again. It is not sent twice by itself."""
    return Call(method="POST", path="/v1/admin/reload", read=json_of(Reloaded), safe=False)
