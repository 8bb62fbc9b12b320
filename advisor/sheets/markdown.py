"""A sheet as Markdown (CommonMark with tables), its pictures in files beside it."""

from __future__ import annotations

import re

from msgspec import Struct

from advisor.pictures.lettering import clean
from advisor.sentences import say
from advisor.sheets.model import Block, Paragraph, Picture, Points, Section, Sheet, Table

__all__ = ["Written", "as_markdown"]

_SIGNS = re.compile(r"([\\`*_\[\]<>|~&#$!^{}()])")
_LINKS = re.compile(r"(?i)(www)\.|(:)//|(@)")
_START = re.compile(r"^([-+=])(?=\D|$)|^(\d{1,9})([.)])(?=\s|$)")


class Written(Struct, frozen=True):
    """The text, and the pictures that it shows by file name in the folder it was told."""

    text: str
    pictures: dict[str, bytes]


def as_markdown(sheet: Sheet, folder: str | None = None) -> Written:
    """The sheet; pictures are linked as ``folder/name.svg`` (a path from the text on), left out when it is None.

    Every text of the sheet stays text; the same sheet gives the same Markdown.
    """
    pictures: dict[str, bytes] = {}
    parts = [f"# {_said(sheet.title)}", _said(sheet.lead)]
    parts.append("\n".join(f"- {_said(label)}: {_said(value)}" for label, value in sheet.about))
    parts += [f"> {_said(one)}" for one in sheet.cautions]
    for one in sheet.sections:
        _section(one, 2, parts, pictures, folder)
    return Written("\n\n".join(part for part in parts if part) + "\n", pictures)


def _said(text: str) -> str:
    """A text on one line in which no sign means anything."""
    flat = _SIGNS.sub(r"\\\1", clean(text))
    flat = _LINKS.sub(lambda m: f"{m[1]}\\." if m[1] else "\\://" if m[2] else "\\@", flat)
    return _START.sub(lambda m: f"\\{m[1]}" if m[1] else f"{m[2]}\\{m[3]}", flat)


def _lines(text: str) -> str:
    return "<br>".join(_said(line) for line in text.split("\n"))


def _section(section: Section, level: int, parts: list[str], pictures: dict[str, bytes], folder: str | None) -> None:
    parts.append(f"{'#' * min(level, 6)} {_said(section.title)}")
    for block in section.blocks:
        parts.append(_block(block, pictures, folder))
    for one in section.sections:
        _section(one, level + 1, parts, pictures, folder)


def _block(block: Block, pictures: dict[str, bytes], folder: str | None) -> str:
    if isinstance(block, Paragraph):
        return _lines(block.text)
    if isinstance(block, Points):
        return "\n".join(f"- {_lines(item)}" for item in block.items)
    if isinstance(block, Table):
        return _table(block)
    return "" if folder is None else _picture(block, pictures, folder)


def _table(table: Table) -> str:
    heads = [_said(f"{one.name} ({one.unit})" if one.unit else one.name) for one in table.columns]
    units = say("Units: {units}.", units=table.units)
    lines = [
        f"**{_said(table.caption)}** {_said(units)}", "",
        f"| {' | '.join(heads)} |", f"|{'|'.join('---:' if one.number else '---' for one in table.columns)}|",
        *(f"| {' | '.join(_lines(cell) for cell in row)} |" for row in table.rows),
    ]  # fmt: skip
    return "\n".join(lines) + (f"\n\n{_said(table.note)}" if table.note else "")


def _picture(picture: Picture, pictures: dict[str, bytes], folder: str) -> str:
    name = f"{picture.key}.svg"
    pictures[name] = picture.light
    path = f"{folder}/{name}"
    return f"![{_said(picture.said)}](<{path}>)"
