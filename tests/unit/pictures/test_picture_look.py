"""Styles of verdicts: told apart by letter, hatch and lightness alone; and what a caller may ask for."""

from __future__ import annotations

from itertools import combinations, pairwise
from pathlib import Path

import pytest

from advisor.errors import QuestionError
from advisor.pictures.look import THEMES, VERDICTS, blend, ink_on, lightness, look, style_of
from advisor.rules.vocabulary import load_vocabulary

ROOT = Path(__file__).resolve().parents[3]

STEP = 8.0
"""L* by which two fields must differ at least; a just noticeable difference is about 1 (common practice)."""


def test_every_verdict_of_the_vocabulary_has_a_style_in_its_order() -> None:
    assert list(VERDICTS) == list(load_vocabulary(ROOT / "rules" / "vocabulary.yaml").verdicts)


def test_letters_and_hatches_are_all_different() -> None:
    assert len({style.letter for style in VERDICTS.values()}) == len(VERDICTS)
    assert len({style.hatch for style in VERDICTS.values()}) == len(VERDICTS)


@pytest.mark.parametrize("theme", list(THEMES))
def test_faces_differ_in_lightness_alone(theme: str) -> None:
    shades = {word: lightness(style.face_on(THEMES[theme])) for word, style in VERDICTS.items()}
    near = [(a, b) for a, b in combinations(shades, 2) if abs(shades[a] - shades[b]) < STEP]
    assert near == []


def test_better_is_lighter() -> None:
    shades = [lightness(style.face) for style in VERDICTS.values() if style.face]
    assert len(shades) == 7
    assert all(better - worse > 11 for better, worse in pairwise(shades))


@pytest.mark.parametrize("theme", list(THEMES))
def test_unknown_is_blank_paper(theme: str) -> None:
    assert style_of("unknown").face_on(THEMES[theme]) == THEMES[theme].paper


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, success criterion 1.4.3, by way of L*: Y = ((L* + 16) / 116)^3 above L* 8."""

    def y(colour: str) -> float:
        shade = lightness(colour)
        return ((shade + 16) / 116) ** 3 if shade > 8 else shade / 903.3

    light, dark = sorted((y(one), y(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", list(THEMES))
def test_all_writing_has_the_contrast_of_readable_text(theme: str) -> None:
    colours = THEMES[theme]
    for style in VERDICTS.values():
        face = style.face_on(colours)
        assert contrast(face, ink_on(face)) >= 4.5
    assert contrast(colours.paper, colours.ink) >= 4.5
    assert contrast(colours.paper, colours.faint) >= 4.5


def test_lightness_of_known_colours() -> None:
    # CIE 1976 L*: white 100, black 0, and sRGB #777777 about 50 (common practice, no published source)
    assert lightness("#ffffff") == pytest.approx(100, abs=1e-6)
    assert lightness("#000000") == 0
    assert lightness("#777777") == pytest.approx(50, abs=0.2)


def test_blend() -> None:
    assert blend("#000000", "#ffffff", 0.2) == "#333333"
    assert blend("#102030", "#ffffff", 0) == "#102030"


@pytest.mark.parametrize(
    ("asked", "pointer", "help"),
    [
        ({"form": "gif"}, "/form", "svg, png"),
        ({"form": "PNG"}, "/form", "did you mean `png`?"),
        ({"form": None}, "/form", "svg, png"),
        ({"form": "svg", "theme": "drak"}, "/theme", "did you mean `dark`?"),
        ({"form": "svg", "dpi": 10_000}, "/dpi", "40 to 300"),
        ({"form": "svg", "dpi": True}, "/dpi", "40 to 300"),
        ({"form": "svg", "dpi": float("nan")}, "/dpi", "40 to 300"),
        ({"form": "svg", "scale": 0}, "/scale", "0.25 to 4"),
        ({"form": "svg", "scale": "2"}, "/scale", "0.25 to 4"),
    ],
)
def test_what_is_asked_wrongly_is_named(asked: dict[str, object], pointer: str, help: str) -> None:
    with pytest.raises(QuestionError) as caught:
        look(**asked)  # type: ignore[arg-type]
    assert caught.value.code == "value-invalid"
    assert caught.value.pointer == pointer
    assert help in caught.value.help
    assert str(list(asked.values())[-1]) in caught.value.message


def test_a_word_that_is_no_verdict() -> None:
    with pytest.raises(QuestionError, match="`beat`") as caught:
        style_of("beat")
    assert caught.value.help == "did you mean `beats`?"
