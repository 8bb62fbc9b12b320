"""Keys by the command line: made and shown once, listed without secrets, taken back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from command_line import Run

from advisor.service.access.keys import hash_of, read_id


def test_a_key_is_made_listed_and_revoked(run: Run) -> None:
    assert json.loads(run("keys", "list", "--json").stdout) == []
    made = run("keys", "add", "main stage", "--scope", "live", "--scope", "read", "--days", "3")
    key = made.stdout.strip()
    id = read_id(key)
    assert made.exit_code == 0 and id and id in made.stderr and key not in made.stderr
    listed = json.loads(run("keys", "list", "--json").stdout)[0]
    end = datetime.fromisoformat(listed.pop("expires"))
    assert abs(end - datetime.now(UTC) - timedelta(days=3)) < timedelta(minutes=1)
    created = listed.pop("created")
    plain = {"id": id, "name": "main stage", "scopes": ["read", "live"], "revoked": None, "used": None}
    assert listed == {**plain, "state": "valid"}
    text = run("keys", "list", columns=160).stdout
    assert f"{id}  main stage  read live  valid  {created[:10]} {created[11:16]}" in text
    assert key not in text and hash_of(key) not in text
    assert run("keys", "revoke", id).stdout == f"revoked `{id}` (main stage)\n"
    first = json.loads(run("keys", "revoke", id, "--json").stdout)
    assert first["state"] == "revoked"
    assert json.loads(run("keys", "revoke", id, "--json").stdout) == first
    assert json.loads(run("keys", "add", "b", "--scope", "admin", "--json").stdout)["expires"] is None


def test_what_is_wrong_with_a_key_is_said(run: Run) -> None:
    id = json.loads(run("keys", "add", "a", "--scope", "read", "--json").stdout)["id"]
    for words, said in (
        (("add", "a"), "--scope"),
        (("add", "a", "--scope", "red"), "'red' is not one of 'read', 'live', 'notebook', 'admin'"),
        (("add", "", "--scope", "read"), "`` is no name of a key"),
        (("add", "a\tb", "--scope", "read"), "is no name of a key"),
        (("add", "a", "--scope", "read", "--days", "0"), "--days"),
        (("revoke", id[:-1] + "_"), f"did you mean `{id}`?"),
        (("revoke", "x"), "`advisor keys list` shows the ids"),
    ):
        got = run("keys", *words)
        assert got.exit_code == 2 and said in got.stderr, words


def test_a_store_that_cannot_be_used_is_said(run: Run, tmp_path: Path) -> None:
    broken = tmp_path / "broken.sqlite"
    broken.write_text("this is no database, and long enough for that to be seen " * 20, encoding="utf-8")
    got = run("keys", "list", environ={"ADVISOR_NOTEBOOK": f"sqlite:///{broken}"})
    assert got.exit_code == 2 and "ADVISOR_NOTEBOOK" in got.stderr
