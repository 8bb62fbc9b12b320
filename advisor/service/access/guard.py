"""Whether the caller may use a route: every handler says in `opt` which scope it needs.

A guard of the framework costs a copy of the handler with every request, more than all the rest of this; so it is a
layer between the routing and the handlers.
"""

from __future__ import annotations

import hashlib
import time
from typing import Any

import msgspec
from litestar import Request

from advisor.service.access.caller import AccessError, caller_of, challenge
from advisor.service.access.refusing import refuse_socket
from advisor.service.access.signatures import SIGNATURE, check_signature, refused

__all__ = ["NEEDS", "guarded"]

NEEDS = ("none", "read", "live", "notebook", "admin")
"""What a handler may need; one that does not say needs everything."""


def guarded(app: Any) -> Any:
    """The handlers of a route, for those who may use them. Errors: ``AccessError``, of a socket told by it."""

    async def guard(scope: Any, receive: Any, send: Any) -> None:
        method = scope.get("method")
        if method != "OPTIONS":
            needs = scope["route_handler"].opt.get("needs", "admin")
            if needs == "live" and method == "POST" and SIGNATURE in (name for name, _ in scope["headers"]):
                await _check_signed(Request(scope, receive, send))
            error = _refusal(scope, needs)
            if error is not None:
                if method is not None:
                    raise error
                await refuse_socket(scope, send, error)
                return
        await app(scope, receive, send)

    return guard


def _refusal(scope: Any, needs: str) -> AccessError | None:
    caller = caller_of(scope)
    if needs == "none":
        return None
    if (pending := scope.get("advisor.pending")) is not None:
        return pending  # type: ignore[no-any-return]
    if caller.may(needs):
        return None
    if caller.kind == "key":
        return AccessError(
            "scope-missing", f"the key has no scope `{needs}`", help="ask for a key that has it",
            headers=challenge("insufficient_scope", scope=needs),
        )  # fmt: skip
    if caller.kind == "webhook":
        return AccessError("scope-missing", f"a signature is not good for what needs the scope `{needs}`")
    return AccessError(
        "key-needed", caller.why or "a key is needed", headers=challenge(),
        help=f"send `Authorization: Bearer <key>` with a key of the scope `{needs}` (`advisor keys add`)",
    )  # fmt: skip


async def _check_signed(request: Request[Any, Any, Any]) -> None:
    """Make the caller one who may show states, once the signature of the body holds and is new.

    Errors: ``AccessError`` ``signature-invalid``.
    """
    scope: Any = request.scope
    gate = scope.get("advisor.gate")
    if gate is None or gate.secret is None:
        return
    now = time.time()
    signed = check_signature(gate.secret, scope["headers"], await request.body(), now)
    stamp = int(signed.partition(b".")[0])
    mark = hashlib.sha256(signed + scope["path"].encode("utf-8")).digest()
    if not await gate.first(mark, stamp, now):
        raise refused("the body was sent before")
    caller = caller_of(scope)
    kind = "webhook" if caller.kind == "anyone" else caller.kind
    scope["advisor.caller"] = msgspec.structs.replace(caller, kind=kind, scopes=caller.scopes | {"live"})
