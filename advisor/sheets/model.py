"""A study sheet as data: sections of paragraphs, lists, tables and pictures, in no particular form.

Every text is plain: what it says is shown as it stands, whatever signs are in it. A line break inside a cell is kept.
"""

from __future__ import annotations

from msgspec import Struct

__all__ = ["Block", "Column", "Paragraph", "Picture", "Points", "Section", "Sheet", "Table"]


class Paragraph(Struct, frozen=True):
    """A paragraph; ``note`` is one that may be set smaller."""

    text: str
    note: bool = False


class Points(Struct, frozen=True):
    """A list without order."""

    items: list[str]


class Column(Struct, frozen=True):
    """A column: its heading, the unit of its numbers (empty: words, or the cells say it), numbers set to the right."""

    name: str
    unit: str = ""
    number: bool = False


class Table(Struct, kw_only=True, frozen=True):
    """A table: ``rows`` have a cell for each of ``columns``; the first column names the row.

    ``units`` says in a line what the numbers in it count, those inside of words among them.
    """

    caption: str
    units: str
    columns: list[Column]
    rows: list[list[str]]
    note: str = ""


class Picture(Struct, kw_only=True, frozen=True):
    """A drawing as SVG in two sets of colours. ``key`` names its file; ``said`` is what it shows, for a reader."""

    key: str
    caption: str
    said: str
    light: bytes
    dark: bytes


Block = Paragraph | Points | Table | Picture


class Section(Struct, kw_only=True, frozen=True):
    """A part of the sheet; with ``fresh`` it begins a page when printed."""

    title: str
    blocks: list[Block]
    sections: list[Section] = []
    fresh: bool = False


class Sheet(Struct, kw_only=True, frozen=True):
    """The whole: ``about`` says on which data it rests (label, value), ``cautions`` come before everything else.

    ``language`` is the tag of the one that it is written in.
    """

    title: str
    lead: str
    about: list[tuple[str, str]]
    cautions: list[str]
    sections: list[Section]
    language: str = "en"
