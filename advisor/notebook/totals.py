"""Totals of the trials that count: kept in the transaction that adds a record, and read without counting."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Engine, Table, and_

from advisor.notebook.connection import read
from advisor.notebook.tables import player_totals, totals

__all__ = ["COUNTED", "Counted", "count"]

Counts = dict[tuple[str, str | None], tuple[int, int]]
COUNTED = (
    "SELECT response, reply, successes, tries, (SELECT MAX(serial) FROM trials) FROM totals WHERE situation_key = ?"
)
"""The totals and the last record that is in them: one statement, so that none comes in between."""
NEWS = (
    "SELECT serial, situation_key, response, reply, successes, tries, corrects FROM trials WHERE serial > ? "
    "ORDER BY serial LIMIT ?"
)
REMEMBERED, CAUGHT_UP = 256, 100
"""Situations that are remembered, and the most new records that are added up rather than all read again."""

NO_REPLY = ""
"""Stands for no reply in ``totals``: in a key, null is like no other null."""


class Counted:
    """Totals by situation, those asked for before brought up to date by the records that came since."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._known: dict[str, tuple[int, Counts]] = {}

    def of(self, key: str) -> Counts:
        """Successes and tries by (response, reply) in the situation of that key."""
        known = self._known.get(key)
        now = None if known is None else self._caught_up(key, *known)
        if now is None:
            rows = read(self._engine, COUNTED, key)
            now = (rows[0][4] if rows else 0, {(mine, theirs or None): (k, n) for mine, theirs, k, n, _ in rows})
        if now[1]:
            if len(self._known) >= REMEMBERED:
                self._known.clear()
            self._known[key] = now
        return dict(now[1])

    def _caught_up(self, key: str, serial: int, counts: Counts) -> tuple[int, Counts] | None:
        """What was known with the records since, in a dict of its own (other threads do the same); None: read anew."""
        news = read(self._engine, NEWS, serial, CAUGHT_UP + 1)
        if len(news) > CAUGHT_UP or any(row[6] is not None for row in news):
            return None
        here = [row for row in news if row[1] == key]
        counts = dict(counts) if here else counts
        for _, _, mine, theirs, k, n, _ in here:
            before = counts.get((mine, theirs), (0, 0))
            counts[mine, theirs] = (before[0] + k, before[1] + n)
        return (news[-1][0] if news else serial), counts


def count(connection: Connection, row: Mapping[str, Any], sign: int) -> None:
    """Add the trial of ``row`` (the columns of ``trials``) to the totals, or with -1 take it off.

    Only one transaction writes at a time (``connection.writing``), so nobody else changes a total in between.
    """
    where = {"situation_key": row["situation_key"], "response": row["response"], "reply": row["reply"] or NO_REPLY}
    _move(connection, totals, where, sign * row["successes"], sign * row["tries"])
    if row["player"] is not None and row["window"] is not None:
        timed = {"player": row["player"], "window": row["window"]}
        _move(connection, player_totals, timed, sign * row["successes"], sign * row["tries"])


def _move(connection: Connection, table: Table, where: Mapping[str, Any], successes: int, tries: int) -> None:
    """Change one total; a total of no tries is no row."""
    here = and_(*(table.c[name] == value for name, value in where.items()))
    moved = {"successes": table.c.successes + successes, "tries": table.c.tries + tries}
    if not connection.execute(table.update().where(here).values(moved)).rowcount:
        connection.execute(table.insert().values(**where, successes=successes, tries=tries))
    elif tries < 0:
        connection.execute(table.delete().where(and_(here, table.c.tries == 0)))
