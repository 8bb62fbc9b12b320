"""What is wrong with a catalogue: a dumb reading beside the one of the product, for the tests."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from itertools import takewhile
from string import Formatter

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

__all__ = ["faults", "read"]

_SLOT = re.compile(r"\{([^{}]*)\}")


def read(text: str, language: str = "de") -> Catalog:
    """The catalogue in a PO file's text."""
    return read_po(io.BytesIO(text.encode()), locale=language)


def faults(catalogue: Catalog, template: Catalog) -> list[str]:
    """Every fault of a catalogue against the template, a line each."""
    found = [f"obsolete: {key}" for key in catalogue.obsolete]
    wanted = {message.id: message for message in template if message.id}
    there = {message.id: message for message in catalogue if message.id}
    found += [f"not there: {key}" for key in wanted.keys() - there.keys()]
    found += [f"too many: {key}" for key in there.keys() - wanted.keys()]
    for message in there.values():
        found += [f"{fault}: {message.id}" for fault in _of(message, catalogue.num_plurals)]
    return found


def _of(message: Message, plurals: int) -> Iterator[str]:
    if message.fuzzy:
        yield "fuzzy"
    if isinstance(message.id, str):
        pairs = [(message.id, message.string)]
    else:
        if len(message.string) != plurals:
            yield "plural forms"
        pairs = [(message.id[min(n, 1)], form) for n, form in enumerate(message.string)]
    for english, said in pairs:
        if not said:
            yield "not translated"
        elif sorted(_SLOT.findall(english)) != sorted(_SLOT.findall(said)):
            yield "other places"
        elif _edges(english) != _edges(said):
            yield "other edges"
        else:
            # What str.format reads must be what stands there: no lone brace.
            list(Formatter().parse(said))


def _edges(text: str) -> tuple[str, str]:
    """Spaces and marks of a fragment's ends, which what comes before and after relies on."""
    ends = (" ", ",", ";", ".")
    return (
        "".join(takewhile(ends.__contains__, text)),
        "".join(takewhile(ends.__contains__, text[::-1])),
    )  # fmt: skip
