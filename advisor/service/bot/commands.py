"""The commands as they are registered: the file ``commands.json``, checked against the platform's limits."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

__all__ = ["commands", "faults", "option_names"]

FILE = Path(__file__).with_name("commands.json")
NAME = re.compile(r"[-_a-z0-9]{1,32}")
DESCRIPTION, OPTIONS, CHOICES, CHOICE, WHOLE, COMMANDS = 100, 25, 25, 100, 8000, 100


@cache
def commands() -> list[dict[str, Any]]:
    """The commands, as the platform's JSON has them."""
    read: list[dict[str, Any]] = msgspec.json.decode(FILE.read_bytes())
    return read


def option_names(command: str) -> dict[str, dict[str, Any]]:
    """The options of a command by name; none for one that is not there."""
    return {option["name"]: option for one in commands() if one["name"] == command for option in one["options"]}


def faults(found: list[dict[str, Any]]) -> Iterator[str]:
    """What the platform would refuse. Source: its reference, "Application Commands"."""
    if len(found) > COMMANDS:
        yield f"{len(found)} commands, at most {COMMANDS}"
    if len({one["name"] for one in found}) < len(found):
        yield "two commands of one name"
    for one in found:
        at = one["name"]
        yield from _named(at, one)
        options = one.get("options", [])
        if len(options) > OPTIONS:
            yield f"{at}: {len(options)} options, at most {OPTIONS}"
        if len({option["name"] for option in options}) < len(options):
            yield f"{at}: two options of one name"
        required = [bool(option.get("required")) for option in options]
        if required != sorted(required, reverse=True):
            yield f"{at}: a required option stands after one that is not"
        for option in options:
            yield from _option(f"{at} {option['name']}", option)
        if _texts(one) > WHOLE:
            yield f"{at}: {_texts(one)} characters of text in all, at most {WHOLE}"


def _named(at: str, one: dict[str, Any]) -> Iterator[str]:
    if not NAME.fullmatch(one["name"]):
        yield f"{at}: the name is not 1 to 32 small letters, digits, `-` or `_`"
    if not 1 <= len(one["description"]) <= DESCRIPTION:
        yield f"{at}: {len(one['description'])} characters of description, 1 to {DESCRIPTION}"


def _option(at: str, option: dict[str, Any]) -> Iterator[str]:
    yield from _named(at, option)
    choices = option.get("choices", [])
    if len(choices) > CHOICES:
        yield f"{at}: {len(choices)} choices, at most {CHOICES}"
    if choices and option.get("autocomplete"):
        yield f"{at}: both choices and suggestions"
    for choice in choices:
        if not 1 <= len(choice["name"]) <= CHOICE or len(str(choice["value"])) > CHOICE:
            yield f"{at}: the choice `{choice['name'][:20]}` is longer than {CHOICE} characters, or empty"


def _texts(one: dict[str, Any]) -> int:
    """Characters of names, descriptions and values, as the platform adds them up."""
    own = len(one["name"]) + len(one["description"])
    choices = sum(len(choice["name"]) + len(str(choice["value"])) for choice in one.get("choices", []))
    return own + choices + sum(_texts(option) for option in one.get("options", []))
