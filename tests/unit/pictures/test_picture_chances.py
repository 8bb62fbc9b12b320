"""Mixes as bars, and the chance to win over both healths."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from advisor.errors import QuestionError
from advisor.pictures import mix_bars, mix_picture, win_chance, win_picture
from tests.unit.pictures.samples import pixels, said, texts

DPI = 100
MINE = [("Sweep", 0.625, 0.0), ("Throw", 0.375, 0.0), ("Jump", 0.0, 12.5)]
THEIRS = [("Rise", 0.9999, 0.0), ("Roll", 0.0001, None)]


def mix(form: str = "svg", **more: Any) -> bytes:
    return mix_picture(("Wenna", "Marl"), MINE, THEIRS, 8.25, "points", form, **more)


def test_shares_losses_and_value_are_written() -> None:
    written = texts(mix())
    for word in ("Wenna", "Marl", "Sweep", "62.5%", "37.5%", "0%", "no loss", "loses 12.5 points", "loss not known",
                 "Wenna against Marl: +8.25 points"):  # fmt: skip
        assert word in written, word
    assert "<0.1%" in written and "100%" in written
    assert "Jump 0% (loses 12.5 points)" in said(mix(), "desc")


def test_a_title_of_ones_own() -> None:
    assert "After the sweep" in texts(mix(title="After the sweep"))


def test_bars_are_as_long_as_the_shares() -> None:
    dots = pixels(mix("png")).astype(int)
    blue = (abs(dots - [0x00, 0x72, 0xB2]).sum(axis=2) < 12).sum(axis=1)
    room = (mix_bars.WIDTH - 2 * mix_bars.EDGE - mix_bars.LABELS - mix_bars.TAIL) * DPI
    lengths = sorted({int(n) for n in blue if n > 20})
    assert lengths[0] == pytest.approx(0.375 * room, abs=3)
    assert lengths[-1] == pytest.approx(0.625 * room, abs=3)


def test_a_side_without_options() -> None:
    assert "no options" in texts(mix_picture(("A", "B"), [], THEIRS, 0, "", "svg"))


@pytest.mark.parametrize(
    ("mine", "value", "pointer"),
    [
        ([("x", 1.5, None)], 0.0, "/mine/0/1"),
        ([("y", 0.5, None), ("x", float("nan"), None)], 0.0, "/mine/1/1"),
        ([("x", -0.1, None)], 0.0, "/mine/0/1"),
        ([("x", 0.5, float("inf"))], 0.0, "/mine/0/2"),
        ([("x", 0.6, None), ("y", 0.6, None)], 0.0, "/mine"),
        ([("x", 1.0, None)], float("nan"), "/value"),
    ],
)
def test_a_mix_that_is_none(mine: list[mix_bars.Bar], value: float, pointer: str) -> None:
    with pytest.raises(QuestionError) as caught:
        mix_picture(("A", "B"), mine, THEIRS, value, "points", "svg")
    assert (caught.value.code, caught.value.pointer) == ("value-invalid", pointer)
    assert caught.value.help


def slope(rows: int = 10, columns: int = 14) -> np.ndarray[Any, np.dtype[np.float64]]:
    """A chance that grows with my health [h1] and falls with theirs [h2]."""
    return (np.arange(1, rows + 1)[:, None] / rows + 1 - np.arange(1, columns + 1)[None, :] / columns) / 2


def map_of(picture: bytes) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The dots of the map itself."""
    dots = pixels(picture)
    left = win_chance.EDGE + win_chance.LEFT
    bottom = dots.shape[0] / DPI - win_chance.EDGE - 0.62
    rows = slice(int((bottom - win_chance.SIDE) * DPI), int(bottom * DPI))
    return dots[rows, int(left * DPI) : int((left + win_chance.SIDE) * DPI)]


def test_my_health_goes_up_and_theirs_to_the_right() -> None:
    shades = map_of(win_picture(slope(), slope(), 10, 14, 12.5, "neutral", "png")).astype(int).sum(axis=2)
    corners = {"mine": shades[6, 6], "theirs": shades[-7, -7], "both": shades[6, -7]}
    assert corners["mine"] > corners["both"] > corners["theirs"]


def test_lines_of_equal_chance_are_labelled() -> None:
    written = texts(win_picture(slope(), slope(), 10, 14, 12.5, "neutral", "svg"))
    assert {"30%", "50%", "70%"} <= set(written)
    assert {"their health, points", "my health, points", "Chance to win the round: neutral"} <= set(written)


def test_only_wide_bounds_are_hatched() -> None:
    middle = np.full((6, 6), 0.5)
    lower, upper = middle.copy(), middle.copy()
    lower[4:, :3] -= 0.1
    sure = map_of(win_picture(middle, middle, 6, 6, 1, "neutral", "png")).astype(int)
    hatched = map_of(win_picture(lower, upper + 0.1 * (upper - lower > 0), 6, 6, 1, "neutral", "png")).astype(int)
    changed = abs(hatched - sure).sum(axis=2) > 120
    third, half = changed.shape[0] // 3, changed.shape[1] // 2
    assert changed[: third - 3, : half - 3].mean() > 0.1
    assert changed[third + 3 :].mean() < 0.02 and changed[:, half + 3 :].mean() < 0.02


@pytest.mark.parametrize(("gap", "said_so"), [(win_chance.WIDE, False), (win_chance.WIDE + 0.001, True)])
def test_how_far_the_bounds_are_apart_is_said(gap: float, said_so: bool) -> None:
    lower = np.full((3, 3), 0.25)
    picture = win_picture(lower, lower + gap, 3, 3, 1, "neutral", "svg")
    assert ("hatched" in " ".join(texts(picture))) is said_so
    assert f"25.0% to {0.25 + gap:.1%}" in said(picture, "desc")


def test_tables_may_begin_at_no_health() -> None:
    one, none = slope(3, 4), slope(4, 5)
    assert "10 mine, 10 theirs" in said(win_picture(one, one, 3, 4, 10, "n", "svg"), "desc")
    assert "0 mine, 0 theirs" in said(win_picture(none, none, 3, 4, 10, "n", "svg"), "desc")


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1)])
def test_tables_of_one_row_or_column(shape: tuple[int, int]) -> None:
    flat = np.linspace(0, 1, shape[0] * shape[1]).reshape(shape)
    assert win_picture(flat, flat, *shape, 1, "n", "png").startswith(b"\x89PNG")


FIVE = np.full((5, 5), 0.5)


@pytest.mark.parametrize(
    ("lower", "upper", "steps", "points", "pointer"),
    [
        (FIVE, FIVE, (5, 7), 1, "/lower"),
        (FIVE, np.full((6, 6), 0.5), (5, 5), 1, "/upper"),
        (FIVE, FIVE - 0.1, (5, 5), 1, "/lower"),
        (FIVE, FIVE + 0.6, (5, 5), 1, "/upper"),
        (np.full((5, 5), np.nan), FIVE, (5, 5), 1, "/lower"),
        ([["a"]], FIVE, (5, 5), 1, "/lower"),
        (np.zeros((0, 0)), np.zeros((0, 0)), (0, 0), 1, "/lower"),
        (FIVE, FIVE, (5, 5), 0, "/points_per_step"),
    ],
)
def test_tables_that_are_none(lower: Any, upper: Any, steps: tuple[int, int], points: float, pointer: str) -> None:
    with pytest.raises(QuestionError) as caught:
        win_picture(lower, upper, *steps, points, "neutral", "svg")
    assert (caught.value.code, caught.value.pointer) == ("value-invalid", pointer)
