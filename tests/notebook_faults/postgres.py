"""A private PostgreSQL server in a folder of its own, on a unix socket; it refuses root, so another user runs it.

``python tests/notebook_faults/postgres.py COMMAND...`` runs a command with ADVISOR_TEST_POSTGRES naming such a server.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["programs", "server"]

FOLDERS = (*sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True), "/usr/local/bin", "/usr/bin")
USER = "nobody"


def programs() -> Path | None:
    """The folder of ``initdb`` and ``pg_ctl``; None when there is none."""
    return next((Path(f) for f in FOLDERS if (Path(f) / "initdb").exists() and (Path(f) / "pg_ctl").exists()), None)


@contextmanager
def server() -> Iterator[str]:
    """The URL of a server that is there until the end of the block. Errors: RuntimeError when it does not start."""
    folder = programs()
    if folder is None:
        raise RuntimeError(f"no PostgreSQL in {', '.join(FOLDERS)}")
    home = Path(tempfile.mkdtemp(prefix="notebook-pg-", dir="/tmp"))
    try:
        if os.geteuid() == 0:
            shutil.chown(home, USER)
        data = home / "data"
        _run(folder / "initdb", "-D", data, "-U", "notebook", "-A", "trust", "-E", "UTF8", "--locale=C")
        options = f"-c listen_addresses='' -c unix_socket_directories={home}"
        _run(folder / "pg_ctl", "-D", data, "-w", "-l", home / "log", "-o", options, "start")
        try:
            yield f"postgresql://notebook@/postgres?host={home}"
        finally:
            _run(folder / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _run(*words: object) -> None:
    command = [str(word) for word in words]
    if os.geteuid() == 0:
        user = pwd.getpwnam(USER)
        command = ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups", *command]
    # A server that inherits a pipe would hold it open.
    with tempfile.TemporaryFile() as said:
        ran = subprocess.run(command, stdout=said, stderr=said, stdin=subprocess.DEVNULL, cwd="/", check=False)
        if ran.returncode:
            said.seek(0)
            raise RuntimeError(f"{command}: {said.read().decode(errors='replace')[-2000:]}")


if __name__ == "__main__":
    with server() as url:
        sys.exit(subprocess.run(sys.argv[1:], env={**os.environ, "ADVISOR_TEST_POSTGRES": url}, check=False).returncode)
