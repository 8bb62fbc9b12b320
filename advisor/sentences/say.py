"""Saying a sentence: looked up in the language that is being spoken, then filled with its values."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import c2py

from advisor.sentences.catalogue import ENGLISH, catalogue, languages

__all__ = ["better_of", "in_words", "many", "mark", "say", "speaking", "spoken"]

_LANGUAGE: ContextVar[str] = ContextVar("language", default=ENGLISH)


def spoken() -> str:
    """The language that is being spoken here, a tag such as ``en``."""
    return _LANGUAGE.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Within, sentences are said in that language; English when there is no catalogue of it."""
    token = _LANGUAGE.set(language if language in languages() else ENGLISH)
    try:
        yield
    finally:
        _LANGUAGE.reset(token)


def in_words(text: str) -> str:
    """The English ``text`` in the language that is being spoken, with its places unfilled; itself when it has none."""
    language = _LANGUAGE.get()
    if language == ENGLISH:
        return text
    found = catalogue(language)
    return text if found is None else found.plain.get(text, text)


def mark(text: str) -> str:
    """The text itself: it is a sentence that will be said later, and belongs in the catalogue."""
    return text


def say(text: str, **values: object) -> str:
    """The sentence with its ``{named}`` places filled, formats such as ``{n:+d}`` included."""
    return in_words(text).format(**values)


def many(one: str, more: str, count: int, **values: object) -> str:
    """The sentence for ``count`` things; ``{count}`` is filled with it."""
    found = None if _LANGUAGE.get() == ENGLISH else catalogue(_LANGUAGE.get())
    if found is None or one not in found.counted:
        text = one if count == 1 else more
    else:
        text = found.counted[one][c2py(found.plural)(count)]
    return text.format(count=count, **values)


def better_of(accepted: str, otherwise: str = ENGLISH) -> str:
    """The language that an ``Accept-Language`` likes best of those there are (RFC 9110, 12.5.4; RFC 4647, lookup)."""
    ranked: list[tuple[float, int, str]] = []
    for at, part in enumerate(accepted.split(",")[:32]):
        tag, _, weight = part.strip().lower().partition(";")
        name, _, number = weight.strip().partition("=")
        try:
            quality = float(number) if name.strip() == "q" else 1.0
        except ValueError:
            continue
        if 0 < quality <= 1:
            ranked.append((-quality, at, tag.strip()))
    for _, _, tag in sorted(ranked):
        while tag:
            if tag in languages():
                return tag
            tag = tag.rpartition("-")[0]
    return otherwise if otherwise in languages() else ENGLISH
