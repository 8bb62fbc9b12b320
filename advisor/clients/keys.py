"""The command `advisor keys`: make, list and revoke the keys of the service."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click
from rich.console import Console, RenderableType
from rich.table import Table

from advisor.clients.running import guarded, json_option, print_json
from advisor.errors import AdvisorError, QuestionError
from advisor.service.access.caller import SCOPES
from advisor.service.access.keys import Record
from advisor.service.access.store import KeyStore, valid
from advisor.service.settings import read_settings

__all__ = ["COMMANDS", "keys_view"]


def _with_store(run: Callable[[KeyStore], None], *, as_json: bool) -> None:
    """Run with the store that the settings name; a database that fails is an error like others."""

    def go() -> None:
        from sqlalchemy.exc import DatabaseError

        store = KeyStore(read_settings().notebook)
        try:
            run(store)
        except AdvisorError:
            raise
        except DatabaseError as error:
            said = str(error.orig).strip().partition("\n")[0]
            raise QuestionError(
                "value-invalid", f"the store of the keys: {said}", help="set `ADVISOR_NOTEBOOK` to one that works"
            ) from None
        finally:
            store.close()

    guarded(go, as_json=as_json)


def _state(record: Record) -> str:
    if record.revoked is not None:
        return "revoked"
    return "valid" if valid(record) else "expired"


def _shown(record: Record) -> dict[str, Any]:
    """What may be shown of a key: all but its hash."""
    return {
        "id": record.id, "name": record.name, "scopes": record.scopes.split(), "state": _state(record),
        "created": record.created, "expires": record.expires, "revoked": record.revoked, "used": record.used,
    }  # fmt: skip


def keys_view(records: list[Record]) -> RenderableType:
    """The keys as a table."""
    table = Table(box=None, pad_edge=False)
    for heading in ("id", "name", "scopes", "state", "created", "expires", "last used"):
        table.add_column(heading, overflow="fold")
    for one in records:
        times = (t[:16].replace("T", " ") if t else "-" for t in (one.created, one.expires, one.used))
        table.add_row(one.id, one.name, one.scopes, _state(one), *times)
    return table


@click.group()
def keys() -> None:
    """The keys that the service lets in; they are kept in the store that ADVISOR_NOTEBOOK names."""


@keys.command()
@click.argument("name")
@click.option(
    "--scope", "scopes", multiple=True, required=True, type=click.Choice(SCOPES),
    help="What it is good for; may be repeated. `admin` is good for everything.",
)  # fmt: skip
@click.option("--days", type=click.IntRange(1, 36_500), help="Days for which it holds; for ever when left out.")
@json_option
def add(name: str, scopes: tuple[str, ...], days: int | None, as_json: bool) -> None:
    """Make a key called NAME, and show it this once: only a hash of it is kept."""

    def run(store: KeyStore) -> None:
        key = store.add(name, scopes, days)
        if as_json:
            print_json({**_shown(key.record), "key": key.text})
            return
        click.echo(key.text)
        until = f", until {key.record.expires[:16]}" if key.record.expires else ""
        click.echo(f"`{key.record.id}`: {key.record.scopes}{until}; it is not shown again", err=True)

    _with_store(run, as_json=as_json)


@keys.command("list")
@json_option
def list_keys(as_json: bool) -> None:
    """All keys, those that hold no more among them."""

    def run(store: KeyStore) -> None:
        found = store.listed()
        if as_json:
            print_json([_shown(record) for record in found])
        else:
            Console().print(keys_view(found) if found else "no keys", markup=False)

    _with_store(run, as_json=as_json)


@keys.command()
@click.argument("id")
@json_option
def revoke(id: str, as_json: bool) -> None:
    """Let the key with that ID hold no more; servers that run know it within five seconds."""

    def run(store: KeyStore) -> None:
        record = store.revoke(id)
        if as_json:
            print_json(_shown(record))
        else:
            click.echo(f"revoked `{record.id}` ({record.name})")

    _with_store(run, as_json=as_json)


COMMANDS: dict[str, click.Command] = {"keys": keys}
"""The command by its name."""
