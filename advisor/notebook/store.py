"""The store of trials: records are added and never changed; a correction is a record of its own."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

import msgspec
from msgspec import Struct
from sqlalchemy import Connection, RowMapping, exists, select

from advisor.errors import AdvisorError, QuestionError
from advisor.notebook.connection import connect, read, version_of, writing
from advisor.notebook.tables import VERSION, trials
from advisor.notebook.totals import Counted, count
from advisor.notebook.trial import Situation, Trial, canonical, checked, content_of, situation_key

__all__ = ["Notebook", "Page", "now", "row_of"]

LONGEST_PAGE = 1_000
TIMED = 'SELECT "window", successes, tries FROM player_totals WHERE player = ? ORDER BY "window"'


class Page(Struct, kw_only=True, frozen=True):
    """Some trials, oldest first; ``next`` is the cursor of the rest, None at the end."""

    trials: list[Trial]
    next: str | None


def now() -> str:
    """The time in UTC, ISO 8601 with microseconds."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


class Notebook:
    """The notebook at a database URL, its tables brought up to date; for several threads and processes at once.

    Errors: ``QuestionError`` for a URL that is none or a database that cannot be opened.
    """

    def __init__(self, url: str) -> None:
        self.engine = connect(url)
        self._counted = Counted(self.engine)
        try:
            if version_of(self.engine) != VERSION:
                # What migrates costs a tenth of a second to load.
                from advisor.notebook.schema import upgrade

                upgrade(self.engine)
        except BaseException:
            self.engine.dispose()
            raise

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    def __enter__(self) -> Notebook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(self, trial: Trial) -> Trial:
        """The record as it was written: on disk when this returns.

        The same ``key`` with the same content gives the first record again. Errors: ``AdvisorError``
        ``idempotency-conflict`` for a key that stands for something else, ``trial-corrected`` (naming the newest
        record) when ``corrects`` has been corrected, ``trial-unknown`` when it is none; ``QuestionError``.
        """
        given = checked(trial)
        with writing(self.engine) as connection:
            if given.key is not None:
                before = connection.execute(select(trials).where(trials.c.key == given.key)).mappings().first()
                if before is not None:
                    return _again(before, given)
            if given.corrects is not None:
                count(connection, dict(_corrected(connection, given.corrects)), -1)
            fresh = str(uuid.uuid4())
            row = row_of(given, fresh)
            serial = connection.execute(trials.insert().values(row)).inserted_primary_key
            count(connection, row, 1)
        return _trial({**row, "serial": serial[0] if serial else 0})

    def trial(self, id: str) -> Trial:
        """One record, corrected or not. Errors: ``AdvisorError`` ``trial-unknown``."""
        with self.engine.connect() as connection:
            row = connection.execute(select(trials).where(trials.c.id == id)).mappings().first()
        if row is None:
            raise _unknown(id)
        return _trial(row)

    def trials(
        self, *, situation: Situation | None = None, response: str | None = None, reply: str | None = None,
        player: str | None = None, corrected: bool = False, after: str | None = None, limit: int = 100,
    ) -> Page:
        """The trials that match, oldest first, past the cursor ``after``; with ``corrected`` the replaced ones too.

        Errors: ``QuestionError`` for a cursor or a limit (1 to 1000) that is none.
        """
        query = select(trials).order_by(trials.c.serial).limit(_limit(limit) + 1)
        if after is not None:
            query = query.where(trials.c.serial > _cursor(after))
        if not corrected:
            query = query.where(_counts())
        if situation is not None:
            query = query.where(trials.c.situation_key == situation_key(situation))
        for column, value in ((trials.c.response, response), (trials.c.reply, reply), (trials.c.player, player)):
            if value is not None:
                query = query.where(column == value)
        with self.engine.connect() as connection:
            found = [_trial(row) for row in connection.execute(query).mappings()]
        return Page(trials=found[:limit], next=found[limit - 1].cursor if len(found) > limit else None)

    def counted(self, key: str) -> dict[tuple[str, str | None], tuple[int, int]]:
        """Successes and tries by (response, reply) in the situation of that ``situation_key``; no corrected one."""
        return self._counted.of(key)

    def timed(self, player: str) -> list[tuple[float, int, int]]:
        """The player's trials with a known window, as ``solver.timing_spread`` reads them: (window, k, n)."""
        return [(window, k, n) for window, k, n in read(self.engine, TIMED, player)]

    def revision(self) -> int:
        """The serial of the last record, 0 before the first: as long as it is the same, so is what was tried."""
        return int(read(self.engine, "SELECT MAX(serial) FROM trials")[0][0] or 0)


def _counts() -> Any:
    """No other record corrects this one."""
    later = trials.alias()
    return ~exists().where(later.c.corrects == trials.c.id)


def _again(before: RowMapping, given: Trial) -> Trial:
    if before["content"] != content_of(given):
        raise AdvisorError(
            "idempotency-conflict", f"the key `{given.key}` stands for another trial, `{before['id']}`",
            help="take a new key for a new trial; name `corrects` to correct one", pointer="/key",
        )  # fmt: skip
    return _trial(before)


def _corrected(connection: Connection, id: str) -> RowMapping:
    """The record to correct. Errors: for what is no record, or not the newest of its chain."""
    row = connection.execute(select(trials).where(trials.c.id == id)).mappings().first()
    if row is None:
        raise _unknown(id)
    newest = id
    while (later := connection.execute(select(trials.c.id).where(trials.c.corrects == newest)).scalar()) is not None:
        newest = later
    if newest != id:
        raise AdvisorError(
            "trial-corrected", f"the trial `{id}` has been corrected", help=f"correct the newest one, `{newest}`",
            pointer="/corrects",
        )  # fmt: skip
    return row


def _unknown(id: str) -> AdvisorError:
    return AdvisorError(
        "trial-unknown", f"no trial `{id}` is in the notebook", help="`advisor trials` lists them", pointer="/corrects"
    )


def _limit(limit: int) -> int:
    if not 1 <= limit <= LONGEST_PAGE:
        raise QuestionError("value-invalid", f"`{limit}` trials a page", help=f"1 to {LONGEST_PAGE}", pointer="/limit")
    return limit


def _cursor(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise QuestionError(
            "value-invalid", f"`{text}` is no cursor", help="the `next` of the page before", pointer="/after"
        )
    return int(text)


def row_of(trial: Trial, id: str) -> dict[str, Any]:
    """The columns of a trial under a new id; ``add`` writes them, and the benchmark in bulk."""
    plain = {
        name: getattr(trial, name) for name in (
            "response", "reply", "delay", "window", "successes", "tries", "player", "data_version", "pack_hash", "note",
            "corrects",
        )
    }  # fmt: skip
    return {
        **plain, "id": id, "key": trial.key or id, "content": content_of(trial), "time": now(),
        "situation": canonical(trial.situation).decode(), "situation_key": situation_key(trial.situation),
    }  # fmt: skip


def _trial(row: Any) -> Trial:
    kept = {name: row[name] for name in Trial.__struct_fields__ if name not in ("situation", "cursor")}
    return Trial(situation=_SITUATION.decode(row["situation"]), cursor=str(row["serial"]), **kept)


_SITUATION = msgspec.json.Decoder(Situation)
