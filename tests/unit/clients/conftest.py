"""The command in this process, with nothing of the caller's environment and with a terminal of known width."""

from __future__ import annotations

import pytest
from click.testing import CliRunner, Result
from command_line import Run

from advisor.clients.cli import main


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs ``advisor`` with the given words; ``columns`` is the width."""
    for name in ("ADVISOR_PORT", "ADVISOR_PACKS", "ADVISOR_RULES", "ADVISOR_ENGINE", "ADVISOR_DEFAULT_PACK"):
        monkeypatch.delenv(name, raising=False)

    def command(*words: str, columns: int = 80, environ: dict[str, str] | None = None) -> Result:
        result = CliRunner().invoke(main, words, env={"COLUMNS": str(columns), **(environ or {})})
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result

    return command
