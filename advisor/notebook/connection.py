"""Connections to either database: the same code above, the same promise below (what was committed is on disk)."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DatabaseError, OperationalError

from advisor.errors import QuestionError
from advisor.notebook.where import read_url

__all__ = ["connect", "read", "version_of", "writing"]

WAIT = 30
"""Seconds that a writer waits for another."""
LOCK = 7_404_219_553
"""The number of the advisory lock under which PostgreSQL's writers queue, so that serials are committed in order."""


def connect(address: str) -> Engine:
    """An engine for the notebook at ``address``; the folder of a file is made when it is not there.

    Errors: ``QuestionError`` for an address that is none.
    """
    url = read_url(address)
    if url.get_backend_name() == "postgresql":
        _check_driver()
        return create_engine(url, connect_args={"options": "-c synchronous_commit=on"}, pool_pre_ping=True)
    folder = Path(str(url.database)).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise QuestionError(
            "value-invalid", f"the folder `{folder}` cannot be made: {error.strerror}", help="name one that can"
        ) from None
    engine = create_engine(url, connect_args={"timeout": WAIT})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _check_driver() -> None:
    """PostgreSQL's driver is an extra: told before anything is tried."""
    if find_spec("psycopg") is None:
        raise QuestionError(
            "value-invalid", "the driver of PostgreSQL is not installed",
            help="install `situation-advisor[postgres]`, or name a file of SQLite",
        )  # fmt: skip


def _prepare(connection: Any, _: Any) -> None:
    """Write-ahead log, every commit synced; the driver's own transactions off."""
    connection.isolation_level = None
    cursor = connection.cursor()
    try:
        _log_ahead(cursor)
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.execute("PRAGMA foreign_keys = ON")
    finally:
        cursor.close()


def _log_ahead(cursor: Any) -> None:
    """SQLite answers a change of the journal under another's lock at once with "locked", whatever the timeout."""
    until = time.monotonic() + WAIT
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.01)
        else:
            return


def _begin(connection: Connection) -> None:
    """A writer takes its lock at the start: one that read first and wrote later could be refused in between."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that is the only one that writes; committed, and on disk, at the end.

    Errors: ``QuestionError`` when the database cannot be opened.
    """
    try:
        connection = engine.connect().execution_options(writes=True)
    except OperationalError as error:
        raise _closed(error) from None
    with connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        yield connection


def read(engine: Engine, query: str, *values: object) -> list[Any]:
    """The rows of a query with ``?`` for its values, straight from the driver: for what every answer reads.

    Building the same query and opening a transaction for it costs several times as much as the reading.
    """
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        cursor.execute(query if engine.dialect.paramstyle == "qmark" else query.replace("?", "%s"), values)
        return list(cursor.fetchall())
    finally:
        connection.close()


def version_of(engine: Engine) -> str | None:
    """The version of the tables, read without what migrates them; None when there is none, or no database either."""
    try:
        with engine.connect() as connection:
            return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    except DatabaseError:
        return None


def _closed(error: OperationalError) -> QuestionError:
    said = str(error.orig).strip().splitlines()[0]
    return QuestionError(
        "value-invalid", f"the notebook cannot be opened: {said}", help="set `ADVISOR_NOTEBOOK` to one that can"
    )
