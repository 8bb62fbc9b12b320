"""What the workers of the tests do with a body or a job: functions of a module, as a spawned process needs them."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from advisor.library import Library
from advisor.service.weighing import work
from advisor.service.weighing.worker import Weigher, weigh
from advisor.solver.round import Cancelled

DEADLY = b"die"


def dies(_: Weigher, __: str, ___: bytes, ____: str) -> work.Answer:
    """Die as in a fault of a C library: at once, with nothing said."""
    os.kill(os.getpid(), signal.SIGSEGV)
    raise AssertionError("still here")


def dies_of_one_body(weigher: Weigher, task: str, body: bytes, media_type: str) -> work.Answer:
    """Die of one question's spelling, answer all others."""
    if body.startswith(b" "):
        os.kill(os.getpid(), signal.SIGKILL)
    return weigh(weigher, task, body, media_type)


def hangs(_: Weigher, __: str, body: bytes, ___: str) -> work.Answer:
    """Say in the file that the body names which process is busy, and stay so."""
    Path(body.decode()).write_text(str(os.getpid()), encoding="ascii")
    time.sleep(600)
    raise AssertionError("woke up")


def sleeps(_: Weigher, __: str, body: bytes, ___: str) -> work.Answer:
    """Take as many seconds as the body says, and tell which process did."""
    time.sleep(float(body))
    return work.Answer(200, work.JSON, b"%d" % os.getpid())


def fails(_: Weigher, __: str, ___: bytes, ____: str) -> work.Answer:
    """Have a fault of its own, which says more than callers should read."""
    raise RuntimeError("secret of the house")


def counts(
    library: Library, study: str, request: Any, progress: Callable[[int, int], None], cancelled: Callable[[], bool]
) -> dict[str, work.Answer]:
    """A job of ``bound`` steps of 10 ms that reports every step, and stops when it is told to."""
    for done in range(request.bound):
        if cancelled():
            raise Cancelled
        progress(done, request.bound)
        time.sleep(0.01)
    return {work.JSON: work.Answer(200, work.JSON, b'{"pid": %d}' % os.getpid())}


def deaf(
    library: Library, study: str, request: Any, progress: Callable[[int, int], None], cancelled: Callable[[], bool]
) -> dict[str, work.Answer]:
    """A job that never ends and never asks whether it should; a small ``bound`` is answered at once."""
    if request.bound > 2_000:
        progress(0, os.getpid())
        time.sleep(600)
    return {work.JSON: work.Answer(200, work.JSON, b'{"pid": %d}' % os.getpid())}


def errs(
    library: Library, study: str, request: Any, progress: Callable[[int, int], None], cancelled: Callable[[], bool]
) -> dict[str, work.Answer]:
    """A job with a fault of its own, which says more than callers should read."""
    raise OSError("secret of the house")
