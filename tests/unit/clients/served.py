"""An application behind a real socket, in a thread of this process."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The address at which the application answers."""
    bound = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="auto", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        until = time.monotonic() + 10
        while not server.started:
            assert thread.is_alive() and time.monotonic() < until
            time.sleep(0.005)
        yield f"http://127.0.0.1:{bound.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(10)
        bound.close()
