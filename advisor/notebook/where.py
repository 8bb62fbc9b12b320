"""Where the notebook is: a database URL from the environment, or a file in the user's data folder."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from advisor.errors import QuestionError

__all__ = ["VARIABLE", "notebook_url", "read_url"]

VARIABLE = "ADVISOR_NOTEBOOK"
_RIGHT = "sqlite:////folder/notebook.sqlite or postgresql://user@host/database"


def notebook_url(environ: Mapping[str, str] | None = None) -> str:
    """``ADVISOR_NOTEBOOK`` when it is set, else the file ``situation-advisor/notebook.sqlite`` in the data folder.

    The data folder is ``XDG_DATA_HOME``, or ``~/.local/share`` when that is not set or not absolute.
    """
    source = os.environ if environ is None else environ
    if source.get(VARIABLE):
        return source[VARIABLE]
    given = Path(source.get("XDG_DATA_HOME") or "")
    folder = given if given.is_absolute() else Path.home() / ".local" / "share"
    return f"sqlite:///{folder / 'situation-advisor' / 'notebook.sqlite'}"


def read_url(text: str) -> URL:
    """The URL with its driver. Errors: ``QuestionError`` for what is no URL of a file or of PostgreSQL."""
    try:
        url = make_url(text)
    except ArgumentError:
        raise QuestionError("value-invalid", "the notebook's address is no database URL", help=_RIGHT) from None
    kind = url.drivername.split("+")[0]
    if kind == "sqlite" and url.database not in (None, "", ":memory:"):
        return url.set(drivername="sqlite+pysqlite")
    if kind in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    raise QuestionError(
        "value-invalid", f"the notebook cannot be kept in `{url.render_as_string(hide_password=True)}`", help=_RIGHT
    )
