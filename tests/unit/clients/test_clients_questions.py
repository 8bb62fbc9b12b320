"""``advisor questions``: lines in, lines out in the same order, here and from a service."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from click.testing import CliRunner, Result
from served import served

from advisor.clients import questions as module
from advisor.clients.questions import LONGEST_LINE, questions
from advisor.library import load_library
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

ADVICE = {**TASKS["advice"].example, "limit": 1}
BEATS = TASKS["beats"].example
GOOD = [{"name": "knee", "advice": ADVICE}, {"study": "beats", "request": BEATS}]
PLAIN = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    with served(create_app(Settings(engine="plain", workers=0), load_library(engine="plain"))) as url:
        yield url


def lines(*given: Any) -> bytes:
    return b"".join((one if isinstance(one, bytes) else json.dumps(one).encode()) + b"\n" for one in given)


def run(sent: bytes, *options: str) -> tuple[int, list[Any], Result]:
    where = options if "--url" in options else (*options, "--engine", "plain")
    result = CliRunner().invoke(questions, ["-", *where], input=sent)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result.exit_code, [json.loads(line) for line in result.stdout.splitlines()], result


def options(where: str, service: str) -> tuple[str, ...]:
    return ("--url", service) if where == "service" else ()


@pytest.mark.parametrize("where", ["here", "service"])
def test_questions_are_answered_in_order(where: str, service: str) -> None:
    code, out, _ = run(lines(*GOOD, *GOOD), *options(where, service))
    assert code == 0
    assert [(one["line"], one.get("name")) for one in out] == [(1, "knee"), (2, None), (3, "knee"), (4, None)]
    library = load_library(engine="plain")
    for one, (task, request) in zip(out, [("advice", ADVICE), ("beats", BEATS)] * 2, strict=True):
        sent = msgspec.convert(request, TASKS[task].request)
        assert one["answer"] == json.loads(msgspec.json.encode(TASKS[task].run(library, sent)))
        assert set(one) <= {"line", "name", "answer"}


FAULTS: list[tuple[Any, str, str]] = [
    (b"nonsense", "body-malformed", ""), (b"[1]", "value-invalid", ""), (b'{"name": "\xff"}', "body-malformed", ""),
    ({}, "value-invalid", "/advice"), ({"study": "beats"}, "value-invalid", "/request"),
    ({"request": BEATS}, "value-invalid", "/study"), ({"study": "beets", "request": BEATS}, "value-invalid", "/study"),
    ({"study": "advice", "request": ADVICE}, "value-invalid", "/study"), ({"nmae": "x"}, "value-invalid", "/nmae"),
    ({"advice": ADVICE, "study": "beats", "request": BEATS}, "question-ambiguous", "/advice"),
    ({"advice": {**ADVICE, "me": {"character": "wena"}}}, "character-unknown", "/advice/me/character"),
    ({"study": "beats", "request": {**BEATS, "limit": "x"}}, "value-invalid", "/request/limit"),
    ({"advice": 1}, "value-invalid", "/advice"), (b"{" + b" " * LONGEST_LINE + b"}", "body-too-large", ""),
]  # fmt: skip


@pytest.mark.parametrize("where", ["here", "service"])
def test_a_bad_line_is_a_problem_of_its_own_and_the_run_goes_on(where: str, service: str) -> None:
    sent = lines(GOOD[0], b"", *(fault for fault, _, _ in FAULTS), b"  ", {**GOOD[1], "name": "last"})
    code, out, _ = run(sent, *options(where, service))
    assert code == 1
    assert [one["line"] for one in out] == [1, *range(3, len(FAULTS) + 3), len(FAULTS) + 4]
    assert "answer" in out[0] and out[-1]["name"] == "last" and "answer" in out[-1]
    said = [(one["problem"]["code"], one["problem"].get("pointer", "")) for one in out[1:-1]]
    assert said == [(code, pointer) for _, code, pointer in FAULTS]
    assert all(one["problem"]["help"] for one in out[1:-1] if one["problem"].get("pointer") != "/request/limit")


def test_the_name_of_a_line_goes_with_its_problem() -> None:
    _, out, _ = run(lines({"name": "n", "advice": {**ADVICE, "me": {"character": "wena"}}}))
    assert out[0]["name"] == "n" and out[0]["problem"]["help"] == "did you mean `wenna`?"


def test_a_fault_of_ours_is_a_problem_too(monkeypatch: pytest.MonkeyPatch) -> None:
    real = module.answer
    monkeypatch.setattr(module, "answer", lambda lib, task, body: 1 // 0 if task == "advice" else real(lib, task, body))
    code, out, _ = run(lines(*GOOD))
    assert (code, out[0]["problem"]["code"], "answer" in out[1]) == (1, "fault", True)


class Slow:
    """A service that takes the seconds that the request names; an odd one is answered by something else."""

    def __init__(self) -> None:
        self.under_way = self.most = 0
        self.keys: set[bytes] = set()

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        self.keys.add(dict(scope["headers"]).get(b"authorization", b""))
        body = (await receive()).get("body", b"")
        answer = b'{"status": "alive", "version": "1", "worker_losses": 0, "plain_answers": 0}'
        if body:
            self.under_way += 1
            self.most = max(self.most, self.under_way)
            await asyncio.sleep(json.loads(body)["seconds"])
            self.under_way -= 1
            answer = b"{\n}" if b"odd" not in body else b"<html>"
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": answer})


def test_a_few_are_under_way_and_order_is_kept() -> None:
    slow = Slow()
    waits = [0.2, 0.0, 0.1, 0.05, 0.0, 0.05]
    asked = [{"name": str(n), "advice": {"seconds": s}} for n, s in enumerate(waits)]
    sent = lines(*asked, {"advice": {"seconds": 0, "odd": 1}})
    with served(slow) as url:
        code, out, _ = run(sent, "--url", url, "--in-flight", "3", "--key", "k")
    assert [one.get("name") for one in out] == ["0", "1", "2", "3", "4", "5", None]
    assert slow.most == 3 and slow.keys == {b"Bearer k"}
    assert (code, out[0]["answer"], out[6]["problem"]["code"]) == (1, {}, "unreachable")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--url", "http://127.0.0.1:1"), "no answer from `http://127.0.0.1:1`"), (("--url", "there"), "no address"),
        (("--url", "http://127.0.0.1:1", "--engine", "plain"), "the service's own"),
        (("--url", "http://127.0.0.1:1", "--key", "a b"), "the key"),
    ],
)  # fmt: skip
def test_where_nothing_can_run_it_ends_with_two(words: tuple[str, ...], said: str) -> None:
    code, out, result = run(lines(*GOOD), *words)
    assert (code, out) == (2, [])
    assert said in result.stderr


def test_a_file_that_is_not_there_and_one_that_is_empty(tmp_path: Path) -> None:
    empty = tmp_path / "none.jsonl"
    assert CliRunner().invoke(questions, [str(empty)]).exit_code == 2
    empty.touch()
    assert CliRunner().invoke(questions, [str(empty), "--engine", "plain"]).exit_code == 0


@pytest.mark.parametrize("where", [pytest.param("here", marks=pytest.mark.full), "service"])
def test_who_sends_may_wait_for_each_answer(where: str, service: str) -> None:
    script = "from advisor.clients.questions import questions\nquestions()"
    words = ["-", *(options(where, service) or ("--engine", "plain"))]
    with subprocess.Popen(
        [sys.executable, "-c", script, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=PLAIN
    ) as process:  # fmt: skip
        assert process.stdin is not None and process.stdout is not None
        for number, question in enumerate(GOOD, 1):
            process.stdin.write(lines(question))
            process.stdin.flush()
            assert json.loads(process.stdout.readline())["line"] == number
        process.stdout.close()  # nobody reads any more
        process.stdin.write(lines(*GOOD * 8))
        process.stdin.close()
        assert process.wait(20) == 1
