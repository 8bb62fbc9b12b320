"""Commands that are loaded when they are called are there, and cost the others nothing."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module

import click
import pytest
from click.testing import CliRunner

from advisor.clients.cli import main
from advisor.clients.later import LATER


@pytest.mark.parametrize("name", sorted(LATER))
def test_each_is_found_and_has_help(name: str) -> None:
    assert import_module(LATER[name]).COMMANDS[name]
    said = CliRunner().invoke(main, [name, "--help"])
    assert said.exit_code == 0 and "Usage:" in said.output


def test_none_of_a_module_is_forgotten() -> None:
    for module in set(LATER.values()):
        assert {name for name, of in LATER.items() if of == module} == set(import_module(module).COMMANDS)


def test_all_are_listed() -> None:
    names = main.list_commands(click.Context(main))
    assert set(LATER) < set(names) and "ask" in names


def test_a_question_loads_no_database() -> None:
    script = (
        "import sys\nfrom click.testing import CliRunner\nfrom advisor.clients.cli import main\n"
        "said = CliRunner().invoke(main, ['show'])\n"
        "print(said.exit_code, *(n for n in ('sqlalchemy', 'alembic', 'numpy', 'openpyxl') if n in sys.modules))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0"]
