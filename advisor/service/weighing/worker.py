"""What a worker process does: it loads the library once, then weighs one question after the other.

What comes in, over a socket of its own, and what goes out are frames: four bytes of length (big-endian), then the
content as MessagePack. The first frame out is empty: the data are loaded.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import struct
import threading
from collections.abc import Callable
from socket import socket

import msgspec

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.sentences import speaking
from advisor.sentences.catalogue import ENGLISH
from advisor.service.asking.bounds import Bounds
from advisor.service.seen.about import ABOUT, About
from advisor.service.seen.logs import write_logs
from advisor.service.settings import Settings
from advisor.service.weighing.trials import Place, Trials
from advisor.service.weighing.work import Answer, answer, end_with_the_server, load_settings, refusal

__all__ = ["HEAD", "Weigher", "Work", "frame", "read_answer", "run_worker", "weigh"]

HEAD = struct.Struct("!I")
NICE = 5
"""Workers come after the server that gives them work and answers everybody else."""
_log = logging.getLogger("advisor.service")
_ENCODE = msgspec.msgpack.Encoder().encode
_ASKED = msgspec.msgpack.Decoder(tuple[str, bytes, str, About | None])
read_answer = msgspec.msgpack.Decoder(Answer).decode


class Weigher(msgspec.Struct, frozen=True):
    """What a worker weighs with."""

    library: Library
    trials: Trials
    bounds: Bounds


Work = Callable[[Weigher, str, bytes, str], Answer]
"""What a worker does with a task, its body and the media type; a function of a module."""


def weigh(weigher: Weigher, task: str, body: bytes, media_type: str) -> Answer:
    """The response to one request."""
    return answer(weigher.library, task, body, media_type, trials=weigher.trials, bounds=weigher.bounds)


def frame(content: object) -> bytes:
    """The frame of a content."""
    encoded = _ENCODE(content)
    return HEAD.pack(len(encoded)) + encoded


def run_worker(line: socket, settings: Settings, place: Place, work: Work) -> None:
    """The life of a worker: until the other end of the line is closed, or the server is gone."""
    # Ctrl-C reaches the whole group; the server decides when its workers end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=end_with_the_server, daemon=True).start()
    with contextlib.suppress(OSError):
        os.nice(NICE)
    write_logs(settings)
    weigher = Weigher(load_settings(settings), Trials(settings, place), Bounds.of(settings))
    weigher.trials.load()
    # The line breaks when the server has no more use for this worker.
    with contextlib.suppress(OSError), line, line.makefile("rb") as file:
        line.sendall(HEAD.pack(0))
        while (asked := _read(file.read)) is not None:
            # In one piece: for two the server would be woken twice.
            line.sendall(frame(_answered(weigher, work, *asked)))


def _answered(
    weigher: Weigher, work: Work, task: str, body: bytes, media_type: str, about: About | None
) -> Answer:
    ABOUT.set(about)
    try:
        with speaking(about.language if about else ENGLISH):
            return work(weigher, task, body, media_type)
    except Exception as error:
        _log.error("a question (%s) could not be answered", task, exc_info=error)
        return refusal(AdvisorError("fault", "something went wrong on our side"))


def _read(read: Callable[[int], bytes]) -> tuple[str, bytes, str, About | None] | None:
    """The next question; None when there will be none. Errors: ``OSError``."""
    head = read(HEAD.size)
    if len(head) < HEAD.size:
        return None
    size: int = HEAD.unpack(head)[0]
    content = read(size)
    return _ASKED.decode(content) if len(content) == size else None
