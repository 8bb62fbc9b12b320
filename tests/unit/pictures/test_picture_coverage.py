"""The heat map and the strips: every field where it belongs, with the colour, letter and delays of its verdict."""

from __future__ import annotations

import pytest

from advisor.errors import Unanswerable
from advisor.pictures import coverage_map as table
from advisor.pictures import coverage_picture, windows_picture
from advisor.pictures import windows_strip as strip
from advisor.pictures.coverage_map import runs_shown
from advisor.pictures.fields import legend_height, run_text
from advisor.pictures.look import THEMES, VERDICTS, lightness, style_of
from tests.unit.pictures.samples import cells_of, commonest, coverage, pixels, said, small, texts

DPI = 100
ALL = tuple(VERDICTS)


def face(verdict: str, theme: str = "light") -> str:
    return style_of(verdict).face_on(THEMES[theme])


def fields_drawn(picture: bytes, rows: int, columns: int, below: float) -> list[list[str]]:
    """The commonest colour in each field, rows by columns; ``below``: inches under the table."""
    dots = pixels(picture)
    width, height = table.CELL
    top = dots.shape[0] / DPI - below - height * rows
    left = table.EDGE + table.LABELS
    return [
        [
            commonest(
                dots[
                    int((top + height * i + 0.03) * DPI) : int((top + height * (i + 1) - 0.03) * DPI),
                    int((left + width * j + 0.03) * DPI) : int((left + width * (j + 1) - 0.03) * DPI),
                ]
            )
            for j in range(columns)
        ]
        for i in range(rows)
    ]


@pytest.mark.parametrize("theme", list(THEMES))
def test_fields_have_the_colour_of_their_verdict(theme: str) -> None:
    answer = coverage()
    answer.rows = answer.rows[-4:]
    width = 2 * table.EDGE + table.LABELS + table.CELL[0] * len(answer.replies)
    below = 0.2 + legend_height(width - 2 * table.EDGE) + 0.6
    drawn = fields_drawn(coverage_picture(answer, "png", theme=theme), len(answer.rows), len(answer.replies), below)
    assert drawn == [[face(cell.verdict, theme) for cell in row.cells] for row in answer.rows]
    assert len({colour for row in drawn for colour in row}) >= 3


def test_every_verdict_reads_in_grey() -> None:
    answer = small(ALL)
    width = 2 * table.EDGE + table.LABELS + table.CELL[0] * len(ALL)
    below = 0.2 + legend_height(width - 2 * table.EDGE) + 0.6
    shades = [lightness(colour) for colour in fields_drawn(coverage_picture(answer, "png"), 1, len(ALL), below)[0]]
    known = [shade for verdict, shade in zip(ALL, shades, strict=True) if verdict != "unknown"]
    assert known == sorted(known, reverse=True)
    assert min(abs(a - b) for i, a in enumerate(shades) for b in shades[:i]) > 8


def test_letters_and_delays_are_written_in_the_fields() -> None:
    written = texts(coverage_picture(small(ALL), "svg"))
    for verdict in ALL:
        assert written.count(style_of(verdict).letter) == 2, verdict  # its field and the legend
        assert verdict.replace("_", " ") in written
    assert written.count("2-5") == len(ALL)


def test_names_numbers_and_summary_are_written() -> None:
    answer = coverage()
    written = texts(coverage_picture(answer, "svg"))
    whole = " ".join(written)
    assert answer.summary in whole
    for row in answer.rows:
        assert row.name in written
    for head in answer.replies:
        assert all(word in whole for word in head.name.split())
    assert sum(text in {style_of(cell.verdict).letter for cell in cells_of(answer)} for text in written) >= 100


def test_unknown_cells_have_a_question_mark_and_their_delays() -> None:
    answer = small(("unknown",))
    answer.rows[0].cells[0].windows = [answer.rows[0].cells[0].windows[1]]
    written = texts(coverage_picture(answer, "svg"))
    assert written.count("?") == 2 and "2-5" in written


def test_uncounted_columns_are_in_brackets() -> None:
    answer = small()
    answer.replies[1].chosen = False
    picture = coverage_picture(answer, "svg")
    assert "(Reply 1)" in texts(picture) and "Reply 0" in texts(picture)
    assert any("brackets" in text for text in texts(picture))


def test_long_names_are_cut_on_the_picture_and_whole_in_the_description() -> None:
    answer = small()
    long = "An Exceedingly Long Name of a Move of Which the Second Hit is Delayed"
    answer.rows[0].name = answer.replies[0].name = long
    picture = coverage_picture(answer, "svg")
    assert not any(long in text for text in texts(picture))
    assert any(text.startswith("An Exceedingly") and text.endswith("...") for text in texts(picture))
    assert said(picture, "desc").count(long) == 2


def test_a_table_without_rows_is_still_a_picture() -> None:
    answer = small()
    answer.rows, answer.summary = [], "No option left to weigh."
    assert "No option left to weigh." in texts(coverage_picture(answer, "svg"))


