"""Malformed and hostile requests, made from good ones: bytes as they go over the wire, always the same for a seed."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import quote

from advisor.service.weighing.tasks import TASKS

__all__ = ["requests"]

CHEAP = ("advice", "replay", "strings", "parries", "lab_list")
"""Tasks whose answers take moments: a mutation may leave a question good, which then has to be weighed."""
VALUES: tuple[Any, ...] = (
    None, True, -1, 0, 2**63, -(2**63) - 1, 10**400, 1e308, -0.0, "", " ", "\x00", "\ud800", "\u202e", "a" * 70_000,
    "\U0001d4b3" * 99,
    [], {}, [[]], {"": {}}, ["x"] * 3_000, {"kind": "blocked"}, "../../etc/passwd", "<img src=x onerror=alert(1)>",
    "'; drop table trials; --", "${7*7}", "{exchange.frame}", "%n%s", "NaN", "Infinity",
)  # fmt: skip
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS", "TRACE", "BREW", "get")
PATHS = (
    "/", "/v1", "/v1/", "/v1/advice/", "/v1//advice", "/v1/%2e%2e/advice", "/v1/packs/%00", "/v1/packs/..%2f..",
    "/v1/packs/" + "a" * 4_000, "/v1/packs/%ff%fe", "/v1/packs/cold_frame/characters/%F0%9F%92%A5", "/v1/jobs/x",
    "/v1/packs?limit=1&limit=2", "/v1/packs/cold_frame/characters/marl/moves?first_active_max=" + "9" * 22,
    "/v1/packs/cold_frame/characters/marl/moves?sort=-", "/v1/packs/cold_frame/characters/marl/moves?%00=%00",
    "/v1/health/live?" + "a=1&" * 300, "/metrics/../v1", "*", "/%",
)  # fmt: skip
HEADERS = (
    ("content-type", "text/plain"), ("content-type", "application/json; charset=utf-16"), ("content-type", ""),
    ("accept", "image/jpeg"), ("accept", ",;q=x"), ("accept", "a/" + "b" * 3_000),
    ("if-none-match", '"x", W/"y", *, "'),
    ("authorization", "Bearer \xff"), ("authorization", "Basic Og=="), ("last-event-id", "\xe9" * 400),
    ("x-request-id", "a\tb" * 90), ("x-forwarded-for", "999.1.1.1, ::g, " * 40),
    ("traceparent", "00-" + "0" * 32 + "-x-01"),
    ("idempotency-key", "k" * 900), ("accept-language", "en;q=,*;q=9,de-" * 60), ("cookie", "a=" + "b" * 4_000),
    ("origin", "null"), ("expect", "100-continue"), ("content-encoding", "gzip"), ("range", "bytes=0-"),
)  # fmt: skip


def requests(count: int, seed: int, host: str) -> Iterator[bytes]:
    """``count`` requests; the connection may have to be opened anew after any of them."""
    random_ = random.Random(seed)
    ways: tuple[Callable[[random.Random], tuple[str, str, list[tuple[str, str]], bytes]], ...] = (
        _bytes, _bytes, _values, _values, _values, _shape, _path, _query, _headers, _lengths,
    )  # fmt: skip
    for _ in range(count):
        method, path, headers, body = random_.choice(ways)(random_)
        names = {name for name, _ in headers}
        usual = [("host", host), ("content-type", "application/json"), ("content-length", str(len(body)))]
        lines = [f"{method} {path} HTTP/1.1", *(f"{k}: {v}" for k, v in headers)]
        lines += [f"{k}: {v}" for k, v in usual if k not in names]
        yield "\r\n".join(lines).encode("latin-1", "replace") + b"\r\n\r\n" + body


def _good(random_: random.Random) -> tuple[str, Any]:
    task = TASKS[random_.choice(CHEAP)]
    return task.path, json.loads(json.dumps(task.example))


def _bytes(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    """Bytes changed, cut out, doubled, or the end missing."""
    path, value = _good(random_)
    body = bytearray(json.dumps(value).encode())
    for _ in range(random_.randint(1, 6)):
        at = random_.randrange(len(body)) if body else 0
        how = random_.randrange(4)
        if how == 0 and body:
            body[at] = random_.randrange(256)
        elif how == 1:
            del body[at : at + random_.randint(1, 9)]
        elif how == 2:
            body[at:at] = body[at : at + random_.randint(1, 30)]
        else:
            del body[at:]
    return "POST", path, [], bytes(body)


def _values(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    """Something else where a value, a key or the whole stood."""
    path, value = _good(random_)
    places = list(_places(value))
    holder, key = random_.choice(places)
    strange = random_.choice(VALUES)
    if isinstance(holder, dict) and random_.random() < 0.3:
        holder[strange if isinstance(strange, str) else str(strange)[:90]] = holder.pop(key)
    else:
        holder[key] = strange
    return "POST", path, [], json.dumps(value).encode("utf-8", "surrogatepass")


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in list(parts):
        yield value, key
        yield from _places(part)


def _shape(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    """Deep, wide, doubled or no JSON at all."""
    path, value = _good(random_)
    text = json.dumps(value)
    bodies = (
        b"[" * 60_000, b'{"a":' * 9_000, b"\xff\xfe\x00", b"\xef\xbb\xbf" + text.encode(), b"", b" " * 65_000, b"1",
        ("[" + "0," * 30_000 + "0]").encode(), text.replace("{", '{"me":1,', 1).encode(), (text + text).encode(),
        text.encode("utf-16"), ("{" + ",".join(f'"k{i}":{i}' for i in range(4_000)) + "}").encode(), b"a" * 70_000,
        text.replace(":", ":" + " " * 40).encode(), b'"' + b"\\u0000" * 9_000 + b'"', b"-" * 1_000, b"1e999999",
    )  # fmt: skip
    return "POST", path, [], random_.choice(bodies)


def _path(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    return random_.choice(METHODS), random_.choice(PATHS), [], b""


def _query(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    """A question in the address, spoiled."""
    path, value = _good(random_)
    text = quote(json.dumps(value))
    cut = text[: random_.randrange(len(text))]
    asked = random_.choice((cut, quote(cut), "%", "%zz", "[" * 900, text + "&question=" + text, text + "&form=tiff"))
    return "GET", f"{path}?question={asked}", [], b""


def _headers(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    path, value = _good(random_)
    chosen = random_.sample(HEADERS, random_.randint(1, 4))
    return random_.choice(("POST", "GET")), path, chosen, json.dumps(value).encode()


def _lengths(random_: random.Random) -> tuple[str, str, list[tuple[str, str]], bytes]:
    """Lengths that are none, and chunks."""
    path, value = _good(random_)
    body = json.dumps(value).encode()
    if random_.random() < 0.5:
        sizes = random_.choice((b"%x" % len(body), b"zz", b"-1", b"ffffffffffffffffffff"))
        chunked = [("transfer-encoding", "chunked"), ("content-length", "")]
        return "POST", path, chunked[: random_.randint(1, 2)], sizes + b"\r\n" + body + b"\r\n0\r\n\r\n"
    return "POST", path, [("content-length", random_.choice(("-1", "x", "1e3", "99999999999", " 5", "+7")))], body
