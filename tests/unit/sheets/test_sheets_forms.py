"""A sheet in both forms: markup in names stays text, both say the same, and it is what the studies answer."""

from __future__ import annotations

import re

import pytest
from marked_pack import JAB, KNEE, ME, library, page_of, tables_of

from advisor.facts.question import Fighter
from advisor.pictures.lettering import clean
from advisor.sheets import Sheet, as_html, as_markdown, fighter_sheet
from advisor.sheets.drawing import Shared, inlined
from advisor.sheets.model import Section, Table
from advisor.studies.exposed_answer import Exposed, ExposedAnswer
from advisor.studies.gaps_in_data import LabList, LabListAnswer
from advisor.studies.strings import StringsRequest
from advisor.studies.strings_answer import StringsAnswer

SAFE = {"html", "head", "meta", "title", "style", "body", "header", "main", "nav", "section", "div", "h1", "h2", "h3",
        "p", "dl", "dt", "dd", "ol", "ul", "li", "a", "table", "caption", "small", "thead", "tbody", "tr", "th", "td",
        "br"}  # fmt: skip


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return fighter_sheet(library(), "ash", "birch", date="1 May", quick=True, pictures=False)


def tables(sections: list[Section]) -> list[Table]:
    out = []
    for section in sections:
        out += [block for block in section.blocks if isinstance(block, Table)]
        out += tables(section.sections)
    return out


def titled(sheet: Sheet, start: str) -> list[Table]:
    return tables([one for one in sheet.sections if one.title.startswith(start)])


def test_markup_in_names_is_text_in_the_page(sheet: Sheet) -> None:
    page = page_of(as_html(sheet))
    assert {tag for tag, _ in page.tags} <= SAFE
    assert not [name for _, attrs in page.tags for name in attrs if name.startswith("on") or name == "src"]
    assert all(attrs["href"].startswith("#s") for tag, attrs in page.tags if tag == "a")
    texts = " ".join(page.texts)
    for name in (ME, JAB, KNEE, "Yard <b>of</b> | clay", "on the <i>back</i>"):
        assert name in texts
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids)) == len(sheet.sections)


def test_markup_in_names_is_text_in_markdown_and_both_say_the_same(sheet: Sheet) -> None:
    text = as_markdown(sheet).text
    found, kinds = tables_of(text)
    plain = {"text", "text_special", "html:<br>", "inline", "strong_open", "strong_close", "softbreak"}
    blocks = {"heading", "paragraph", "bullet_list", "list_item", "blockquote", "table", "thead", "tbody", "tr", "th",
              "td"}  # fmt: skip
    assert kinds <= plain | {f"{block}_{end}" for block in blocks for end in ("open", "close")}
    told = tables(sheet.sections)
    assert found == [[[clean_lines(cell) for cell in row] for row in table.rows] for table in told]
    page = page_of(as_html(sheet))
    assert page.tables == [(clean(table.caption), rows) for table, rows in zip(told, found, strict=True)]
    assert any(JAB in row[0] for rows in found for row in rows)


def clean_lines(cell: str) -> str:
    return "\n".join(clean(line) for line in cell.split("\n"))


def test_every_table_says_its_units_and_has_a_cell_for_each_column(sheet: Sheet) -> None:
    for table in tables(sheet.sections):
        assert table.units and table.caption and table.rows
        assert {len(row) for row in table.rows} == {len(table.columns)}
        assert all(column.unit for column in table.columns if column.number)


