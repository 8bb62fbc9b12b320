"""Callers of every kind at once, each over connections of its own, who look at every answer that they get."""

from __future__ import annotations

import http.client
import json
import random
import socket
import struct
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from typing import Any, NamedTuple
from urllib.parse import quote

import hostile
import msgspec
from websockets.sync.client import connect

from advisor.advice import Advice
from advisor.service.jobs.wire import JOB_EXAMPLE, Job
from advisor.service.live.wire import LiveAdvice, LivePage
from advisor.service.notes.wire import SetForm, SetPage, TrialForm, TrialPage
from advisor.service.weighing.tasks import TASKS
from advisor.service.wire import CharacterPage, Health, MovePage, PackPage
from tests.unit.service.live_streams import Stream

__all__ = ["KINDS", "STEADY", "Mixed"]

STEADY = "steady"
"""The channel that one caller alone writes to, so that what has to arrive is known."""
PATIENCE, IDLE = 30.0, 2.0
"""Seconds that an answer may take, and after which a line that was not used is not trusted."""
LINES = "application/jsonl"
DRAWN = ("replay", "coverage", "guess")
_TYPES = (
    Advice, Job, LiveAdvice, LivePage, SetForm, SetPage, TrialForm, TrialPage, CharacterPage, Health, MovePage,
    PackPage, TASKS[JOB_EXAMPLE["study"]].answer,
)  # fmt: skip
READ: dict[Any, msgspec.json.Decoder[Any]] = {kind: msgspec.json.Decoder(kind) for kind in _TYPES}
"""Made by one thread: msgspec 0.22 takes the process down when two come across a new type at the same moment."""
WENNA, MARL = {"character": "wenna"}, {"character": "marl"}


class Reply(NamedTuple):
    """An answer, its headers in lower case."""

    status: int
    headers: dict[str, str]
    body: bytes


def question(number: int, move: str = "cinder_knee") -> dict[str, Any]:
    """A question with few responses; the same for the same number."""
    return {
        "me": WENNA, "them": MARL, "distance": 0.2 + number / 1_000_000, "responses": ["putty_jab", "crouch_guard"],
        "moment": {"kind": "blocked", "attacker": "them", "move": move},
    }  # fmt: skip


