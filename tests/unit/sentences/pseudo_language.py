"""A language of which every sentence says its places only: what is left in words then came past the catalogue."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import msgspec
import pytest

from advisor.pack.model import Hit, Move
from advisor.sentences import speaking
from advisor.sentences.catalogue import Catalogue
from tests.unit.advice.demo import shelf

__all__ = ["SAY", "pack_words", "places_only", "texts", "unsaid"]

# The package gives its function the module's name.
SAY = sys.modules["advisor.sentences.say"]

PROPERTIES = {"arrives", "pushback", "tracking", "recovery", "me.near_wall", "them.near_wall", "floor_breaks"}
"""What an answer may hang on, beside the fields of moves and hits; told by their names, which a pack has."""


class _Places(dict[str, Any]):
    def get(self, text: str, otherwise: Any = None) -> Any:
        return self[text]

    def __getitem__(self, text: str) -> Any:
        return "[[" + "|".join(re.findall(r"\{[^{}]*\}", text)) + "]]"

    def __contains__(self, text: object) -> bool:
        return True


class _Counted(_Places):
    def __getitem__(self, text: str) -> Any:
        return (super().__getitem__(text),) * 2


PSEUDO = Catalogue(language="xx", plain=_Places(), counted=_Counted(), plural="n != 1")


@contextmanager
def places_only() -> Iterator[None]:
    """Within, the pseudo language is there and spoken."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SAY, "languages", lambda: ("en", "xx"))
        patch.setattr(SAY, "catalogue", lambda language: PSEUDO if language == "xx" else None)
        with speaking("xx"):
            yield


def texts(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every text of an answer as JSON has it that is more than a word, with its path."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from texts(part, f"{path}/{key}")
    elif isinstance(value, list):
        for part in value:
            yield from texts(part, path)
    elif isinstance(value, str) and (" " in value or "[[" in value):
        yield path, value


@cache
def pack_words() -> re.Pattern[str]:
    """What is the demo pack's own and stays as it is: names, ids, inputs, units; and properties."""
    found = {*PROPERTIES, *Hit.__struct_fields__, *Move.__struct_fields__}

    def gather(value: Any) -> None:
        if isinstance(value, msgspec.Struct):
            value = [getattr(value, name) for name in value.__struct_fields__]
        if isinstance(value, dict):
            value = [*value.keys(), *value.values()]
        if isinstance(value, list | tuple | frozenset):
            for part in value:
                gather(part)
        elif isinstance(value, str):
            found.add(value)

    gather(shelf().pack)
    plain = {one.replace("_", " ") for one in found if one}
    words = sorted({*found, *plain, *map(str.capitalize, plain)} - {""}, key=len, reverse=True)
    return re.compile(rf"(?<![^\W_])(?:{'|'.join(map(re.escape, words))})(?![^\W_])")


def unsaid(text: str) -> str:
    """The text without what is the pack's, if there is a word left in it; else nothing."""
    rest = pack_words().sub("", text)
    return rest if re.search(r"[^\W\d_]{2,}", rest) else ""
