"""The notebook's tables. Rows of trials and answers are only ever added; a set or entry is struck out, not deleted.

Totals follow from the trials.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text

__all__ = [
    "METADATA", "VERSION", "answers", "api_keys", "bot_servers", "entries", "player_totals", "sets", "totals", "trials",
]

VERSION = "0005"
"""The newest version of the tables: that of the last migration."""

METADATA = MetaData()
SERIAL = BigInteger().with_variant(Integer, "sqlite")
"""SQLite counts up only what is exactly INTEGER."""

trials = Table(
    "trials", METADATA,
    Column("serial", SERIAL, primary_key=True, autoincrement=True),
    Column("id", Text, nullable=False, unique=True),
    Column("key", Text, nullable=False, unique=True),
    Column("content", Text, nullable=False),
    Column("situation", Text, nullable=False),
    Column("situation_key", Text, nullable=False),
    Column("response", Text, nullable=False),
    Column("reply", Text),
    Column("delay", Integer),
    Column("window", Float),
    Column("successes", Integer, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("player", Text),
    Column("data_version", Text, nullable=False),
    Column("pack_hash", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("time", Text, nullable=False),
    Column("corrects", Text, ForeignKey("trials.id"), unique=True),
)  # fmt: skip
_COUNTED = ("situation_key", "response", "reply", "id", "successes", "tries")
"""All that counting reads, so that it reads the index alone."""
Index("trials_counted", *(trials.c[name] for name in _COUNTED))
Index("trials_player", trials.c.player, trials.c.serial)

totals = Table(
    "totals", METADATA,
    *(Column(name, Text, primary_key=True) for name in ("situation_key", "response", "reply")),
    *(Column(name, BigInteger, nullable=False) for name in ("successes", "tries")), sqlite_with_rowid=False,
)  # fmt: skip
"""Successes and tries that count; `reply` is empty when none was named."""
player_totals = Table(
    "player_totals", METADATA,
    Column("player", Text, primary_key=True),
    Column("window", Float, primary_key=True),
    *(Column(name, BigInteger, nullable=False) for name in ("successes", "tries")), sqlite_with_rowid=False,
)  # fmt: skip

sets = Table(
    "sets", METADATA,
    Column("serial", SERIAL, primary_key=True, autoincrement=True),
    Column("name", Text, nullable=False, index=True),
    Column("note", Text, nullable=False),
    Column("time", Text, nullable=False),
    Column("removed", Text),
)  # fmt: skip
entries = Table(
    "entries", METADATA,
    Column("serial", SERIAL, primary_key=True, autoincrement=True),
    Column("set_serial", SERIAL, ForeignKey("sets.serial"), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("study", Text),
    Column("request", Text, nullable=False),
    Column("removed", Text),
)  # fmt: skip
answers = Table(
    "answers", METADATA,
    Column("serial", SERIAL, primary_key=True, autoincrement=True),
    Column("entry_serial", SERIAL, ForeignKey("entries.serial"), nullable=False, index=True),
    Column("answer", Text, nullable=False),
    Column("data_version", Text, nullable=False),
    Column("pack_hash", Text, nullable=False),
    Column("rules_hash", Text, nullable=False),
    Column("time", Text, nullable=False),
)  # fmt: skip

bot_servers = Table(
    "bot_servers", METADATA,
    *(Column(name, Text, primary_key=name == "server", nullable=False) for name in ("server", "pack", "time")),
)  # fmt: skip
"""The pack that members of a server chose for the study bot."""

api_keys = Table(
    "api_keys", METADATA,
    Column("id", Text, primary_key=True, nullable=False),
    *(Column(name, Text, nullable=False) for name in ("name", "scopes", "hash", "created")),
    *(Column(name, Text) for name in ("expires", "revoked", "used")),
)  # fmt: skip
"""Keys of the service: of the secret only a hash, times in UTC, the last use to the hour."""
