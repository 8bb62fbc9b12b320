"""The versions of the notebook's tables: brought up to date when it is opened, or by hand in either direction."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from advisor.errors import QuestionError, did_you_mean
from advisor.notebook.connection import writing

__all__ = ["current", "downgrade", "upgrade", "versions"]

FOLDER = Path(__file__).parent / "migrations"


def versions() -> list[str]:
    """The versions that this release knows, oldest first."""
    found = ScriptDirectory.from_config(_config()).walk_revisions()
    return [script.revision for script in found][::-1]


def current(engine: Engine) -> str | None:
    """The version that the database is at; None before the first. Errors: ``QuestionError`` if it is no database."""
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    except DatabaseError as error:
        said = str(error.orig).strip().splitlines()[0]
        raise QuestionError(
            "value-invalid", f"the notebook cannot be opened: {said}", help="set `ADVISOR_NOTEBOOK` to one that can"
        ) from None


def upgrade(engine: Engine, to: str = "head") -> None:
    """Bring the tables to version ``to``, in one transaction, whoever else does the same.

    Errors: ``QuestionError`` for a version that is none, or tables newer than this release.
    """
    known = versions()
    wanted = known[-1] if to == "head" else to
    now = current(engine)
    if now == wanted:
        return
    if now is not None and now not in known:
        raise QuestionError(
            "value-invalid", f"the notebook is at version `{now}`, newer than this release",
            help=f"known: {', '.join(known)}; install the newer release",
        )  # fmt: skip
    _run(engine, wanted, up=True)


def downgrade(engine: Engine, to: str) -> None:
    """Take the tables back to version ``to``, or ``base``: without any. What later versions keep is lost.

    Errors: ``QuestionError`` for a version that is none.
    """
    _run(engine, to, up=False)


def _run(engine: Engine, to: str, *, up: bool) -> None:
    known = [*versions(), "base"]
    if to not in known:
        raise QuestionError(
            "value-invalid", f"no version of the notebook is called `{to}`",
            help=did_you_mean(to, known) or f"versions: {', '.join(known)}",
        )  # fmt: skip
    with writing(engine) as connection:
        config = _config()
        config.attributes["connection"] = connection
        try:
            (command.upgrade if up else command.downgrade)(config, to)
        except CommandError as error:
            raise QuestionError("value-invalid", f"the notebook stays as it is: {error}") from None


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    return config
