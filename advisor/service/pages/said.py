"""The pages in the language that is being spoken: HTML said here, and the table that scripts look their words up in."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from gettext import c2py
from types import MappingProxyType

import msgspec
from msgspec import Struct

from advisor.sentences import speaking
from advisor.sentences.catalogue import catalogue
from advisor.sentences.pages import html_said, script_words
from advisor.service.pages.files import PageFile, page_files, tagged

__all__ = ["TABLE", "Said", "said", "spoken_files"]

TABLE = "said.json"
"""The name of the table among the files of the pages."""
COUNTED = 200
"""Counts of which the table tells the form; those past it go by their last two digits, as they do in every language."""


class Said(Struct, kw_only=True):
    """Words of the scripts in ``language`` by their English; ``forms``: for each count from 0, a digit, which form."""

    language: str
    words: dict[str, str | tuple[str, ...]] = {}
    forms: str = ""


@cache
def spoken_files(language: str) -> Mapping[str, PageFile]:
    """Every file of the pages as it is in a language, and the table of words."""
    with speaking(language):
        told = {
            name: tagged(name, html_said(file.body.decode()).encode()) if name.endswith(".html") else file
            for name, file in page_files().items()
        }
    return MappingProxyType({**told, TABLE: tagged(TABLE, msgspec.json.encode(said(language)))})


def said(language: str) -> Said:
    """The table of a language; without words for English, which is its own key."""
    found = catalogue(language)
    if found is None:
        return Said(language=language)
    words: dict[str, str | tuple[str, ...]] = {}
    for name, file in page_files().items():
        for word in script_words(file.body.decode()) if name.endswith(".js") else ():
            if isinstance(word, tuple):
                words[word[0]] = found.counted.get(word[0], word)
            elif word in found.plain:
                words[word] = found.plain[word]
    form = c2py(found.plural)
    return Said(language=language, words=words, forms="".join(str(form(count)) for count in range(COUNTED)))
