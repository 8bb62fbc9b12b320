"""Query parameters read as a Struct, refusals naming the parameter."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

import msgspec
from msgspec import Struct

from advisor.service.asking.reading import Known, invalid
from advisor.service.asking.spelling import words_of
from advisor.service.problems import ParameterError

__all__ = ["read_query"]

Q = TypeVar("Q", bound=Struct)


def read_query(kind: type[Q], given: Iterable[tuple[str, str]], known: Known | None = None) -> Q:
    """The query parameters as ``kind`` has them; ``known`` are the words that are right, those of the type when
    left out.

    Errors: ``ParameterError`` naming the parameter that is unknown, repeated or not what it should be.
    """
    values: dict[str, str] = {}
    for name, text in given:
        if name in values:
            raise ParameterError("value-invalid", f"`{name}` is given more than once", name=name, help="give it once")
        values[name] = text
    try:
        return msgspec.convert(values, kind, strict=False)
    except msgspec.ValidationError as error:
        found = invalid(str(error), values, known or words_of(kind))
        name = found.pointer.removeprefix("/").replace("~1", "/").replace("~0", "~")
        said = found.message if f"`{name}`" in found.message else f"`{name}`: {found.message}"
        raise ParameterError("value-invalid", said, name=name, help=found.help) from None
