"""A small pack whose names are full of markup, and readers of what a sheet makes of it."""

from __future__ import annotations

import re
from functools import cache
from html.parser import HTMLParser

from markdown_it import MarkdownIt
from msgspec import Struct, field

from advisor.library import Library, load_shelf_files

__all__ = ["FILES", "JAB", "KNEE", "ME", "Page", "library", "page_of", "tables_of"]

ME = "Ash <script>alert(1)</script> & co"
JAB = "a|b *c* _d_ `e` \\ [x](https://one.example) <img src=x onerror=y>"
KNEE = "1. knee & &amp; ~~no~~ $a$ ![i](j) www.two.example {k} </td>"

PACK = """\
format: 1
id: yard
name: "Yard <b>of</b> | clay"
version: "1.0"
distance: {unit: pace, named: {touching: 0.4, mid: 1.2, far: 9}}
levels:
  high: {hits: [standing, airborne], blocked_by: [standing]}
  low: {hits: [standing, crouching], blocked_by: [crouching]}
tags: {hand: bare hand}
knockdowns: {face_up: {meaning: "on the <i>back</i>", wake_ups: [get_up]}}
none_when_absent: [airborne, crouching, invulnerable, armour, parry, sidestep, displacement, counter_state, follow_ups,
  leaves, breaks, cost, requires, tags]
system:
  - {id: guard, name: Guard, kind: guard, guard: [{frames: [1, held], with: [standing, crouching]}], total: held}
wake_ups:
  - {id: get_up, name: Get Up, kind: movement, total: 20, grounded: [1, 8], cannot_block: [1, 20]}
"""

FIGHTER = """\
id: %s
name: %s
key_moves: [jab, knee]
moves:
  - {id: jab, name: %s, level: high, startup: 10, active: 2, recovery: 14, damage: 8, on_block: +1, on_hit: +8, reach: 1.1, pushback: 0.2, blockstun: 16, tags: [hand], follow_ups: [{move: knee, arrives: 20}]}
  - {id: knee, name: %s, level: low, startup: 14, active: 2, recovery: 24, damage: 16, on_block: -12, on_hit: +20, reach: 1.4, pushback: 0.3, leaves: {hit: {knockdown: face_up, distance: 0.5}}}
  - {id: hook, name: Hook, level: high, startup: 12, active: 2, recovery: 20, damage: 25, on_block: -3, on_hit: +4, reach: 0.8, pushback: 0.2}
  - {id: pole, name: Pole, level: high, startup: 12, active: 2, recovery: 20, damage: 9, on_block: -9, on_hit: +2, reach: 2.2, pushback: 0.2}
  - {id: shove, name: Shove, level: low, startup: 16, active: 2, recovery: 20, damage: 14, on_block: -11, on_hit: +3, reach: 1.0}
  - {id: ward, name: Ward, kind: parry, total: 30, parry: [{frames: [2, 10], catches: {tags: [hand]}, outcomes: [{of: {tags: [hand]}, name: Turned, damage: 20, advantage: +12}]}]}
"""  # noqa: E501


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


FILES = {
    "pack.yaml": PACK,
    "characters/ash.yaml": FIGHTER % ("ash", _quoted(ME), _quoted(JAB), _quoted(KNEE)),
    "characters/birch.yaml": FIGHTER % ("birch", "Birch", _quoted(JAB), _quoted(KNEE)),
}
"""The pack's files as text by relative path."""


@cache
def library() -> Library:
    """The pack with ``ash`` and ``birch``, who have the same moves."""
    return Library(shelves={"yard": load_shelf_files(FILES, engine="plain")}, default="yard")


class Page(Struct):
    """What a parser finds in a page: elements with their attributes, its text, tables as caption and rows of cells."""

    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    tables: list[tuple[str, list[list[str]]]] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.within: list[str] = []
        self.rows: list[list[str]] = []
        self.caption = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.page.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag == "table":
            self.rows, self.caption = [], ""
        elif tag == "tr":
            self.rows.append([])
        elif tag in ("th", "td"):
            self.rows[-1].append("")
        elif tag == "br" and "tbody" in self.within:
            self.rows[-1][-1] += "\n"
        if tag not in ("br", "meta", "link", "img"):
            self.within.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.within[-1] == tag, f"{tag} ends inside {self.within[-3:]}"
        self.within.pop()
        if tag == "table":
            self.page.tables.append((self.caption, self.rows[1:]))

    def handle_data(self, data: str) -> None:
        self.page.texts.append(data)
        if "small" in self.within:
            return
        if "caption" in self.within:
            self.caption += data
        elif "tbody" in self.within and self.within[-1] in ("th", "td"):
            self.rows[-1][-1] += data


def page_of(text: str) -> Page:
    """The page as a parser reads it; fails on elements that do not nest."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert reader.within == []
    return reader.page


def tables_of(markdown: str) -> tuple[list[list[list[str]]], set[str]]:
    """The rows of the tables of a Markdown text, in order, and the kinds of everything that is no plain text."""
    tables: list[list[list[str]]] = []
    kinds: set[str] = set()
    in_body = False
    for token in MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(markdown):
        if token.type == "tbody_open":
            tables.append([])
        in_body = token.type != "tbody_close" and (in_body or token.type == "tbody_open")
        if in_body and token.type == "tr_open":
            tables[-1].append([])
        kinds.add(token.type)
        for child in token.children or ():
            kinds.add(f"html:{child.content}" if child.type == "html_inline" else child.type)
        if in_body and token.type == "inline":
            parts = ["\n" if re.fullmatch("<br>", c.content) else c.content for c in token.children or ()]
            tables[-1][-1].append("".join(parts))
    return tables, kinds