def test_large_tables_grow_in_proportion() -> None:
    answer = coverage()
    answer.replies = answer.replies[:3]
    for row in answer.rows:
        row.cells = row.cells[:3]
    one = pixels(coverage_picture(answer, "png", dpi=40)).shape
    answer.rows = answer.rows * 2
    two = pixels(coverage_picture(answer, "png", dpi=40)).shape
    assert two[0] - one[0] == pytest.approx(10 * table.CELL[1] * 40, abs=2)
    assert two[1] == one[1]


@pytest.mark.parametrize(
    ("runs", "wanted"),
    [([], ""), ([(3, 3)], "3"), ([(0, 60)], "any"), ([(0, 59)], "0-59"), ([(0, 1), (5, 9)], "5-9 +1"),
     ([(0, 2), (5, 7), (9, 9)], "0-2 +2")],
)  # fmt: skip
def test_runs_as_they_stand_in_a_field(runs: list[tuple[int, int]], wanted: str) -> None:
    assert run_text(runs, 60) == wanted


def test_a_guaranteed_field_shows_all_delays_that_are_covered_and_says_so() -> None:
    cell = coverage().rows[0].cells[0]
    assert [(w.first, w.last, w.verdict) for w in cell.windows][:2] == [(0, 3, "guaranteed"), (4, 17, "beats")]
    assert runs_shown(cell) == [(0, 17)]
    assert "covered (G or B)" in " ".join(texts(coverage_picture(coverage(), "svg")))


@pytest.mark.parametrize("verdict", ALL)
def test_runs_of_a_cell_are_those_of_its_verdict(verdict: str) -> None:
    assert runs_shown(small((verdict,)).rows[0].cells[0]) == [(2, 5)]


@pytest.mark.parametrize("option", ["steam_burst"])
def test_strips_show_the_stretch_of_every_delay(option: str) -> None:
    answer = coverage()
    row = next(row for row in answer.rows if row.option == option)
    dots = pixels(windows_picture(answer, option, "png"))
    frame = strip.STRIPS / (answer.delays + 1)
    width = 2 * strip.EDGE + strip.LABELS + strip.STRIPS + 0.1
    bottom = dots.shape[0] / DPI - strip.EDGE - legend_height(width - 2 * strip.EDGE) - 0.75
    top = bottom - strip.STRIP * len(row.cells)
    for i, cell in enumerate(row.cells):
        for stretch in cell.windows:
            if stretch.last - stretch.first < 2:
                continue  # narrower than the border lines around it leave room for
            left = strip.EDGE + strip.LABELS + stretch.first * frame
            right = strip.EDGE + strip.LABELS + (stretch.last + 1) * frame
            y = top + strip.STRIP * i
            area = dots[int((y + 0.09) * DPI) : int((y + 0.27) * DPI), int(left * DPI) + 2 : int(right * DPI) - 1]
            assert commonest(area) == face(stretch.verdict), (cell.reply, stretch)


def test_the_common_window_is_framed_and_the_aim_marked() -> None:
    answer = coverage()
    row = next(row for row in answer.rows if row.option == "bellows")
    assert (row.windows[0].first, row.windows[0].last, row.aim) == (15, 20, 17)
    dots = pixels(windows_picture(answer, "bellows", "png")).astype(int)
    frame = strip.STRIPS / (answer.delays + 1)

    def seen(colour: str, where: float) -> bool:
        x = (strip.EDGE + strip.LABELS + where * frame) * DPI
        wanted = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
        near = abs(dots[:, int(x) - 2 : int(x) + 3] - wanted).sum(axis=2) < 40
        return bool(near.sum() > 60)

    mine, theirs = THEMES["light"].mine, THEMES["light"].theirs
    assert [seen(mine, 15), seen(mine, 21), seen(mine, 26)] == [True, True, False]
    assert [seen(theirs, 17.5), seen(theirs, 15)] == [True, False]
    assert "15-20: 6 frames, aim 17" in texts(windows_picture(answer, "bellows", "svg"))


def test_strips_say_whose_delay_it_is() -> None:
    answer = small()
    option = answer.rows[0].option
    assert "my delay, frames" in texts(windows_picture(answer, option, "svg"))
    answer.timed_by = "them"
    assert "their delay, frames" in texts(windows_picture(answer, option, "svg"))


def test_a_row_without_a_window() -> None:
    answer = small()
    answer.rows[0].windows, answer.rows[0].aim = [], None
    picture = windows_picture(answer, answer.rows[0].option, "svg")
    assert "no common window" in said(picture, "desc")


def test_a_just_frame_is_called_so() -> None:
    answer = small()
    row = answer.rows[0]
    row.windows, row.width, row.aim = [type(row.windows[0])(first=4, last=4)], 1, 4
    assert any(t.startswith("4: 1 frame, a just frame") for t in texts(windows_picture(answer, row.option, "svg")))


def test_an_option_that_is_no_row() -> None:
    with pytest.raises(Unanswerable, match="`ash_sweeb`") as caught:
        windows_picture(coverage(), "ash_sweeb", "svg")
    assert caught.value.code == "option-unknown"
    assert caught.value.help == "did you mean `ash_sweep`?"
