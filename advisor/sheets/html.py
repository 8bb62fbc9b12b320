"""A sheet as one page: nothing outside it is needed, nothing in it runs."""

from __future__ import annotations

from html import escape

from advisor.pictures.lettering import clean
from advisor.pictures.look import THEMES, blend
from advisor.sentences import in_words, say
from advisor.sheets.drawing import Shared, inlined
from advisor.sheets.model import Block, Paragraph, Picture, Points, Section, Sheet, Table
from advisor.sheets.style import STYLE

__all__ = ["as_html"]

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""What a browser may load for the page: nothing."""


MOST_DRAWN = 1_000_000
"""Bytes that all pictures of a page may take; those past it are told in words."""


SHORT = 12
"""Rows up to which a table stays on one printed page."""


class _Page(Shared):
    """What its pictures share, and the bytes that they take so far."""

    drawn = 0


def as_html(sheet: Sheet) -> str:
    """The page. Every text of the sheet stays text; the same sheet gives the same page."""
    page = _Page()
    sections = [_section(one, f"s{i}", 2, page) for i, one in enumerate(sheet.sections, 1)]
    body = "\n".join([
        page.hatches(),
        f"<header><h1>{_said(sheet.title)}</h1>", f'<p class="lead">{_said(sheet.lead)}</p>', _about(sheet),
        _cautions(sheet), _contents(sheet), "</header>", "<main>",
        *sections, "</main>",
    ])  # fmt: skip
    head = "\n".join([
        '<meta charset="utf-8">', '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{escape(POLICY)}">',
        '<meta name="color-scheme" content="light dark">', f"<title>{_said(sheet.title)}</title>",
        f"<style>{_colours(page)}{STYLE}</style>",
    ])  # fmt: skip
    start = f'<!DOCTYPE html>\n<html lang="{escape(sheet.language)}">'
    return f"{start}\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n"


def _colours(page: _Page) -> str:
    """The colours of the page, light, dark where the reader prefers that, and light again on paper."""
    light, dark = (_page(theme) + page.rules(theme == "dark") for theme in ("light", "dark"))
    return (
        f":root{{color-scheme:light dark;{light}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
    )


def _page(theme: str) -> str:
    known = THEMES[theme]
    soft = blend(known.paper, known.ink, 0.045)
    named = {"paper": known.paper, "ink": known.ink, "faint": known.faint, "line": known.line, "mark": known.mine}
    return "".join(f"--{name}:{colour};" for name, colour in {**named, "soft": soft}.items())


def _said(text: str) -> str:
    """A text on one line, harmless in an element and in an attribute."""
    return escape(clean(text), quote=True)


def _lines(text: str) -> str:
    """A text whose line breaks are kept."""
    return "<br>".join(_said(line) for line in text.split("\n"))


def _about(sheet: Sheet) -> str:
    rows = "".join(f"<dt>{_said(label)}</dt><dd>{_said(value)}</dd>" for label, value in sheet.about)
    return f"<dl>{rows}</dl>"


def _cautions(sheet: Sheet) -> str:
    said = "".join(f"<p>{_said(one)}</p>" for one in sheet.cautions)
    return f'<div class="cautions" role="note">{said}</div>'


def _contents(sheet: Sheet) -> str:
    rows = "".join(f'<li><a href="#s{i}">{_said(one.title)}</a></li>' for i, one in enumerate(sheet.sections, 1))
    label = _said(in_words("Contents"))
    return f'<nav aria-label="{label}"><ol>{rows}</ol></nav>'


def _section(section: Section, key: str, level: int, page: _Page) -> str:
    heading = min(level, 6)
    fresh = ' class="fresh"' if section.fresh else ""
    parts = [f'<section id="{key}"{fresh}><h{heading}>{_said(section.title)}</h{heading}>']
    parts += [_block(block, f"{key}p{i}-", page) for i, block in enumerate(section.blocks, 1)]
    parts += [_section(one, f"{key}-{i}", level + 1, page) for i, one in enumerate(section.sections, 1)]
    return "\n".join([*parts, "</section>"])


def _block(block: Block, prefix: str, page: _Page) -> str:
    if isinstance(block, Paragraph):
        return f'<p class="note">{_lines(block.text)}</p>' if block.note else f"<p>{_lines(block.text)}</p>"
    if isinstance(block, Points):
        return "<ul>" + "".join(f"<li>{_lines(item)}</li>" for item in block.items) + "</ul>"
    if isinstance(block, Table):
        return _table(block)
    return _picture(block, prefix, page)


def _table(table: Table) -> str:
    head = "".join(
        f'<th scope="col"{_right(column.number)}>{_said(column.name)}'
        + (f"<small>{_said(column.unit)}</small>" if column.unit else "") + "</th>"
        for column in table.columns
    )  # fmt: skip
    rows = "\n".join(f"<tr>{_row(table, row)}</tr>" for row in table.rows)
    note = f'<p class="note">{_said(table.note)}</p>' if table.note else ""
    short = " short" if len(table.rows) <= SHORT else ""
    units = say("Units: {units}.", units=table.units)
    caption = f"<caption>{_said(table.caption)}<small>{_said(units)}</small></caption>"
    return (
        f'<div class="wide{short}"><table>{caption}\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>'
        f"{note}</div>"
    )


def _row(table: Table, row: list[str]) -> str:
    cells = []
    for i, (column, cell) in enumerate(zip(table.columns, row, strict=True)):
        if i == 0:
            cells.append(f'<th scope="row"{_right(column.number)}>{_lines(cell)}</th>')
        else:
            label = f"{column.name}, {column.unit}" if column.unit else column.name
            cells.append(f'<td data-label="{_said(label)}"{_right(column.number)}>{_lines(cell)}</td>')
    return "".join(cells)


def _right(number: bool) -> str:
    return ' class="n"' if number else ""


def _picture(picture: Picture, prefix: str, page: _Page) -> str:
    drawn = inlined(picture.light, picture.dark, prefix, page)
    page.drawn += len(drawn)
    if page.drawn > MOST_DRAWN:
        page.drawn -= len(drawn)
        left = say("Left out, as the page would be too large: {said}", said=picture.said)
        return f'<p class="note">{_said(left)}</p>'
    return (
        f'<figure role="group" aria-label="{_said(picture.said)}">{drawn}'
        f"<figcaption>{_said(picture.caption)}</figcaption></figure>"
    )
