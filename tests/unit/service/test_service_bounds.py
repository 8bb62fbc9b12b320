"""How much a body may hold: counted from its bytes, as a count of what it decodes to would have it."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.errors import AdvisorError
from advisor.service.app import Service
from advisor.service.asking.bounds import BOUNDS, Bounds, check_bounds
from advisor.service.settings import Settings

TEXTS = st.text(alphabet='ab"\\[]{},:', max_size=6)
VALUES = st.recursive(
    st.none() | st.integers() | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=30,
)  # fmt: skip


def depth(value: Any) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
    return 0 if inner is None else 1 + max(map(depth, inner), default=0)


def members(value: Any) -> int:
    inner = list(value.values() if isinstance(value, dict) else value if isinstance(value, list) else [])
    return len(inner) + sum(map(members, inner))


def refusal(body: bytes, bounds: Bounds) -> str:
    try:
        check_bounds(body, bounds)
    except AdvisorError as error:
        return error.code
    return ""


@given(VALUES, st.booleans())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_depth_is_told_exactly_and_members_never_too_few(value: Any, spaced: bool) -> None:
    body = json.dumps(value, ensure_ascii=False, indent=1 if spaced else None).encode()
    deep, many = depth(value), members(value)
    plenty = 10_000
    assert refusal(body, Bounds(deep, plenty)) == ""
    if deep:
        assert refusal(body, Bounds(deep - 1, plenty)) == "body-malformed"
    if many:
        assert refusal(body, Bounds(100, many)) == "body-too-large" or many < plenty
        assert refusal(body, Bounds(100, 2 * many + 2)) == "", "brackets of empty lists count too"
        assert refusal(body, Bounds(100, max(1, many - 1))) == "body-too-large"


@pytest.mark.parametrize(
    "body",
    [b"[" * 65_536, b'"' + b'\\"' * 32_000, b'{"a":"' + b"\\\\" * 30_000, b"[{}," * 16_384, b'"",' * 21_845,
     b"[" * 32_768 + b"]" * 32_768, b"[]" * 32_768, b"[{" * 16_384 + b"}]" * 16_384],
)  # fmt: skip
def test_hostile_bytes_cost_no_more_than_their_length(body: bytes) -> None:
    began = time.process_time()
    for _ in range(3):
        refusal(body, Bounds())
    assert (time.process_time() - began) / 3 < 0.05


@pytest.mark.parametrize("chunked", [False, True])
def test_what_is_too_much_is_refused_with_a_word_on_it(client: TestClient[Service], chunked: bool) -> None:
    deep = b'{"me": ' + b"[" * 32 + b"]" * 32 + b"}"
    many = json.dumps({**question(), "replies": [0] * 20_001}).encode()
    for body, status, code, said in (
        (deep, 400, "body-malformed", "more than 32 levels"), (many, 413, "body-too-large", "more than 20000 values"),
    ):  # fmt: skip
        content = iter([body[:100], body[100:]]) if chunked else body
        response = client.post("/v1/advice", content=content, headers={"content-type": "application/json"})
        assert (response.status_code, response.json()["code"]) == (status, code)
        assert said in response.json()["detail"]
        assert "pointer" not in response.json()


def test_bounds_are_those_of_the_settings() -> None:
    assert Bounds.of(Settings()) == BOUNDS
    assert Bounds.of(Settings(max_depth=5, max_items=16)) == Bounds(5, 16)