class Mixed:
    """Threads that ask until they are stopped; ``wrong`` is what should not have been, ``done`` counts what was.

    ``refusals`` counts the answers 503 by code, ``states`` are the events of the steady channel in their order.
    """

    def __init__(self, host: str, port: int) -> None:
        self.host, self.port = host, port
        self.wrong: list[str] = []
        self.done: Counter[str] = Counter()
        self.refusals: Counter[str] = Counter()
        self.states: list[str] = []
        self.first: dict[int, Any] = {}
        self.begun = 0
        self.lock = threading.Lock()
        self.pair = threading.Lock()
        """Held between two requests that belong together, and by who reads the data again."""
        self._ending = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self, **more: int) -> None:
        """Let one caller of each kind begin, and of some so many more."""
        self._ending.clear()
        self.begun += 1
        self._threads = [
            threading.Thread(target=self._call, args=(name, i), name=f"{name} {i}")
            for name in KINDS for i in range(1 + more.get(name, 0))
        ]  # fmt: skip
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Let each finish what it is at."""
        self._ending.set()
        for thread in self._threads:
            thread.join(PATIENCE * 2)
            assert not thread.is_alive(), thread.name

    def _call(self, name: str, copy: int) -> None:
        caller, (kind, pause) = Caller(self, name, copy), KINDS[name]
        while not self._ending.wait(pause):
            try:
                caller.number += 1
                kind(caller)
            except Exception as error:
                with self.lock:
                    self.wrong.append(f"{name} {caller.number}: {error!r}"[:2_000])
                caller.hang_up()
            with self.lock:
                self.done[name] += 1
            if caller.number % 100 == 0:
                caller.hang_up()
        caller.hang_up()


class Caller:
    """One thread's connection, and the number of what it is at, which no other phase of the load repeats."""

    def __init__(self, load: Mixed, name: str, copy: int) -> None:
        self.load = load
        self.number = load.begun * 200_000 + copy * 20_000
        self.random = random.Random(f"{name} {load.begun} {copy}")
        self._line: http.client.HTTPConnection | None = None
        self._said = 0.0

    def hang_up(self) -> None:
        if self._line is not None:
            self._line.close()
            self._line = None

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Reply:
        """Send it, and look at what is answered."""
        # A line on which nothing was said for a while is the server's to close.
        if time.monotonic() - self._said > IDLE:
            self.hang_up()
        if self._line is None:
            self._line = http.client.HTTPConnection(self.load.host, self.load.port, timeout=PATIENCE)
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        if body is not None:
            given.setdefault("content-type", "application/json")
        text = body if isinstance(body, str | None) else json.dumps(body)
        self._line.request(method, path, text, given)
        reply = self.checked(self._line.getresponse())
        self._said = time.monotonic()
        return reply

    def checked(self, got: http.client.HTTPResponse) -> Reply:
        """Errors: ``AssertionError`` for a fault of the service, and for a refusal that does not say what it should."""
        reply = Reply(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
        if reply.status >= 500:
            assert reply.status == 503, reply
            assert int(reply.headers.get("retry-after", "0")) > 0, reply
            with self.load.lock:
                self.load.refusals[json.loads(reply.body)["code"]] += 1
        return reply

    def want(self, statuses: set[int], method: str, path: str, body: Any = None, **headers: str) -> Reply:
        """The answer, which has one of these statuses, unless there was no room for it."""
        reply = self.ask(method, path, body, **headers)
        assert reply.status in statuses | {503}, reply
        return reply

    def read(self, kind: Any, method: str, path: str, body: Any = None, **headers: str) -> Any:
        """What is answered, as the type that the contract says; None when there was no room for it."""
        reply = self.want({200, 201, 202}, method, path, body, **headers)
        return None if reply.status == 503 else READ[kind].decode(reply.body)


def kept(caller: Caller) -> None:
    """Few questions, again and again: whatever else goes on, they are answered as they were."""
    number = caller.number % 5
    answer = caller.read(Advice, "POST", "/v1/advice", question(number, "round_shovel"))
    if answer is not None:
        assert caller.load.first.setdefault(number, answer.responses) == answer.responses


def fresh(caller: Caller) -> None:
    """A question that nobody asked before, now and then a large one."""
    asked = question(caller.number)
    if caller.number % 20 == 0:
        asked = {"me": WENNA, "them": MARL, "distance": asked["distance"], "moment": {"kind": "neutral"}}
    answer = caller.read(Advice, "POST", "/v1/advice", asked)
    assert answer is None or answer.responses


def addresses(caller: Caller) -> None:
    """The same by an address: a caller who has the answer is not given it once more."""
    number = caller.number // 2 % 50 if caller.number % 4 else caller.number
    path = f"/v1/advice?question={quote(json.dumps(question(number, 'round_shovel')))}"
    reply = caller.want({200}, "GET", path)
    if reply.status == 200:
        assert READ[Advice].decode(reply.body).responses
        # What the data were read again under has none; and they may be read again, or trials written, in between.
        again = caller.want({200, 304}, "GET", path, if_none_match=reply.headers.get("etag", '"none"'))
        assert again.status != 304 or not again.body
        with caller.load.lock:
            caller.load.done[f"addresses {again.status}"] += 1


def lists(caller: Caller) -> None:
    moves = caller.random.choice(("", "?limit=3", "?first_active_max=15", "?sort=-damage&limit=5"))
    path, kind = caller.random.choice((
        ("/v1/packs", PackPage), ("/v1/packs/cold_frame/characters", CharacterPage), ("/v1/health/live", Health),
        (f"/v1/packs/cold_frame/characters/marl/moves{moves}", MovePage),
    ))  # fmt: skip
    reply = caller.want({200}, "GET", path)
    READ[kind].decode(reply.body)
    if tag := reply.headers.get("etag"):
        assert caller.want({200, 304}, "GET", path, if_none_match=tag).status in (200, 304)
    assert caller.want({200}, "HEAD", path).body == b""


def pictures(caller: Caller) -> None:
    task = TASKS[caller.random.choice(DRAWN)]
    form, begin = caller.random.choice((("svg+xml", b"<"), ("png", b"\x89PNG")))
    distance = round(0.3 + caller.number % 1000 / 2_000, 4)
    reply = caller.want({200}, "POST", task.path, {**task.example, "distance": distance}, accept=f"image/{form}")
    assert reply.status == 503 or (reply.headers["content-type"].startswith(f"image/{form}") and
                                   reply.body.startswith(begin)), reply  # fmt: skip


def jobs(caller: Caller) -> None:
    """One that is cancelled at some moment, or waited for."""
    body = {**JOB_EXAMPLE, "request": {**JOB_EXAMPLE["request"], "length": 2 + caller.number % 2, "each": 2}}
    if (job := caller.read(Job, "POST", "/v1/jobs", body)) is None:
        return
    path = f"/v1/jobs/{job.id}"
    if caller.number % 2:
        time.sleep(caller.random.choice((0.0, 0.05, 0.3)))
        assert caller.read(Job, "DELETE", path).state in ("cancelled", "done")
        return
    until = time.monotonic() + PATIENCE
    while caller.read(Job, "GET", path).state in ("queued", "running"):
        assert time.monotonic() < until, "the job is never done"
        time.sleep(0.1)
    assert caller.read(TASKS[job.study].answer, "GET", f"{path}/answer").pack


def notebook(caller: Caller) -> None:
    """A trial that is sent twice and there once; a set that is made, filled, asked again, exported and removed."""
    asked = question(caller.number % 40)
    trial = {"question": asked, "response": "putty_jab", "successes": 1, "tries": 2}
    key = f"k{caller.number}"
    with caller.load.pair:
        sent = [caller.read(TrialForm, "POST", "/v1/trials", trial, idempotency_key=key) for _ in range(2)]
    if None in sent:
        return
    assert sent[0].id == sent[1].id
    assert caller.read(TrialForm, "GET", f"/v1/trials/{sent[0].id}") in (sent[0], None)
    caller.read(TrialPage, "GET", "/v1/trials?limit=5")
    if caller.number % 4:
        return
    name = f"set {caller.number}"
    path = f"/v1/sets/{quote(name)}"
    caller.want({201}, "POST", "/v1/sets", {"name": name})
    caller.want({201}, "POST", f"{path}/entries", {"name": "one", "request": asked})
    form = caller.read(SetForm, "GET", path)
    assert form is None or [entry.name for entry in form.entries] == ["one"]
    caller.want({200}, "POST", f"{path}/rerun", {})
    caller.want({200}, "POST", f"{path}/lab", {"limit": 3})
    assert caller.want({200}, "GET", f"{path}/lines").body
    caller.read(SetPage, "GET", "/v1/sets")
    caller.want({204}, "DELETE", path)


def producing(caller: Caller) -> None:
    """States on a channel that is followed throughout, and on three that are watched for a moment."""
    channel = STEADY if caller.number % 3 == 0 else f"c{caller.number % 3}"
    body = {"question": question(caller.number % 200), "note": str(caller.number)}
    shown = caller.read(LiveAdvice, "POST", f"/v1/live/{channel}", body)
    if shown is None:
        return
    if channel == STEADY:
        caller.load.states.append(shown.id)
    elif caller.number % 50 == 1:
        caller.want({200, 404}, "DELETE", f"/v1/live/{channel}")
    caller.read(LivePage, "GET", "/v1/live")
    caller.want({200, 404}, "GET", f"/v1/live/{channel}")


def watching(caller: Caller) -> None:
    """Somebody who comes, sees a little, and is gone without a word."""
    channel, come_back = f"c{1 + caller.number % 2}", caller.number % 3 == 0
    if caller.number % 4 == 0:
        with connect(f"ws://{caller.load.host}:{caller.load.port}/v1/live/{channel}/socket") as line:
            if caller.number % 8:
                assert json.loads(line.recv(PATIENCE))["event"]
            line.socket.close()
        return
    last = ""
    for _ in range(1 + come_back):
        with Stream(caller.load.port, channel, last) as stream:
            assert stream.status == 200
            for _ in range(caller.random.randint(0, 3)):
                assert stream.next() is not None
            last = stream.last
            if caller.number % 2:  # the line is cut rather than ended
                stream.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def malformed(caller: Caller) -> None:
    """Ten requests that are wrong in some way, each over a line of its own."""
    for request in hostile.requests(10, seed=caller.number, host=f"{caller.load.host}:{caller.load.port}"):
        with closing(socket.create_connection((caller.load.host, caller.load.port), PATIENCE)) as line:
            try:
                line.sendall(request)
                got = http.client.HTTPResponse(line, method=request.split(b" ")[0].decode())
                got.begin()
                reply = caller.checked(got)
            except (ConnectionError, http.client.BadStatusLine):
                continue  # closed, as it may be when what follows is anybody's guess
            except AssertionError as error:
                raise AssertionError(f"{error}: {request[:600]!r}") from None
            with caller.load.lock:
                caller.load.done[f"malformed {reply.status // 100}xx"] += 1


KINDS: dict[str, tuple[Callable[[Caller], None], float]] = {
    "kept": (kept, 0.005), "fresh": (fresh, 0.01), "addresses": (addresses, 0.02), "lists": (lists, 0.02),
    "pictures": (pictures, 0.2), "jobs": (jobs, 0.2), "notebook": (notebook, 0.05), "producing": (producing, 0.05),
    "watching": (watching, 0.05), "malformed": (malformed, 0.02),
}  # fmt: skip
"""Every kind of caller, and how long it pauses, seconds."""
