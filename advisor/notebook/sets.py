"""Study sets: saved situations under a name, with the answers that they had."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct
from sqlalchemy import Connection, RowMapping, and_, func, select

from advisor.errors import AdvisorError, QuestionError, did_you_mean
from advisor.facts.question import Question
from advisor.notebook.connection import writing
from advisor.notebook.store import Notebook, now
from advisor.notebook.tables import answers, entries, sets
from advisor.notebook.trial import canonical
from advisor.studies import STUDIES

__all__ = ["Entry", "Kept", "SetInfo", "Sets", "request_type"]

Name = Annotated[str, Meta(min_length=1, max_length=200)]
Note = Annotated[str, Meta(max_length=2_000)]


class Kept(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """An answer as it was, as JSON has it, with what it rests on."""

    answer: Any
    data_version: str
    pack_hash: str
    rules_hash: str
    time: str = ""


class Entry(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A saved situation: a question (``study`` None) or a study's request, as JSON has it; ``kept``: its answer."""

    name: Name
    request: dict[str, Any]
    study: str | None = None
    note: Note = ""
    kept: Kept | None = None


class SetInfo(Struct, kw_only=True, frozen=True):
    """A set: its name, note, when it was made (UTC) and how many entries it has."""

    name: str
    note: str
    time: str
    entries: Annotated[int, Meta(description="How many entries it has.")]


def request_type(study: str | None, pointer: str = "/study") -> type[Struct]:
    """The Struct that a request is read as. Errors: ``QuestionError`` for a study that is none."""
    if study is None:
        return Question
    if study not in STUDIES:
        raise QuestionError(
            "value-invalid", f"no study is called `{study}`",
            help=did_you_mean(study, STUDIES) or f"studies: {', '.join(STUDIES)}", pointer=pointer,
        )  # fmt: skip
    return STUDIES[study].request


class Sets:
    """The study sets of a notebook."""

    def __init__(self, notebook: Notebook) -> None:
        self.engine = notebook.engine

    def add(self, name: str, note: str = "") -> SetInfo:
        """A new, empty set. Errors: ``AdvisorError`` ``set-exists``; ``QuestionError`` for a name that is none."""
        return self.put(name, note, [])

    def put(self, name: str, note: str, given: list[Entry]) -> SetInfo:
        """A new set with its entries: all of them or nothing. Errors: as ``add`` and ``add_entry``."""
        _check_name(name)
        with writing(self.engine) as connection:
            if _find(connection, name) is not None:
                raise AdvisorError(
                    "set-exists", f"there is a set `{name}`", help="remove it, or take another name", pointer="/name"
                )
            time = now()
            made = connection.execute(sets.insert().values(name=name, note=note, time=time)).inserted_primary_key
            for entry in given:
                _insert(connection, int(made[0]) if made else 0, entry)
        return SetInfo(name=name, note=note, time=time, entries=len(given))

    def add_entry(self, name: str, entry: Entry) -> None:
        """Save a situation in the set. Errors: ``AdvisorError`` ``set-unknown``, ``set-exists`` for the entry's name;
        ``QuestionError`` for a study or request that is none.
        """
        with writing(self.engine) as connection:
            _insert(connection, _serial(connection, name), entry)

    def list(self) -> list[SetInfo]:
        """The sets, by name."""
        live = and_(entries.c.set_serial == sets.c.serial, entries.c.removed.is_(None))
        query = (
            select(sets.c.name, sets.c.note, sets.c.time, func.count(entries.c.serial).label("entries"))
            .select_from(sets.outerjoin(entries, live)).where(sets.c.removed.is_(None))
            .group_by(sets.c.serial, sets.c.name, sets.c.note, sets.c.time).order_by(sets.c.name)
        )  # fmt: skip
        with self.engine.connect() as connection:
            return [SetInfo(**row) for row in connection.execute(query).mappings()]

    def get(self, name: str) -> tuple[SetInfo, tuple[Entry, ...]]:
        """A set and its entries with their newest answers, in order. Errors: ``AdvisorError`` ``set-unknown``."""
        with self.engine.connect() as connection:
            serial = _serial(connection, name)
            head = connection.execute(select(sets).where(sets.c.serial == serial)).mappings().one()
            found = tuple(_entry(connection, row) for row in _rows(connection, serial))
        return SetInfo(name=name, note=head["note"], time=head["time"], entries=len(found)), found

    def remove(self, name: str, entry: str | None = None) -> None:
        """Strike out a set, or one entry of it; its rows stay. Errors: ``set-unknown``, ``entry-unknown``."""
        with writing(self.engine) as connection:
            serial = _serial(connection, name)
            if entry is None:
                connection.execute(sets.update().where(sets.c.serial == serial).values(removed=now()))
                return
            row = _entry_row(connection, serial, entry)
            connection.execute(entries.update().where(entries.c.serial == row["serial"]).values(removed=now()))

    def keep(self, name: str, found: dict[str, Kept]) -> None:
        """Store new answers by entry, all or none; earlier ones stay. Errors: ``set-unknown``, ``entry-unknown``."""
        with writing(self.engine) as connection:
            serial = _serial(connection, name)
            for entry, kept in found.items():
                _keep(connection, _entry_row(connection, serial, entry)["serial"], kept)


