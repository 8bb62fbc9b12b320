"""The catalogues of languages other than English: gettext PO files in the folder ``sentences`` of the rules.

English is the source: a sentence stands in the code or in a rule file, and is its own key.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from msgspec import Struct

__all__ = ["ENGLISH", "Catalogue", "catalogue", "folder", "languages"]

ENGLISH = "en"


class Catalogue(Struct, frozen=True, kw_only=True):
    """The sentences of a language by their English; ``counted`` those that hang on a number, a form for each index."""

    language: str
    plain: Mapping[str, str]
    counted: Mapping[str, tuple[str, ...]]
    plural: str


def folder() -> Path:
    """The folder of catalogues: inside the installed package, or in a checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "data" / "rules" / "sentences"
    return inside if inside.is_dir() else package.parent / "rules" / "sentences"


@cache
def languages() -> tuple[str, ...]:
    """The languages that there are sentences in, English first."""
    return (ENGLISH, *sorted(path.stem for path in folder().glob("*.po")))


@cache
def catalogue(language: str) -> Catalogue | None:
    """The catalogue of a language; None for English and for one that there is none of."""
    if language == ENGLISH or language not in languages():
        return None
    # English, the usual case, shall not wait for the reader of catalogues.
    from babel.messages.pofile import read_po

    with (folder() / f"{language}.po").open("rb") as file:
        read = read_po(file, locale=language)
    plain: dict[str, str] = {}
    counted: dict[str, tuple[str, ...]] = {}
    for message in read:
        if not message.id or message.fuzzy:
            continue
        if isinstance(message.id, str):
            if message.string:
                plain[message.id] = str(message.string)
        elif isinstance(message.string, tuple) and all(message.string):
            counted[message.id[0]] = message.string
    return Catalogue(language=language, plain=plain, counted=counted, plural=read.plural_expr)
