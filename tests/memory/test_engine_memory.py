"""The encoding keeps the engine within its own memory.

The engine reads past its buffers when rules are written carelessly; these runs would show it:
with freed and fresh memory filled with a pattern, and under valgrind.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[2]
SCRIPT = Path(__file__).with_name("engine_run.py")
LIBRARY = "durable_rules_engine"


def run(arguments: list[str], **environment: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(ROOT), **environment}
    return subprocess.run(arguments, env=env, cwd=ROOT, capture_output=True, text=True, timeout=150, check=False)


@pytest.mark.parametrize("seed", [3, 5])
def test_filled_memory_changes_nothing(seed: int) -> None:
    done = run(
        [sys.executable, str(SCRIPT), str(seed), "150", "4"],
        MALLOC_PERTURB_="165",
        MALLOC_CHECK_="3",
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) > 1_000


@pytest.mark.memory
def test_valgrind_sees_no_fault_in_the_engine(tmp_path: Path) -> None:
    valgrind = shutil.which("valgrind")
    assert valgrind, "valgrind is needed for the tests marked memory"
    report = tmp_path / "valgrind.xml"
    done = run(
        [
            valgrind, "--quiet", "--leak-check=no", "--error-limit=no", "--num-callers=30",
            "--xml=yes", f"--xml-file={report}", sys.executable, str(SCRIPT), "7", "12", "2",
        ],
        PYTHONMALLOC="malloc",
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) > 20
    errors = ElementTree.parse(report).getroot().findall("error")
    ours = [e for e in errors if any(LIBRARY in (o.text or "") for o in e.iter("obj"))]
    assert not ours, ElementTree.tostring(ours[0], encoding="unicode")
