"""The words of web pages: those of HTML stand as they are, those of scripts in calls of ``say`` and its kin."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from html import escape
from html.parser import HTMLParser

from advisor.sentences.say import in_words, spoken

__all__ = ["Word", "html_said", "html_words", "script_words"]

Word = str | tuple[str, str]
"""A sentence; or one that hangs on a number, for one thing and for more."""
READ = ("alt", "aria-label", "placeholder", "title")
"""Attributes that people read, or hear."""
EMPTY = frozenset({"input", "link", "meta", "br", "img", "hr"})

_TEXT = r'"(?:[^"\\\n]|\\.)*"'
_CALL = re.compile(r"(?<![\w.$])(?<!function )(say|mark|woven|many)\(")
_FIRST = re.compile(rf"\s*({_TEXT})(\s*\+)?(?:\s*,\s*({_TEXT}))?")


def html_words(page: str) -> Iterator[str]:
    """The words of a page, in order, spaces drawn together; none of an element with ``translate="no"``."""
    found: list[str] = []
    _walked(page, lambda text: found.append(text) or text)  # type: ignore[func-returns-value]
    yield from found


def html_said(page: str) -> str:
    """The page in the language that is being spoken, which its ``lang`` says."""
    return _walked(page, in_words)


def script_words(script: str) -> Iterator[Word]:
    """The words of a script. Errors: ``ValueError`` for a call whose words are not a plain text in double quotes."""
    # Others may have a word `mark` of their own.
    for call in _CALL.finditer(script) if "./say.js" in script else ():
        found = _FIRST.match(script, call.end())
        line = script.count("\n", 0, call.start()) + 1
        if found is None or found[2] or (call[1] == "many" and found[3] is None):
            raise ValueError(f"line {line}: `{call[1]}(` takes its words as one text in double quotes")
        one = json.loads(found[1])
        yield (one, json.loads(found[3])) if call[1] == "many" else one


def _walked(page: str, said: Callable[[str], str]) -> str:
    walk = _Walk(said)
    walk.feed(page)
    walk.close()
    return "".join(walk.out)


class _Walk(HTMLParser):
    """Writes a page again, with ``said`` of everything in it that people read."""

    def __init__(self, said: Callable[[str], str]) -> None:
        super().__init__()
        self.out: list[str] = []
        self._said = said
        self._kept: list[str] = []
        """Open elements, from the first that is to be left as it is."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A tag, with its attributes that are read."""
        kept = bool(self._kept) or dict(attrs).get("translate") == "no"
        if kept and tag not in EMPTY:
            self._kept.append(tag)
        text = self.get_starttag_text() or ""
        for name, value in attrs:
            if tag == "html" and name == "lang" and value:
                text = text.replace(f'lang="{value}"', f'lang="{spoken()}"', 1)
            elif name in READ and value and not kept and _letters(value):
                text = text.replace(f'{name}="{escape(value)}"', f'{name}="{escape(self._said(value))}"', 1)
        self.out.append(text)

    def handle_endtag(self, tag: str) -> None:
        """The end of an element."""
        if self._kept and tag == self._kept[-1]:
            self._kept.pop()
        self.out.append(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        """A text between tags; its spaces at both ends stay."""
        words = " ".join(data.split())
        told = words if self._kept or not _letters(words) else self._said(words)
        if told == words:
            self.out.append(escape(data, quote=False))
            return
        before = data[: len(data) - len(data.lstrip())]
        after = data[len(data.rstrip()) :]
        self.out.append(before + escape(told, quote=False) + after)

    def handle_decl(self, decl: str) -> None:
        """The kind of document."""
        self.out.append(f"<!{decl}>")

    def handle_comment(self, data: str) -> None:
        """A comment."""
        self.out.append(f"<!--{data}-->")


def _letters(text: str) -> bool:
    return any(sign.isalpha() for sign in text)