def test_the_punish_table_says_what_the_study_answers(sheet: Sheet) -> None:
    shown = titled(sheet, "Punishing Birch")[0]
    assert [column.name for column in shown.columns[3:]] == ["At touching (0.4)", "At mid (1.2)"]
    for place, distance in enumerate((0.4, 1.2), 3):
        request = Exposed(me=Fighter(character="birch"), them=Fighter(character="ash"), distance=distance, limit=200)
        answer: ExposedAnswer = library().study("exposed", request)
        by = {move.name: move.by for move in answer.moves}
        for row in shown.rows:
            numbers = re.fullmatch(r"(.*), (\d+)\nframe (\d+) of (\d+), to ([\d.]+)", row[place], re.S)
            if row[0] == "Shove":
                assert row[place] == ("? (pushback of Shove)" if distance < 1 else "out of its reach")
            elif not by.get(row[0]):
                assert row[place] == "\N{EN DASH}"
            else:
                assert numbers is not None
                best = by[row[0]][0]
                far = pytest.approx(best.works_to)
                assert (numbers[1], float(numbers[2]), int(numbers[3]), int(numbers[4])) == (
                    best.name, best.damage, best.frame, best.held_until
                )  # fmt: skip
                assert float(numbers[5]) == far
    assert [row[1] for row in shown.rows] == ["-12", "-11"]


def test_strings_and_unknowns_are_those_of_the_studies(sheet: Sheet) -> None:
    request = StringsRequest(character="birch", them=Fighter(character="ash"), distance=0.4)
    strings: StringsAnswer = library().study("strings", request)
    gaps = titled(sheet, "Strings of Birch")[1]
    link = next(one for one in strings.links if one.on == "block")
    assert link.gap is not None
    assert gaps.rows[0][2] == link.gap.shown() == "3"
    assert "Ward: beats" not in gaps.rows[0][3], "the pane takes hands only"
    lacks: LabListAnswer = library().study(
        "lab_list", LabList(me=Fighter(character="ash"), them=Fighter(character="birch"), distance=0.4)
    )
    shown = titled(sheet, "What is unknown")[0]
    assert [(row[0], int(row[3]), int(row[4])) for row in shown.rows] == [
        (item.property, item.answers, item.alone) for item in lacks.items
    ]  # fmt: skip
    assert ("pushback", "Shove") in {(row[0], row[1]) for row in shown.rows}


def test_the_same_data_give_the_same_sheet(sheet: Sheet) -> None:
    again = fighter_sheet(library(), "ash", "birch", date="1 May", quick=True, pictures=False)
    assert as_html(again) == as_html(sheet) and as_markdown(again) == as_markdown(sheet)
    other = fighter_sheet(library(), "ash", "birch", date="2 May", quick=True, pictures=False)
    assert as_html(other) == as_html(sheet).replace("1 May", "2 May")


DRAWN = (
    '<svg xmlns="http://www.w3.org/2000/svg"><metadata>x</metadata><defs><pattern id="h1"><path d="M 1.23456 2"/>'
    '</pattern><clipPath id="c"><rect width="2"/></clipPath></defs><g id="g"><path d="M 0.12999 1" '
    'clip-path="url(#c)" style="fill: {}; stroke: #123456"/><rect fill="url(#h1)"/><text>a &lt; #000000</text></g>'
    "</svg>"
)


def test_one_drawing_serves_both_colours_and_hatches_are_shared() -> None:
    shared = Shared()
    light, dark = (DRAWN.format(colour).encode() for colour in ("#ffffff", "#101010"))
    first, second = (inlined(light, dark, f"p{i}-", shared) for i in (1, 2))
    assert 'style="fill: var(--ink0); stroke: #123456"' in first and "a &lt; #000000" in first
    assert shared.rules(False) == "--ink0:#ffffff;" and shared.rules(True) == "--ink0:#101010;"
    assert 'clip-path="url(#p1-c)"' in first and 'id="p1-c"' in first
    assert "metadata" not in first and "pattern" not in first
    assert 'fill="url(#hatch0)"' in first and "M 0.12 1" in first
    assert second == first.replace("p1-", "p2-")
    page = page_of(shared.hatches() + first + second)
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert sorted(ids) == ["hatch0", "p1-c", "p1-g", "p2-c", "p2-g"]


def test_drawings_that_are_not_alike_are_given_in_the_light_colours() -> None:
    light, dark = DRAWN.format("#ffffff"), DRAWN.format("#101010").replace("</g>", "<path/></g>")
    shared = Shared()
    assert "fill: #ffffff" in inlined(light.encode(), dark.encode(), "p-", shared)
    assert shared.rules(True) == ""
