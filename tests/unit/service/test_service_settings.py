"""Settings from the environment and from a file, and the command that shows them."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import get_args

import msgspec
import pytest
from click.testing import CliRunner

from advisor.clients.settings import COMMANDS
from advisor.errors import QuestionError
from advisor.service.settings import Settings, read_settings


def test_nothing_set_gives_the_defaults() -> None:
    assert read_settings({"PATH": "/bin", "ADVISORY": "x", "ADVISOR_PORT": ""}) == Settings()


def test_everything_set() -> None:
    assert read_settings(
        {
            "ADVISOR_HOST": "::1", "ADVISOR_PORT": "0", "ADVISOR_PACKS": os.pathsep.join(["/a", "/b"]),
            "ADVISOR_RULES": "/r", "ADVISOR_DEFAULT_PACK": "p", "ADVISOR_ENGINE": "plain", "ADVISOR_WORKERS": "64",
            "ADVISOR_MAX_BODY": "1024",
        }
    ) == Settings(
        host="::1", port=0, packs=(Path("/a"), Path("/b")), rules=(Path("/r"),), default_pack="p", engine="plain",
        workers=64, max_body=1024,
    )  # fmt: skip


def test_every_setting_can_be_set() -> None:
    for field in msgspec.structs.fields(Settings):
        plain, *meta = get_args(field.type)
        least = next((m.ge for m in meta if m.ge is not None), None)
        words = [w for w in get_args(plain) if isinstance(w, str) and w != field.default]
        text = words[0] if words else "7" if least is None else str(least + (field.default == least))
        changed = read_settings({f"ADVISOR_{field.name.upper()}": text})
        assert getattr(changed, field.name) != field.default, field.name


@pytest.mark.parametrize(
    ("name", "text", "message", "help"),
    [
        ("ADVISOR_PROT", "1", "no setting is called `ADVISOR_PROT`", "did you mean `ADVISOR_PORT`?"),
        ("ADVISOR_PORT", "65536", "`ADVISOR_PORT` is `65536`", "a whole number from 0 to 65535"),
        ("ADVISOR_PORT", "-1", "`ADVISOR_PORT` is `-1`", "a whole number from 0 to 65535"),
        ("ADVISOR_PORT", "http", "`ADVISOR_PORT` is `http`", "a whole number from 0 to 65535"),
        ("ADVISOR_WORKERS", "65", "`ADVISOR_WORKERS` is `65`", "a whole number from 0 to 64"),
        ("ADVISOR_MAX_BODY", "9" * 30, f"`ADVISOR_MAX_BODY` is `{'9' * 30}`", "a whole number from 1024 to 16777216"),
        ("ADVISOR_ENGINE", "fast", "`ADVISOR_ENGINE` is `fast`", "one of auto, durable, plain"),
    ],
)
def test_a_faulty_setting_is_named(name: str, text: str, message: str, help: str) -> None:
    with pytest.raises(QuestionError) as caught:
        read_settings({name: text})
    assert (caught.value.message, caught.value.help) == (message, help)


def filed(tmp_path: Path, text: str, **environ: str) -> Settings:
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return read_settings({"ADVISOR_SETTINGS": str(path), **environ})


def test_a_file_sets_and_the_environment_goes_before_it(tmp_path: Path) -> None:
    text = 'port = 81\nworkers = "3"\npacks = ["/a", "/b"]\ncors = ["https://a.example"]\nmetrics = false\n'
    assert filed(tmp_path, text, ADVISOR_PORT="82", ADVISOR_ENGINE="") == Settings(
        port=82, workers=3, packs=(Path("/a"), Path("/b")), cors=("https://a.example",), metrics="no"
    )


@pytest.mark.parametrize(
    ("text", "said", "help"),
    [
        ('host = "::1"\n\nprot = 1\n', ":3: no setting is called `prot`", "did you mean `port`?"),
        ("# port\nport = 65536\n", ":2: `port` is `65536`", "a whole number from 0 to 65535"),
        ("grace = 1.5\n", ":1: `grace` is `1.5`", "a whole number from 0 to 600"),
        ('packs = ["/a", 3]\n', ":1: `packs` is `['/a', 3]`", "a list of texts"),
        ('[log]\nform = "json"\n', ":1: `log` is `{'form': 'json'}`", "one of text, json, off"),
        ("PORT = 1\n", ":1: no setting is called `PORT`", "did you mean `port`?"),
    ],
)
def test_a_fault_of_the_file_is_told_with_its_line(tmp_path: Path, text: str, said: str, help: str) -> None:
    with pytest.raises(QuestionError) as caught:
        filed(tmp_path, text)
    assert caught.value.message == f"{tmp_path / 'settings.toml'}{said}"
    assert caught.value.help == help


@pytest.mark.parametrize("text", ["port 81\n", "port = 1\nport = 2\n", "\x00"])
def test_what_is_no_toml_is_told_with_its_file(tmp_path: Path, text: str) -> None:
    with pytest.raises(QuestionError, match=r"settings\.toml: not TOML: .*line 1|line 2"):
        filed(tmp_path, text)


def test_a_file_that_is_not_there_is_a_clear_error(tmp_path: Path) -> None:
    with pytest.raises(QuestionError, match="cannot be read: no such file or directory"):
        read_settings({"ADVISOR_SETTINGS": str(tmp_path / "none.toml")})


def test_the_command_shows_all_settings_and_no_secret(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('redis = "redis://u:se/c@ret@h:1/0"\nport = 81\n', encoding="utf-8")
    secrets = {
        "ADVISOR_DISCORD_TOKEN": "secret", "ADVISOR_WEBHOOK_SECRET": "secret",
        "ADVISOR_NOTEBOOK": "postgresql://h/d?user=u&password=secret&sslmode=require",
    }  # fmt: skip
    for name in [key for key in os.environ if key.startswith("ADVISOR_")]:
        monkeypatch.delenv(name)
    for name, text in {**secrets, "ADVISOR_SETTINGS": str(path)}.items():
        monkeypatch.setenv(name, text)
    done = CliRunner().invoke(COMMANDS["settings"], ["--json"])
    assert done.exit_code == 0
    assert "se/c" not in done.output
    assert "ret@" not in done.output
    assert "=secret" not in done.output
    rows = {row["name"]: row for row in json.loads(done.output)}
    assert list(rows) == [f"ADVISOR_{name.upper()}" for name in Settings.__struct_fields__]
    assert all(row["meaning"] for row in rows.values())
    assert rows["ADVISOR_REDIS"]["value"] == "redis://u:(hidden)@h:1/0"
    assert rows["ADVISOR_NOTEBOOK"]["value"] == "postgresql://h/d?user=u&password=(hidden)&sslmode=require"
    assert {rows[name]["value"] for name in secrets} == {"(hidden)", rows["ADVISOR_NOTEBOOK"]["value"]}
    assert rows["ADVISOR_PORT"] == {**rows["ADVISOR_PORT"], "value": 81, "source": str(path)}
    assert (rows["ADVISOR_DISCORD_TOKEN"]["source"], rows["ADVISOR_HOST"]["source"]) == ("environment", "default")
    shown = CliRunner().invoke(COMMANDS["settings"], [])
    assert (shown.exit_code, "81" in shown.output) == (0, True)
    monkeypatch.setenv("ADVISOR_PORT", "x")
    assert CliRunner().invoke(COMMANDS["settings"], []).exit_code == 2
