"""The command in this process, with nothing of the caller's environment and with a terminal of known width."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from command_line import Run
from litestar.testing import TestClient

from advisor.clients import cli, running
from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings
from advisor.service.weighing.work import load_settings

_bundled = cache(load_settings)


def _load(settings: Settings) -> Library:
    """The library of the settings; that of the bundled data alone is loaded once for all tests."""
    return load_settings(settings) if settings.packs or settings.rules else _bundled(settings)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Runs ``advisor`` with the given words, without a lab notebook; ``columns`` is the width."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    for name in Settings.__struct_fields__:
        monkeypatch.delenv(f"ADVISOR_{name.upper()}", raising=False)
    monkeypatch.setattr(running, "load_settings", _load)

    def command(*words: str, columns: int = 80, environ: dict[str, str] | None = None) -> Result:
        result = CliRunner().invoke(cli.main, words, env={"COLUMNS": str(columns), **(environ or {})})
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result

    return command


@pytest.fixture(scope="session")
def client() -> Iterator[TestClient[Service]]:
    """The service over the same data."""
    settings = Settings(engine="plain", workers=0)
    with TestClient(create_app(settings, _bundled(Settings(engine="plain")))) as client:
        yield client