def _check_name(name: str) -> None:
    if not 1 <= len(name) <= 200 or name != name.strip():
        raise QuestionError(
            "value-invalid", f"`{name}` is no name", help="1 to 200 characters, no space at the ends", pointer="/name"
        )


def _find(connection: Connection, name: str) -> int | None:
    query = select(sets.c.serial).where(and_(sets.c.name == name, sets.c.removed.is_(None)))
    return connection.execute(query).scalar()


def _serial(connection: Connection, name: str) -> int:
    found = _find(connection, name)
    if found is None:
        names = connection.execute(select(sets.c.name).where(sets.c.removed.is_(None))).scalars().all()
        raise AdvisorError(
            "set-unknown", f"no set is called `{name}`",
            help=did_you_mean(name, names) or "`advisor sets list` lists them", pointer="/name",
        )  # fmt: skip
    return found


def _rows(connection: Connection, serial: int) -> list[RowMapping]:
    query = select(entries).where(and_(entries.c.set_serial == serial, entries.c.removed.is_(None)))
    return list(connection.execute(query.order_by(entries.c.serial)).mappings())


def _entry_row(connection: Connection, serial: int, name: str) -> RowMapping:
    rows = {row["name"]: row for row in _rows(connection, serial)}
    if name not in rows:
        raise AdvisorError(
            "entry-unknown", f"the set has no entry `{name}`",
            help=did_you_mean(name, rows) or f"entries: {', '.join(rows) or 'none'}", pointer="/entry",
        )  # fmt: skip
    return rows[name]


def _insert(connection: Connection, serial: int, entry: Entry) -> None:
    _check_name(entry.name)
    try:
        msgspec.convert(entry.request, request_type(entry.study))
    except msgspec.ValidationError as error:
        raise QuestionError("value-invalid", f"the request of `{entry.name}`: {error}", pointer="/request") from None
    taken = and_(entries.c.set_serial == serial, entries.c.name == entry.name, entries.c.removed.is_(None))
    if connection.execute(select(entries.c.serial).where(taken)).first() is not None:
        raise AdvisorError(
            "set-exists", f"the set has an entry `{entry.name}`", help="take another name", pointer="/entry"
        )
    values = {"name": entry.name, "note": entry.note, "study": entry.study, "set_serial": serial}
    made = connection.execute(
        entries.insert().values(**values, request=canonical(entry.request).decode())
    ).inserted_primary_key
    if entry.kept is not None:
        _keep(connection, int(made[0]) if made else 0, entry.kept)


def _keep(connection: Connection, serial: int, kept: Kept) -> None:
    connection.execute(answers.insert().values(
        entry_serial=serial, answer=canonical(kept.answer).decode(), data_version=kept.data_version,
        pack_hash=kept.pack_hash, rules_hash=kept.rules_hash, time=kept.time or now(),
    ))  # fmt: skip


def _entry(connection: Connection, row: RowMapping) -> Entry:
    query = select(answers).where(answers.c.entry_serial == row["serial"]).order_by(answers.c.serial.desc()).limit(1)
    last = connection.execute(query).mappings().first()
    kept = None
    if last is not None:
        names = ("data_version", "pack_hash", "rules_hash", "time")
        kept = Kept(answer=msgspec.json.decode(last["answer"]), **{name: last[name] for name in names})
    return Entry(
        name=row["name"], note=row["note"], study=row["study"], request=msgspec.json.decode(row["request"]), kept=kept
    )
