"""The keys in the notebook's store. Nothing is deleted: a key that is revoked stays, with the time."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select

from advisor.errors import QuestionError, did_you_mean
from advisor.notebook import Notebook, notebook_url
from advisor.notebook.connection import read, writing
from advisor.notebook.store import now
from advisor.notebook.tables import api_keys
from advisor.notebook.where import read_url
from advisor.service.access.keys import Key, Record, checked_scopes, hash_of, make_key

__all__ = ["KeyStore", "hour", "valid"]

LONGEST_NAME = 80
MOST_DAYS = 36_500
_COLUMNS = ", ".join(Record._fields)
_ONE = f"SELECT {_COLUMNS} FROM api_keys WHERE id = ?"


def hour() -> str:
    """The hour that it is in UTC: as exactly as a use is remembered."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:00Z")


def valid(record: Record, moment: datetime | None = None) -> bool:
    """Whether the key holds now."""
    expired = record.expires is not None and datetime.fromisoformat(record.expires) <= (moment or datetime.now(UTC))
    return record.revoked is None and not expired


class KeyStore:
    """The keys in the store at ``address``, the user's own when left out; opened when it is needed, for any thread.

    Errors of every call: ``QuestionError`` for a store that cannot be opened, and those of the database.
    """

    def __init__(self, address: str | None = None) -> None:
        self._address = address or notebook_url()
        self._notebook: Notebook | None = None
        self._opening = threading.Lock()

    def add(self, name: str, scopes: tuple[str, ...], days: int | None = None) -> Key:
        """A new key, on disk when this returns. Errors: ``QuestionError`` for a name, scope or number that is none."""
        if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable() or name != name.strip():
            raise QuestionError("value-invalid", f"`{name[:LONGEST_NAME]}` is no name of a key",
                                help=f"1 to {LONGEST_NAME} characters that can be seen")  # fmt: skip
        if days is not None and not 1 <= days <= MOST_DAYS:
            raise QuestionError("value-invalid", f"a key cannot hold for {days} days", help=f"1 to {MOST_DAYS}")
        held = checked_scopes(scopes)
        id, text = make_key()
        end = None if days is None else (datetime.now(UTC) + timedelta(days=days)).isoformat(timespec="seconds")
        record = Record(id, name, held, hash_of(text), now(), end, None, None)
        with writing(self._open().engine) as connection:
            connection.execute(api_keys.insert().values(record._asdict()))
        return Key(text, record)

    def listed(self) -> list[Record]:
        """All keys, the oldest first."""
        if not self._there():
            return []
        with self._open().engine.connect() as connection:
            return [Record(*row) for row in connection.execute(select(api_keys).order_by(api_keys.c.created))]

    def revoke(self, id: str) -> Record:
        """Take a key back; one that was revoked stays as it is. Errors: ``QuestionError`` for an id that is none."""
        with writing(self._open().engine) as connection:
            mine = api_keys.c.id == id
            connection.execute(api_keys.update().where(mine, api_keys.c.revoked.is_(None)).values(revoked=now()))
            row = connection.execute(select(api_keys).where(mine)).first()
            if row is None:
                ids = [str(one) for one in connection.execute(select(api_keys.c.id)).scalars()]
                raise QuestionError("value-invalid", f"no key has the id `{id[:80]}`",
                                    help=did_you_mean(id, ids) or "`advisor keys list` shows the ids")  # fmt: skip
            return Record(*row)

    def find(self, id: str) -> Record | None:
        """The key of that id; None when there is none."""
        if not self._there():
            return None
        found = read(self._open().engine, _ONE, id)
        return Record(*found[0]) if found else None

    def use(self, id: str, when: str) -> None:
        """Remember that the key was used in that hour."""
        with writing(self._open().engine) as connection:
            connection.execute(api_keys.update().where(api_keys.c.id == id).values(used=when))

    def close(self) -> None:
        """Let go of the store; it is opened again when it is needed."""
        with self._opening:
            notebook, self._notebook = self._notebook, None
        if notebook is not None:
            notebook.close()

    def _open(self) -> Notebook:
        with self._opening:
            if self._notebook is None:
                self._notebook = Notebook(self._address)
            return self._notebook

    def _there(self) -> bool:
        """Reading makes no file."""
        url = read_url(self._address)
        return url.get_backend_name() != "sqlite" or Path(str(url.database)).is_file()
