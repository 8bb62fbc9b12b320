"""What the client sends again and what never, how long it waits, and which error comes of what."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest

from advisor.clients.api import (
    Advisor,
    ApiError,
    AsyncAdvisor,
    BadQuestion,
    NotFound,
    ProblemError,
    Retries,
    ServerFault,
    TooMany,
    Unavailable,
    Unreachable,
    UnreadableAnswer,
)
from advisor.clients.api import operations as ops
from advisor.clients.api.calls import Call, Pause, Reply, json_of, post
from advisor.clients.api.errors import problem_error, seconds_to_wait

AT_ONCE = Retries(times=3, first=0.0)
HEALTH = {"status": "alive", "version": "1", "worker_losses": 0, "plain_answers": 0}
SUBMITTED = ops.submit_job("round", {})
KEYED = post("/v1/somewhere", {}, json_of(dict), changes=True, key="k-1")
Answer = httpx.Response | Exception
ALIVE = httpx.Response(200, json=HEALTH)


def refusal(status: int, **headers: str) -> httpx.Response:
    return httpx.Response(status, headers=headers, text="no")


class Line:
    """A network that answers in a given order, and remembers what was sent."""

    def __init__(self, *answers: Answer) -> None:
        self.answers, self.sent = list(answers), []  # type: list[Answer], list[httpx.Request]

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.sent.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return httpx.Response(answer.status_code, headers=answer.headers, content=answer.content)


def ask(plan: Any, line: Line, retries: Retries = AT_ONCE) -> Any:
    with Advisor("http://there", key="secret", retries=retries, through=httpx.MockTransport(line)) as advisor:
        return advisor.carry_out(plan)


def ask_async(plan: Any, line: Line, retries: Retries = AT_ONCE) -> Any:
    async def run() -> Any:
        through = httpx.MockTransport(line)
        async with AsyncAdvisor("http://there", key="secret", retries=retries, through=through) as advisor:
            return await advisor.carry_out(plan)

    return asyncio.run(run())


@pytest.mark.parametrize("how", [ask, ask_async])
@pytest.mark.parametrize(
    "fault",
    [refusal(429), refusal(502), refusal(503), refusal(504), httpx.ConnectError("refused"), httpx.ReadError("broken"),
     httpx.RemoteProtocolError("cut off"), httpx.ConnectTimeout("slow")],
)  # fmt: skip
def test_a_question_is_sent_again_until_it_is_answered(how: Callable[..., Any], fault: Answer) -> None:
    line = Line(fault, fault, ALIVE)
    assert how(ops.live(), line).status == "alive"
    assert len(line.sent) == 3
    assert {request.headers["authorization"] for request in line.sent} == {"Bearer secret"}


@pytest.mark.parametrize("how", [ask, ask_async])
@pytest.mark.parametrize(
    ("plan", "fault", "error"),
    [
        (ops.live(), refusal(400), BadQuestion), (ops.live(), refusal(404), NotFound),
        (ops.live(), refusal(500), ServerFault), (ops.live(), httpx.ReadTimeout("slow"), Unreachable),
        (ops.advise({}), refusal(422), BadQuestion),
        (SUBMITTED, refusal(503), Unavailable), (SUBMITTED, refusal(429), TooMany),
        (SUBMITTED, httpx.ConnectError("refused"), Unreachable),
        (ops.live(), httpx.Response(302, headers={"location": "/x"}), UnreadableAnswer),
        (ops.live(), httpx.Response(200, text="<html>"), UnreadableAnswer),
        (ops.live(), httpx.Response(200, json={"status": "alive"}), UnreadableAnswer),
    ],
)  # fmt: skip
def test_what_is_never_sent_again(how: Callable[..., Any], plan: Any, fault: Answer, error: type[ApiError]) -> None:
    line = Line(fault, ALIVE)
    with pytest.raises(error) as raised:
        how(plan, line)
    assert raised.type is error
    assert len(line.sent) == 1


def test_a_change_with_a_key_is_sent_again_under_the_same_key() -> None:
    line = Line(refusal(503), httpx.Response(200, json={"done": True}))
    assert ask(KEYED, line) == {"done": True}
    assert [request.headers["idempotency-key"] for request in line.sent] == ["k-1", "k-1"]


def test_tries_are_bounded_and_the_last_refusal_is_told() -> None:
    line = Line(*[refusal(503)] * 4, ALIVE)
    with pytest.raises(Unavailable, match="503"):
        ask(ops.live(), line)
    assert len(line.sent) == 4


def pauses(call: Call[Any], replies: list[tuple[int, dict[str, str]]], retries: Retries) -> list[float]:
    """The pauses of a call that is answered so, in seconds."""
    steps, out = call.steps(retries), []
    assert next(steps) is call
    for status, headers in replies[:-1]:
        step = steps.send(Reply(status, headers, b""))
        assert isinstance(step, Pause)
        out.append(step.seconds)
        assert next(steps) is call
    with pytest.raises(ProblemError):
        steps.send(Reply(*replies[-1], b""))
    return out


def test_pauses_grow_and_are_jittered_within_bounds() -> None:
    retries = Retries(times=5, first=1.0, longest=6.0)
    seen = [pauses(ops.live(), [(503, {})] * 6, retries) for _ in range(40)]
    for n, most in enumerate((1.0, 2.0, 4.0, 6.0, 6.0)):
        column = [one[n] for one in seen]
        assert all(most / 2 <= pause <= most for pause in column)
        assert max(column) - min(column) > most / 8
    assert retries.pause(5000) is None
    assert Retries(times=5000).pause(5000, chance=1.0) == 10.0


def test_what_the_service_says_to_wait_is_waited_and_too_long_is_given_up() -> None:
    retries = Retries(times=3, first=0.1, patience=20.0)
    assert pauses(ops.live(), [(429, {"retry-after": "7"}), (503, {"retry-after": "21"})], retries) == [7.0]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("120", 120.0), (" 0 ", 0.0), ("Fri, 31 Dec 1999 23:59:59 GMT", 59.0), ("Fri, 31 Dec 1999 23:00:00 GMT", 0.0),
        ("Fri, 31 Dec 1999 23:59:59 -0000", 59.0), ("soon", None), ("-1", None), ("1.5", None), ("", None),
        (None, None),
    ],
)  # fmt: skip
def test_retry_after_in_both_forms(text: str | None, seconds: float | None) -> None:
    assert seconds_to_wait(text, datetime(1999, 12, 31, 23, 59, tzinfo=UTC)) == seconds


def test_a_problem_is_told_in_full() -> None:
    body = (
        b'{"type": "/problems/move-unknown", "title": "no such move", "status": 404, "code": "move-unknown", '
        b'"detail": "no move `nee`", "pointer": "/moment/move", "help": "did you mean `knee`?", "more": 1}'
    )
    error = problem_error(404, {"retry-after": "3"}, body)
    assert type(error) is NotFound and isinstance(error, BadQuestion)
    assert (error.status, error.code, error.pointer, error.retry_after) == (404, "move-unknown", "/moment/move", 3.0)
    assert str(error) == "404 move-unknown: no move `nee` (at /moment/move); did you mean `knee`?"
    assert problem_error(418, {}, b"\xff").code == "http-418"


@pytest.mark.parametrize("url", ["", "there", "ftp://there", "http://", "http://x:port"])
def test_an_address_that_is_none_is_refused_at_once(url: str) -> None:
    with pytest.raises(ValueError, match="no address"):
        Advisor(url)


@pytest.mark.parametrize("key", ["", "a b", "a\r\nb", "\u00e9"])
def test_a_key_that_no_header_can_carry_is_refused_at_once(key: str) -> None:
    with pytest.raises(ValueError, match="key"):
        AsyncAdvisor("http://there", key=key)


def test_ids_stay_within_their_part_of_the_path() -> None:
    line = Line(refusal(404))
    with pytest.raises(NotFound):
        ask(ops.get_move("../a?b", "c/d", "#\u00e9"), line)
    assert line.sent[0].url.raw_path == b"/v1/packs/..%2Fa%3Fb/characters/c%2Fd/moves/%23%C3%A9"


def test_an_address_may_have_a_path_of_its_own() -> None:
    line = Line(ALIVE)
    with Advisor("http://there/behind/", through=httpx.MockTransport(line)) as advisor:
        advisor.live()
    assert str(line.sent[0].url) == "http://there/behind/v1/health/live"
