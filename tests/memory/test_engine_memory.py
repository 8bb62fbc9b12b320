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


@pytest.mark.parametrize("filling", ["1", "85", "165"])
def test_filled_memory_and_sessions_that_break_off(filling: str) -> None:
    # A session in which nothing ever fired cannot be deleted safely; only filled memory shows it.
    done = run([sys.executable, str(SCRIPT.with_name("broken_run.py"))], MALLOC_PERTURB_=filling)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) == 40


CARELESS = """
import json
import durable_rules_engine as engine
own = {"$lte": {"a": {"$m": "b"}}}
other = {"$and": [{"z": 3}, {"$neq": {"n": {"r": "n"}}}, own, own]}
rule = {"all": [{"s": {"z": 2}}, {"r": {"$and": [{"z": 3}, {"a": 1}]}}, {"o": other}]}
handle = engine.create_ruleset("careless", json.dumps({"begin": {"all": [{"m": {"z": 1}}]}, "a": rule}))
engine.assert_fact(handle, json.dumps({"sid": "x", "z": 1}))
rows = [{"sid": "x", "z": 3, "n": n, "a": n, "b": 5 - n} for n in range(6)]
engine.assert_facts(handle, json.dumps([*rows, {"sid": "x", "z": 2}]))
"""
"""A test within one fact stands twice at the end, the real join before it only once.

The engine puts tests within one fact among the literals, so one lone join is left at the end, and
it reads past it. This is the mistake that the encoding must not make.
"""


def faults(arguments: list[str], report: Path) -> tuple[list[ElementTree.Element], str]:
    """Memory faults (not leaks at the end) with the engine on their stack, and the program's output."""
    valgrind = shutil.which("valgrind")
    assert valgrind, "valgrind is needed for the tests marked memory"
    flags = ["--quiet", "--error-limit=no", "--num-callers=30", "--xml=yes", f"--xml-file={report}"]
    done = run([valgrind, *flags, sys.executable, *arguments], PYTHONMALLOC="malloc")
    assert done.returncode == 0, done.stdout + done.stderr
    errors = ElementTree.parse(report).getroot().findall("error")
    faulty = [e for e in errors if not (e.findtext("kind") or "").startswith("Leak_")]
    return [e for e in faulty if any(LIBRARY in (o.text or "") for o in e.iter("obj"))], done.stdout


@pytest.mark.memory
def test_valgrind_sees_no_fault_in_the_engine(tmp_path: Path) -> None:
    found, output = faults([str(SCRIPT), "7", "20", "2"], tmp_path / "valgrind.xml")
    assert int(output) > 100
    assert not found, ElementTree.tostring(found[0], encoding="unicode")


@pytest.mark.memory
def test_valgrind_does_see_a_careless_rule(tmp_path: Path) -> None:
    found, _ = faults(["-c", CARELESS], tmp_path / "valgrind.xml")
    assert found
