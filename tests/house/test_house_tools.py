"""The linter and the type checker find nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("tool", [("ruff", "check", "--no-cache", "."), ("mypy", "--cache-dir", ".mypy_cache")])
def test_the_tool_finds_nothing(tool: tuple[str, ...]) -> None:
    done = subprocess.run([sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
