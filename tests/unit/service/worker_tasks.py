"""What the workers of the pool tests do with a body: functions of a module, as a spawned process needs them."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from advisor.service import work

DEADLY = b"die"


def dies(_: str, __: bytes) -> work.Answer:
    """Die as in a fault of a C library: at once, with nothing said."""
    os.kill(os.getpid(), signal.SIGSEGV)
    raise AssertionError("still here")


def dies_of_one_body(task: str, body: bytes) -> work.Answer:
    """Die of one question's spelling, answer all others."""
    if body.startswith(b" "):
        os.kill(os.getpid(), signal.SIGKILL)
    return work._answer(task, body)


def hangs(_: str, body: bytes) -> work.Answer:
    """Say in the file that the body names which process is busy, and stay so."""
    Path(body.decode()).write_text(str(os.getpid()), encoding="ascii")
    time.sleep(600)
    raise AssertionError("woke up")
