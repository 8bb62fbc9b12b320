"""What the OpenAPI document says of keys, scopes and rates."""

from __future__ import annotations

from typing import Any

from advisor.service.access.layer import takes_key, unlimited

__all__ = ["COMPONENTS", "describe_access"]

COMPONENTS: dict[str, Any] = {
    "securitySchemes": {
        "bearer": {
            "type": "http", "scheme": "bearer", "bearerFormat": "sak_<id>_<secret>",
            "description": "A key (`advisor keys add`). None is needed where the service listens on loopback only, or "
            "is open to all; the words of an operation's requirement are the scopes of the key. `admin` is good for "
            "everything. A key that is revoked holds for five more seconds at most.",
        },
        "address": {
            "type": "apiKey", "in": "query", "name": "key",
            "description": "The same key in the address, for event streams and sockets of a browser, which can send no "
            "header. The service does not write it down, but a proxy on the way may, and it stays in histories: use a "
            "key of the scope `read` alone that expires.",
        },
    },
    "headers": {
        "RateLimit": {
            "description": "Requests that are left, and seconds until all are again: `\"key\";r=599;t=1`. On every "
            "answer to a caller whose rate is limited (draft-ietf-httpapi-ratelimit-headers-09).",
            "schema": {"type": "string"},
        },
        "RateLimit-Policy": {
            "description": "What limits the caller: the policy (`key`, `address` or `wrong-keys`), requests, seconds: "
            "`\"key\";q=600;w=60`. As many at once, and evenly after that.",
            "schema": {"type": "string"},
        },
    },
}  # fmt: skip
_RATES = {name: {"$ref": f"#/components/headers/{name}"} for name in COMPONENTS["headers"]}
_CHALLENGE = {"description": "What kind of key is asked for (RFC 6750, 3).", "required": True,
              "schema": {"type": "string"}}  # fmt: skip
_WAIT = {"description": "Seconds after which to try again.", "required": True, "schema": {"type": "integer"}}
_SAID = {
    "401": "A key is needed, or the one that was given does not hold.",
    "403": "The key has no scope for this, or a page of another origin asks without a key.",
    "429": "Too many requests.",
    "503": "The store of the keys does not answer.",
}


def describe_access(operation: dict[str, Any], path: str, needs: str, problem: dict[str, Any]) -> None:
    """Add requirement, errors and headers to an operation that needs a scope; ``problem`` is the schema of errors."""
    responses = operation["responses"]
    kinds: list[dict[str, list[str]]] = [{"bearer": [needs]}, *([{"address": [needs]}] if takes_key(path) else [])]
    operation["security"] = [] if needs == "none" else [{}, *kinds]
    wanted = {"401": {"WWW-Authenticate": _CHALLENGE}}
    if needs != "none":
        wanted |= {"403": {}, "503": {"Retry-After": _WAIT}}
    if not unlimited(path):
        wanted["429"] = {"Retry-After": _WAIT}
        for status, response in responses.items():
            if status[0] in "23":
                response.setdefault("headers", {}).update(_RATES)
    for status, headers in wanted.items():
        if status not in responses:
            content = {"application/problem+json": {"schema": problem}}
            responses[status] = {"description": _SAID[status], "content": content}
        elif _SAID[status] not in responses[status]["description"]:
            responses[status]["description"] += f" {_SAID[status]}"
        if headers:
            responses[status].setdefault("headers", {}).update(headers)
    if "429" in wanted:
        responses["429"]["headers"].update({name: {**header, "required": True} for name, header in
                                            COMPONENTS["headers"].items()})  # fmt: skip
