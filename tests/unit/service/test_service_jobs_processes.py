"""The processes of jobs: progress, cancel, death, time, bounds; and none is left behind."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import psutil
import pytest
from litestar.testing import TestClient
from test_service_bodies import question
from worker_tasks import counts, deaf, errs

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.service.app import create_app
from advisor.service.jobs import slot as jobs_module
from advisor.service.jobs.kept import LOST
from advisor.service.jobs.process import Work, problem_answer
from advisor.service.jobs.queue import Jobs
from advisor.service.jobs.wire import Job
from advisor.service.settings import Settings
from advisor.service.weighing.work import JSON
from advisor.solver.round import Cancelled
from advisor.studies import STUDIES
from advisor.studies.setups_model import SetupsRequest

LONG = 60_000
"""Steps of 10 ms: ten minutes, which no test waits for."""


def request(bound: int) -> SetupsRequest:
    """The example, with the bound as what the work of a test looks at."""
    return msgspec.structs.replace(msgspec.convert(STUDIES["setups"].example, SetupsRequest), bound=bound)


@contextmanager
def running(work: Work, **settings: int) -> Iterator[Jobs]:
    jobs = Jobs(Settings(engine="plain", **settings), work=work)
    jobs.start()
    try:
        yield jobs
    finally:
        jobs.stop()


def until(jobs: Jobs, job: Job, wanted: Callable[[Job], bool], seconds: float = 30.0) -> Job:
    end = time.monotonic() + seconds
    while not wanted(now := jobs.job(job.id)):
        assert time.monotonic() < end, now
        time.sleep(0.02)
    return now


def submit(jobs: Jobs, bound: int) -> Job:
    return jobs.submit("setups", request(bound))


def over(job: Job) -> bool:
    return job.state not in ("queued", "running")


def begun(job: Job) -> bool:
    return job.state == "running" and job.total is not None


def process_of(jobs: Jobs, slot: int = 0) -> psutil.Process:
    process = jobs._slots[slot].process
    assert process is not None
    return psutil.Process(process.pid)


def answer_of(jobs: Jobs, job: Job) -> int:
    return int(json.loads(jobs.forms(job.id)[JSON].body)["pid"])


def test_progress_grows_and_the_next_job_has_the_same_process() -> None:
    with running(counts) as jobs:
        first, second = submit(jobs, 60), submit(jobs, 2)
        seen = []
        while not over(now := jobs.job(first.id)):
            seen.append((now.done, now.seconds))
            assert jobs.job(second.id).state == "queued"
            time.sleep(0.02)
        assert now.state == "done"
        assert seen == sorted(seen)
        assert len({done for done, _ in seen}) > 3
        assert now.total == 60
        until(jobs, second, over)
        assert answer_of(jobs, first) == answer_of(jobs, second)


def test_a_cancelled_job_makes_room_within_a_second() -> None:
    with running(counts) as jobs:
        first, second = submit(jobs, LONG), submit(jobs, 2)
        until(jobs, first, begun)
        busy = process_of(jobs)
        assert jobs.cancel(first.id).state == "cancelled"
        assert until(jobs, second, over, 1.0).state == "done"
        assert answer_of(jobs, second) == busy.pid, "it stopped by itself, nobody had to end it"
        again = jobs.cancel(first.id)
        assert again == jobs.job(first.id)
        assert (again.state, again.answer, again.problem) == ("cancelled", None, None)
        with pytest.raises(AdvisorError) as caught:
            jobs.forms(first.id)
        assert caught.value.code == "job-cancelled"
        assert jobs.cancel(second.id).state == "done", "what is over stays as it is"


def test_a_queued_job_is_cancelled_without_a_process() -> None:
    with running(counts) as jobs:
        first, second, third = submit(jobs, LONG), submit(jobs, 2), submit(jobs, 2)
        assert jobs.cancel(second.id).state == "cancelled"
        until(jobs, first, begun)
        jobs.cancel(first.id)
        assert until(jobs, third, over).state == "done"
        left = jobs.job(second.id)
        assert (left.state, left.done, left.seconds) == ("cancelled", 0, 0.0)


def test_a_job_that_does_not_listen_is_ended_by_force(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs_module, "PATIENCE", 0.5)
    with running(deaf) as jobs:
        first, second = submit(jobs, LONG), submit(jobs, 1_000)
        until(jobs, first, begun)
        busy = process_of(jobs)
        jobs.cancel(first.id)
        assert until(jobs, second, over).state == "done"
        assert answer_of(jobs, second) != busy.pid
        assert not busy.is_running()


def test_a_process_that_is_killed_costs_its_own_job_only(caplog: pytest.LogCaptureFixture) -> None:
    with running(deaf) as jobs:
        first, second = submit(jobs, LONG), submit(jobs, 1_000)
        until(jobs, first, begun)
        victim = process_of(jobs)
        victim.kill()
        lost = until(jobs, first, over, 2.0)
        assert lost.state == "failed" and lost.problem is not None
        assert (lost.problem.code, lost.problem.status) == ("fault", 500)
        assert jobs.forms(first.id)[JSON].status == 500
        assert until(jobs, second, over).state == "done"
        assert answer_of(jobs, second) != victim.pid
    assert [r.message for r in caplog.records] == ["a job process was lost; the next job gets another"]


def test_a_process_that_dies_between_jobs_costs_none() -> None:
    with running(counts) as jobs:
        first = submit(jobs, 1)
        until(jobs, first, over)
        idle = process_of(jobs)
        idle.kill()
        psutil.wait_procs([idle], timeout=5)
        second = submit(jobs, 1)
        assert until(jobs, second, over).state == "done"


def test_a_job_has_so_much_time_and_no_more() -> None:
    with running(counts, job_seconds=1) as jobs:
        first, second = submit(jobs, LONG), submit(jobs, 2)
        late = until(jobs, first, over)
        assert late.state == "failed" and late.problem is not None
        assert (late.problem.code, late.problem.status) == ("job-timeout", 422)
        assert 1.0 <= late.seconds < 2.0
        assert late.done > 10, "it was under way"
        assert until(jobs, second, over, 2.0).state == "done"


def test_a_fault_in_a_job_says_no_more_than_that() -> None:
    with running(errs) as jobs:
        job = until(jobs, submit(jobs, 1), over)
        assert job.state == "failed" and job.problem is not None
        assert (job.problem.code, job.problem.detail) == ("fault", "something went wrong on our side")
        assert until(jobs, submit(jobs, 1), over).state == "failed", "the process is still good"


def test_the_oldest_finished_job_is_dropped_and_unfinished_ones_never() -> None:
    with running(counts, jobs=3) as jobs:
        first = submit(jobs, 1)
        until(jobs, first, over)
        kept = [submit(jobs, LONG) for _ in range(2)]
        newest = submit(jobs, LONG)
        assert [job.id for job in jobs.listed()] == [*(job.id for job in kept), newest.id]
        with pytest.raises(AdvisorError) as caught:
            jobs.job(first.id)
        assert caught.value.code == "job-unknown"
        with pytest.raises(AdvisorError) as full:
            submit(jobs, 1)
        assert full.value.code == "jobs-full"
        jobs.cancel(newest.id)
        assert submit(jobs, 1).state == "queued"


def test_two_processes_run_two_jobs_at_once() -> None:
    with running(counts, job_workers=2) as jobs:
        pair = [submit(jobs, LONG) for _ in range(2)]
        for job in pair:
            until(jobs, job, begun)
        processes = [process_of(jobs, slot) for slot in range(2)]
        assert len({p.pid for p in processes}) == 2
    assert not psutil.wait_procs(processes, timeout=2)[1]


def test_full_and_unfinished_over_http_and_no_orphans(library: Library) -> None:
    settings = Settings(workers=0, engine="plain", jobs=1)
    jobs = Jobs(settings, work=deaf)
    given = {"study": "setups", "request": {**STUDIES["setups"].example, "bound": LONG}}
    with TestClient(create_app(settings, library, jobs=jobs)) as client:
        job = client.post("/v1/jobs", json=given).json()
        unfinished = client.get(f"/v1/jobs/{job['id']}/answer")
        assert (unfinished.status_code, unfinished.json()["code"]) == (409, "job-unfinished")
        full = client.post("/v1/jobs", json=given)
        assert (full.status_code, full.json()["code"]) == (503, "jobs-full")
        assert int(full.headers["retry-after"]) > 0
        until(jobs, jobs.job(job["id"]), begun)
        busy = process_of(jobs)
        for _ in range(3):
            started = time.monotonic()
            assert client.post("/v1/advice", json=question()).status_code == 200
            assert client.get("/v1/health/live").status_code == 200
            assert time.monotonic() - started < 5
        assert client.get(f"/v1/jobs/{job['id']}").json()["state"] == "running"
        started = time.monotonic()
    assert time.monotonic() - started < 3
    assert not psutil.wait_procs([busy], timeout=2)[1]
    assert jobs.job(job["id"]).state == "cancelled"
    with pytest.raises(AdvisorError, match="stopping"):
        submit(jobs, 1)


def test_job_processes_end_with_a_server_that_is_killed() -> None:
    """Nobody tells them; they watch the server themselves."""
    import multiprocessing

    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    server = context.Process(target=_serve_for_ever, args=(theirs,))
    server.start()
    try:
        assert ours.poll(30)
        busy = psutil.Process(ours.recv())
        server.kill()
        assert not psutil.wait_procs([busy], timeout=5)[1]
    finally:
        server.kill()
        server.join()


def _serve_for_ever(pipe: jobs_module.Connection) -> None:
    jobs = Jobs(Settings(engine="plain"), work=deaf)
    until(jobs, submit(jobs, LONG), begun)
    pipe.send(process_of(jobs).pid)
    time.sleep(600)


def test_long_studies_stop_when_they_are_told_to(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))  # a kept round is there at once
    shelf = library.shelves["cold_frame"]
    for name in ("round", "setups"):
        study = STUDIES[name]
        assert study.long is not None
        told: list[tuple[int, int]] = []
        given = msgspec.convert({**study.example, "pack": "cold_frame"}, study.request)
        with pytest.raises(Cancelled):
            study.long(shelf.pack, shelf.rules, shelf.evaluator, given, lambda *at, t=told: t.append(at), lambda: True)
        assert told == []


def test_the_event_loop_is_free_while_jobs_are_taken_and_looked_at() -> None:
    """None of the calls waits for a process."""

    async def play() -> None:
        started = time.monotonic()
        job = submit(jobs, LONG)
        jobs.job(job.id), jobs.listed(), jobs.cancel(job.id)
        assert time.monotonic() - started < 0.5

    with running(counts) as jobs:
        asyncio.run(play())


def test_a_job_is_withdrawn_overruled_and_forgotten_and_each_change_is_told() -> None:
    """Without processes: nothing here begins."""
    jobs = Jobs(Settings(job_workers=0))
    told: list[tuple[str, bool]] = []
    jobs.told = lambda key, soon: told.append((key, soon))
    first, second, third = (submit(jobs, 1).id for _ in range(3))
    assert told == [(first, False), (second, False), (third, False)]
    jobs.withdraw(first)
    jobs.withdraw(first)
    assert not jobs.holds(first) and jobs.peek(first) is None
    lost = {JSON: problem_answer(AdvisorError(*LOST[:2], help=LOST[2]))}
    jobs.overrule(second, "failed", lost)
    jobs.overrule(first, "failed", lost)
    seen = jobs.peek(second)
    assert seen is not None and seen.job.problem is not None
    assert (seen.job.state, seen.job.problem.help, seen.forms) == ("failed", "submit it again", lost)
    assert jobs.cancel(second).state == "failed", "what is final stays"
    jobs.overrule(third, "cancelled", {})
    assert jobs.states() == {second: "failed", third: "cancelled"}
    jobs.forget(60.0)
    assert len(jobs.states()) == 2
    jobs.forget(0.0)
    assert jobs.listed() == []
    assert told[3:] == [(first, True), (first, False), (second, True), (third, True), (second, False), (third, False)]
