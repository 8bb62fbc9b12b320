"""What can be set, run or refused is in the documentation by its name."""

from __future__ import annotations

import re
from pathlib import Path

import click
import msgspec
import pytest

from advisor.clients.cli import main
from advisor.errors import STATUS
from advisor.service.settings import FILE, PREFIX, Settings

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md")


def page(name: str) -> str:
    path = ROOT / name
    return path.read_text(encoding="utf-8") if path.is_file() else ""


BOTH = "\n".join(page(name) for name in PAGES)


def mentioned(word: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", BOTH) is not None


@pytest.mark.parametrize("name", PAGES)
def test_the_page_is_there(name: str) -> None:
    assert len(page(name)) > 500


def test_every_setting_is_documented() -> None:
    names = [PREFIX + field.name.upper() for field in msgspec.structs.fields(Settings)]
    assert not [name for name in names if not mentioned(name)]


def test_no_setting_is_documented_that_is_none() -> None:
    known = {PREFIX + field.name.upper() for field in msgspec.structs.fields(Settings)}
    said = set(re.findall(rf"\b{PREFIX}[A-Z_]+\b", BOTH))
    assert not said - known - {FILE}


def commands(group: click.Group, path: str) -> list[str]:
    out = []
    for name, command in group.commands.items():
        out.append(f"{path} {name}")
        if isinstance(command, click.Group):
            out += commands(command, f"{path} {name}")
    return out


def test_every_command_is_documented() -> None:
    names = commands(main, "advisor")
    assert len(names) >= 4
    assert not [name for name in names if not mentioned(name)]


def test_every_error_code_is_documented() -> None:
    assert not [code for code in STATUS if not mentioned(code)]


def test_links_to_files_lead_somewhere() -> None:
    broken = []
    for name in PAGES:
        for target in re.findall(r"\]\(([^)#\s]+)", page(name)):
            if "://" not in target and not (ROOT / target).exists():
                broken.append(f"{name}: {target}")
    assert not broken
