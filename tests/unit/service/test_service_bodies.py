"""What ``POST /v1/advice`` says to bodies that are not a question: status, code, pointer and help."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from litestar.testing import TestClient

from advisor.advice import Advice
from advisor.errors import AdvisorError
from advisor.service.app import Service
from advisor.service.asking.arriving import body_of

Client = TestClient[Service]
JSON = {"content-type": "application/json"}
KINDS = "one of blocked, hit, counter_hit, whiffed, advantage, knockdown, neutral"


def question(**changes: Any) -> dict[str, Any]:
    """A question that has an answer, with fields changed (None leaves one out)."""
    body = {
        "me": {"character": "wenna"},
        "them": {"character": "marl"},
        "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
        "distance": "touching",
        "responses": ["putty_jab"],
        "replies": ["guard"],
        "limit": 1,
        **changes,
    }
    return {k: v for k, v in body.items() if v is not None}


def moment(**fields: Any) -> dict[str, Any]:
    return question(moment=fields)


def post(client: Client, body: bytes | dict[str, Any] | list[Any]) -> tuple[int, dict[str, Any]]:
    raw = body if isinstance(body, bytes) else json.dumps(body).encode()
    response = client.post("/v1/advice", content=raw, headers=JSON)
    return response.status_code, response.json()


def test_a_question_is_answered(client: Client) -> None:
    response = client.post("/v1/advice", json=question())
    assert response.status_code == 200
    assert response.headers["content-type"] == "application/json"
    advice = msgspec.json.decode(response.content, type=Advice)
    assert [r.option for r in advice.responses] == ["putty_jab"]
    assert advice.responses[0].verdict == "guaranteed"


@pytest.mark.parametrize(
    ("body", "detail"),
    [
        (b"", "the body is empty"),
        (b" \n", "the body is empty"),
        (b'{"distance": NaN}', "the body is not JSON: invalid character (byte 13)"),
        (b'{"distance": Infinity}', "the body is not JSON: invalid character (byte 13)"),
        (b"\xff", "the body is not JSON: invalid character (byte 0)"),
        (b'{"me": {"character": "\xff\xfe"}}', "the body is not valid UTF-8"),
        (b'{"\xff": 1}', "the body is not valid UTF-8"),
        (b'{"me":', "the body is not JSON: input data was truncated"),
        (
            b'{"moment": {"x": %b, "kind": "neutral"}}' % (b"[" * 25_000 + b"]" * 25000),
            "the body is nested more than 32 levels deep",
        ),
        (json.dumps(question()).encode() + b"{}", "the body is not JSON: trailing characters"),
    ],
)
def test_malformed(client: Client, body: bytes, detail: str) -> None:
    status, problem = post(client, body)
    assert (status, problem["code"]) == (400, "body-malformed")
    assert problem["detail"].startswith(detail)
    assert problem["help"] == "send one JSON object in UTF-8"
    assert "pointer" not in problem


@pytest.mark.parametrize("opening", [b"[", b'{"me":', b'{"a":', b'{"moment":{"x":', b'{"replies":['])
def test_two_thousand_nested_brackets_are_the_callers_fault(client: Client, opening: bytes) -> None:
    status, problem = post(client, opening * 2000)
    assert status == 400
    assert problem["code"] in ("body-malformed", "value-invalid")


FIELDS = "me, them, moment, pack, distance, floor_breaks, responses, replies, limit, sources, explain, trials, player"
SIDE = "character, health, meter, stance, back_turned, near_wall"


@pytest.mark.parametrize(
    ("body", "pointer", "detail", "help"),
    [
        ([], "", "expected an object, got a list", f"an object with {FIELDS}"),
        ({}, "/me", "`me` is missing", f"add `me`: an object with {SIDE}"),
        (question(me={}), "/me/character", "`character` is missing", "add `character`"),
        (question(me="wenna"), "/me", "expected an object, got text", f"an object with {SIDE}"),
        (question(mee=1), "/mee", "`mee` is not known here", "did you mean `me`?"),
        (question(me={"charcter": "wenna"}), "/me/charcter", "`charcter` is not known here",
         "did you mean `character`?"),
        (question(**{"a~/b": 1}), "/a~0~1b", "`a~/b` is not known here", f"known here: {FIELDS}"),
        (moment(kind="blokced", attacker="them", move="x"), "/moment/kind", "`blokced` is not known here",
         f"did you mean `blocked`? {KINDS}"),
        (moment(kind="x"), "/moment/kind", "`x` is not known here", KINDS),
        (moment(kind=3), "/moment/kind", "expected text", KINDS),
        (moment(attacker="them"), "/moment/kind", "`kind` is missing", f"add `kind`: {KINDS}"),
        (moment(kind="blocked", attacker="them"), "/moment/move", "`move` is missing", "add `move`"),
        (moment(kind="hit", move="jab"), "/moment/attacker", "`attacker` is missing",
         "add `attacker`: one of me, them"),
        (moment(kind="blocked", attacker="then", move="x"), "/moment/attacker", "`then` is not known here",
         "did you mean `them`? one of me, them"),
        (moment(kind="neutral", attacker="them"), "/moment/attacker", "`attacker` is not known here",
         "known here: kind"),
        (moment(kind="advantage", frame=3), "/moment/frame", "`frame` is not known here", "did you mean `frames`?"),
        (moment(kind="advantage", frames=201), "/moment/frames", "expected a whole number <= 200", None),
        (moment(kind="advantage", frames=1, held="hitsun"), "/moment/held", "`hitsun` is not known here",
         "did you mean `hitstun`? one of blockstun, hitstun, recovery"),
        (question(distance=-1), "/distance", "expected a number >= 0", None),
        (question(distance=1000.5), "/distance", "expected a number <= 1000", None),
        (question(distance=[]), "/distance", "expected a number, text or null, got a list", None),
        (question(distance=""), "/distance", "expected text of length >= 1", None),
        (question(limit=0), "/limit", "expected a whole number >= 1", None),
        (question(limit="3"), "/limit", "expected a whole number, got text", None),
        (question(limit=1.5), "/limit", "expected a whole number, got a number", None),
        (question(replies="ky"), "/replies", "`ky` is not known here",
         "did you mean `key`? one of all, key, a list of ids"),
        (question(replies=["guard", 1]), "/replies/1", "expected text, got a whole number", None),
        (question(responses=["a"] * 401), "/responses", "expected a list of length <= 400", None),
        (question(sources=1), "/sources", "expected true or false, got a whole number", None),
        (question(me={"character": "w" * 65}), "/me/character", "expected text of length <= 64", None),
    ],
)  # fmt: skip
def test_a_faulty_value_is_pointed_at(
    client: Client, body: dict[str, Any], pointer: str, detail: str, help: str | None
) -> None:
    status, problem = post(client, body)
    assert (status, problem["code"]) == (400, "value-invalid")
    assert problem.get("pointer", "") == pointer
    assert problem["detail"] == detail
    assert problem.get("help") == help


def test_a_number_too_large_for_any_machine(client: Client) -> None:
    status, problem = post(client, b'{"distance": 1e999}')
    assert (status, problem["pointer"], problem["detail"]) == (400, "/distance", "number out of range")


def test_a_whole_number_may_be_written_with_a_point(client: Client) -> None:
    """JSON Schema 2020-12, core, 4.2.3: 10.0 is an integer, as JSON knows one kind of number only."""
    whole = post(client, question(limit=1, me={"character": "wenna", "meter": 20, "health": 3}))
    pointed = post(client, question(limit=1.0, me={"character": "wenna", "meter": 2e1, "health": 3.0}))
    assert whole[0] == 200
    assert pointed == whole
    status, problem = post(client, question(limit=1.0, me={"character": "wenna", "meter": 2.5}))
    assert (status, problem["pointer"]) == (400, "/me/meter")
    status, problem = post(client, b'{"limit": 1e300}')
    assert (status, problem["pointer"], problem["detail"]) == (400, "/limit", "expected a whole number <= 400")


@pytest.mark.parametrize(
    ("body", "code", "pointer", "help"),
    [
        (question(pack="cold_fram"), "pack-unknown", "/pack", "did you mean `cold_frame`?"),
        (question(pack="zz"), "pack-unknown", "/pack", "loaded: cold_frame"),
        (question(me={"character": "wena"}), "character-unknown", "/me/character", "did you mean `wenna`?"),
        (question(them={"character": "zzz"}), "character-unknown", "/them/character",
         "it has ilko, ketterby, marl, wenna"),
        (moment(kind="blocked", attacker="them", move="cinder_kne"), "move-unknown", "/moment/move",
         "did you mean `cinder_knee`?"),
        (question(distance="touchin"), "distance-unknown", "/distance", "did you mean `touching`?"),
        (question(replies=["guard", "soot_jb"]), "option-unknown", "/replies/1", "did you mean `soot_jab`?"),
        (question(responses=["puty_jab"]), "option-unknown", "/responses/0", "did you mean `putty_jab`?"),
    ],
)  # fmt: skip
def test_an_unknown_id_is_found_out(client: Client, body: dict[str, Any], code: str, pointer: str, help: str) -> None:
    status, problem = post(client, body)
    assert (status, problem["code"], problem["pointer"], problem["help"]) == (404, code, pointer, help)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        (moment(kind="blocked", attacker="me", move="set_pane"), "/moment/move"),
        (question(replies=[]), "/replies"),
    ],
)
def test_a_question_that_contradicts_itself(client: Client, body: dict[str, Any], pointer: str) -> None:
    status, problem = post(client, body)
    assert (status, problem["code"], problem["pointer"]) == (422, "question-impossible", pointer)
    assert problem["help"]


KNOWN = {*FIELDS.split(", "), *SIDE.split(", ")}
NAMES = st.one_of(st.text(max_size=12), st.text(alphabet="`$.[]0/~ -at", max_size=16)).filter(lambda n: n not in KNOWN)
HOSTILE = ["x` - at `$.me", " - at `$.me`", "a`b", "`", "", "$", "$.me", "x - at `$.moment.kind", "me`", "`` - at `$"]


@given(name=st.one_of(NAMES, st.sampled_from(HOSTILE)), deep=st.booleans())
def test_any_unknown_field_is_pointed_at_exactly(client: Client, name: str, deep: bool) -> None:
    """RFC 6901: following the pointer in what was sent leads to the very field that was refused."""
    body = question(me={"character": "wenna", name: "here"}) if deep else question(**{name: "here"})
    status, problem = post(client, body)
    assert (status, problem["detail"]) == (400, f"`{name}` is not known here")
    found: Any = body
    for part in problem["pointer"].split("/")[1:]:
        found = found[part.replace("~1", "/").replace("~0", "~")]
    assert found == "here"


PART = {"type": "http.request", "body": b"12", "more_body": True}
LAST = {"type": "http.request", "body": b"34", "more_body": False}
GONE = {"type": "http.disconnect"}


def arrived(messages: list[dict[str, Any]], said: bytes = b"", most: int = 5) -> tuple[bytes | str, int]:
    """The body or the code of its refusal, and how many messages were not read."""
    left = iter(messages)

    async def receive() -> dict[str, Any]:
        return next(left)

    async def read() -> bytes | str:
        try:
            return await body_of(receive, most, said)
        except AdvisorError as error:
            return error.code

    return asyncio.run(read()), len(list(left))


@pytest.mark.parametrize(
    ("messages", "said", "found"),
    [
        ([LAST], b"2", (b"34", 0)),
        ([PART, LAST], b"4", (b"1234", 0)),
        ([PART, PART, LAST], b"", ("body-too-large", 0)),
        ([PART, PART, PART, LAST], b"", ("body-too-large", 1)),
        ([PART, LAST], b"6", ("body-too-large", 2)),
        ([PART, LAST], b"9" * 5000, ("body-too-large", 2)),
        ([PART, LAST], b"-1", (b"1234", 0)),
        ([{**LAST, "body": b"123456"}], b"2", ("body-too-large", 0)),
        ([PART, GONE], b"4", ("body-malformed", 0)),
        ([GONE], b"4", ("body-malformed", 0)),
        ([{"type": "http.request"}], b"", (b"", 0)),
    ],
)
def test_a_body_is_read_whole_and_within_bounds(
    messages: list[dict[str, Any]], said: bytes, found: tuple[bytes | str, int]
) -> None:
    assert arrived(messages, said) == found
