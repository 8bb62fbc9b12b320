"""What holds for every picture: real and harmless text, same bytes every time, sizes, loaded late."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from advisor.errors import QuestionError
from advisor.pictures import coverage_picture, mix_picture, win_picture, windows_picture
from advisor.pictures.draw import MOST_DOTS, painted, render, spread_over
from advisor.pictures.lettering import BOX, clean, drawable, shortened, stand_in, wrapped
from advisor.pictures.look import look
from tests.unit.pictures.samples import ARABIC, HAN, HOSTILE, SVG, pixels, renamed, said, small, texts, tree

SIGNATURE = b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2
ROOT = Path(__file__).resolve().parents[3]
HALF = np.full((3, 4), 0.5)

PICTURES: dict[str, Callable[..., bytes]] = {
    "coverage": lambda form, **more: coverage_picture(small(), form, **more),
    "windows": lambda form, **more: windows_picture(small(), small().rows[0].option, form, **more),
    "mix": lambda form, **more: mix_picture(
        ("A", "B"), [("x", 1.0, 0.0)], [("y", 1.0, None)], 3, "points", form, **more
    ),
    "win": lambda form, **more: win_picture(HALF, HALF, 3, 4, 10, "neutral", form, **more),
}
EACH = pytest.mark.parametrize("name", list(PICTURES))


@cache
def svg(name: str) -> bytes:
    return PICTURES[name]("svg")


def hostile(name: str, word: str, form: str) -> bytes:
    if name == "mix":
        return mix_picture((word, word), [(word, 1.0, 0.0)], [(word, 1.0, None)], 3, word, form)
    if name == "win":
        return win_picture(HALF, HALF, 3, 4, 10, word, form)
    answer = renamed(word)
    if name == "coverage":
        return coverage_picture(answer, form)
    return windows_picture(answer, answer.rows[0].option, form)


@EACH
@pytest.mark.parametrize("word", ["<script>alert(1)</script>", "$\\bad{", HAN])
def test_hostile_names_stay_text(name: str, word: str) -> None:
    picture = hostile(name, word, "svg")
    root = tree(picture)
    assert {element.tag for element in root.iter()} <= {
        f"{SVG}{tag}" for tag in ("svg", "title", "desc", "defs", "g", "path", "text", "use", "clipPath", "rect",
                                  "image", "pattern")
    }  # fmt: skip
    whole = " ".join(texts(picture))
    assert word in whole or all(part in whole for part in (word[:9], word[9:18]))
    assert word in said(picture, "title") + said(picture, "desc")


@EACH
@pytest.mark.parametrize("word", ["$\\bad{", HAN])
def test_hostile_names_in_a_png_neither_fail_nor_warn(name: str, word: str) -> None:
    assert hostile(name, word, "png").startswith(SIGNATURE)


@EACH
def test_svg_is_named_for_a_screen_reader(name: str) -> None:
    root = tree(svg(name))
    assert root.get("role") == "img"
    ids = [root[0].get("id"), root[1].get("id")]
    assert [root[0].tag, root[1].tag] == [f"{SVG}title", f"{SVG}desc"]
    assert root.get("aria-labelledby", "").split() == ids
    assert root[0].text and root[1].text


@EACH
def test_svg_leaks_no_style_sheet_and_no_maker(name: str) -> None:
    root = tree(svg(name))
    tags = {element.tag.split("}")[1] for element in root.iter()}
    assert not tags & {"style", "metadata", "RDF"}


def test_scale_and_dpi_size_a_png() -> None:
    plain, twice = pixels(PICTURES["mix"]("png", dpi=60)), pixels(PICTURES["mix"]("png", dpi=60, scale=2))
    assert abs(twice.shape[0] - 2 * plain.shape[0]) <= 2 and abs(twice.shape[1] - 2 * plain.shape[1]) <= 2


def test_scale_sizes_an_svg_without_redrawing_it() -> None:
    plain, half = tree(svg("mix")), tree(PICTURES["mix"]("svg", scale=0.5))
    for side in ("width", "height"):
        whole = float(plain.get(side, "").removesuffix("pt"))
        assert float(half.get(side, "").removesuffix("pt")) == pytest.approx(whole / 2, rel=1e-4)
    assert plain.get("viewBox") == half.get("viewBox")


@EACH
def test_paper_is_white_or_dark(name: str) -> None:
    for theme, light in (("light", True), ("dark", False)):
        corner = pixels(PICTURES[name]("png", theme=theme, dpi=40))[2, 2]
        assert corner.min() == 255 if light else corner.max() < 40


@EACH
def test_a_form_that_is_none(name: str) -> None:
    with pytest.raises(QuestionError, match="`form` is `pdf`") as caught:
        PICTURES[name]("pdf")
    assert caught.value.code == "value-invalid"


def test_a_png_too_large_is_refused_before_it_is_drawn() -> None:
    side = MOST_DOTS**0.5 / 100
    with pytest.raises(QuestionError) as caught:
        painted(look("png"), (side * 1.01, side), "t", "d", lambda sheet: pytest.fail("drawn"))
    assert caught.value.code == "question-impossible"
    assert "svg" in caught.value.help


@pytest.mark.parametrize("form", ["svg", "png"])
def test_the_same_bytes_every_time_in_every_thread(form: str) -> None:
    alone = [PICTURES[name](form, dpi=40) for name in PICTURES]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda name: PICTURES[name](form, dpi=40), PICTURES))
    assert together == alone


def test_settings_of_the_process_neither_matter_nor_change() -> None:
    before = svg("mix")
    with matplotlib.rc_context({"svg.fonttype": "path", "font.size": 20, "text.parse_math": True}):
        kept = dict(matplotlib.rcParams)
        assert PICTURES["mix"]("svg") == before
        assert dict(matplotlib.rcParams) == kept


MIX = 'mix_picture(("A", "B"), [("x", 1.0, 0.0)], [("y", 1.0, None)], 3, "points", "svg")'


def test_another_process_loads_the_drawing_library_only_to_draw_and_draws_the_same() -> None:
    code = (
        "import sys; from advisor.pictures import mix_picture; from hashlib import sha256; "
        "print(sorted({'matplotlib', 'numpy', 'PIL'} & set(sys.modules))); "
        f"print(sha256({MIX}).hexdigest())"
    )
    env = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": str(ROOT)}
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
    assert out.stdout.split() == ["[]", hashlib.sha256(svg("mix")).hexdigest()]


def test_one_figure_in_both_forms() -> None:
    figure = Figure(figsize=(2, 1))
    figure.text(0.1, 0.5, f"{HAN}\n$x$")
    first = render(figure, "svg", title="t", description="d")
    render(figure, "png", title="t", description="d")
    again = render(figure, "svg", title="t", description="d")
    assert texts(first) == [HAN, "$x$"] == texts(again)


@pytest.mark.parametrize("word", HOSTILE)
def test_every_hostile_word_stays_text(word: str) -> None:
    figure = Figure(figsize=(2, 1))
    figure.text(0.1, 0.5, word)
    picture = render(figure, "svg", title=word, description=word)
    assert (texts(picture), said(picture, "title"), said(picture, "desc")) == ([word], word, word)
    assert render(figure, "png", title=word, description=word, dpi=40).startswith(SIGNATURE)


@settings(max_examples=12, deadline=None)
@given(st.text(min_size=1, max_size=12))
def test_any_text_makes_a_readable_svg(word: str) -> None:
    figure = Figure(figsize=(2, 1))
    figure.text(0.1, 0.5, word)
    picture = render(figure, "svg", title=word, description=word)
    assert said(picture, "title") == clean(word)
    assert render(figure, "png", title=word, description=word).startswith(SIGNATURE)


def test_control_characters_and_turned_text_are_dropped() -> None:
    assert clean("a\x00b\x1b[0m\nc\ud800\u202ed\uffff") == "ab[0m cd"
    kept = clean("".join(map(chr, range(0x11000))))
    element = ET.Element("a")
    element.text = kept
    assert ET.fromstring(ET.tostring(element)).text == kept  # every letter that is left may stand in XML


@pytest.mark.parametrize(
    ("text", "most", "wanted"),
    [("Ash Sweep", 9, "Ash Sweep"), ("Ash Sweeps", 9, "Ash Sw..."), (HAN, 7, HAN),
     (HAN + "\u6c34", 7, "\u5c71\u5ddd..."),     ("abc, defgh", 7, "abc...")],
)  # fmt: skip
def test_shortened(text: str, most: int, wanted: str) -> None:
    assert shortened(text, most) == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("one", "one"), ("one two three", "one two\nthree"), ("abcdefghijkl", "abcdefgh\nijkl"),
     ("one two three four five", "one two\nthree..."), ("exactly8 more", "exactly8\nmore"), ("", "")],
)  # fmt: skip
def test_wrapped_on_two_lines_of_eight(text: str, wanted: str) -> None:
    assert wrapped(text, 8, 2) == wanted


def test_a_letter_without_a_shape_is_a_box_in_a_png_only() -> None:
    unborn = "\U0001f9ff"
    assert drawable(f"a{unborn}")[0] == f"a{BOX}"
    assert drawable(ARABIC)[0] == ARABIC
    assert stand_in(f"a{HAN[0]}\n{unborn}") == "aM\nM"


def test_items_are_spread_over_lines() -> None:
    assert spread_over([2, 2, 2, 5], 4) == [[0, 1], [2], [3]]
