"""The study ``round``: symmetry, monotony, lethal hits, thresholds by hand, and refusals."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.pack.model import Pack
from advisor.studies.round import round_study
from advisor.studies.round_answer import Round, RoundAnswer
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import strike
from tests.unit.studies.slipway_guess import guessed, with_guards

PLACES: list[dict[str, Any]] = [
    {"name": "neutral", "moment": {"kind": "neutral"}},
    {"name": "ahead", "moment": {"kind": "advantage", "frames": 4, "held": "blockstun"}},
    {"name": "behind", "moment": {"kind": "advantage", "frames": -4, "held": "blockstun"}},
]


def even() -> Pack:
    """Both have the same mid, low and jab."""
    moves = [
        strike("mid", 14, damage=20.0, on_block=-8), strike("low", 14, damage=10.0, level="low", on_block=-8),
        strike("jab", 10, damage=10.0, on_block=-2),
    ]  # fmt: skip
    pack = with_guards(moves, moves)
    keyed = {key: msgspec.structs.replace(one, key_moves=tuple(one.moves)) for key, one in pack.characters.items()}
    return msgspec.structs.replace(pack, characters=keyed)


def asked(pack: Pack | None = None, **request: Any) -> RoundAnswer:
    at_hand = shelf()
    given = {
        "me": {"character": "ada"}, "them": {"character": "bram"}, "distance": 0.5, "steps": 5, "options": 12,
        "situations": PLACES, **request,
    }  # fmt: skip
    return round_study(pack or even(), at_hand.rules, at_hand.evaluator, msgspec.convert(given, Round))


def middle(answer: RoundAnswer, name: str = "neutral") -> float:
    one = next(c for c in answer.chances if c.name == name)
    assert 0 <= one.lower <= one.upper <= 1
    return (one.lower + one.upper) / 2


@pytest.fixture(autouse=True)
def _apart(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def test_an_even_match_is_even() -> None:
    answer = asked()
    assert answer.closed and middle(answer) == pytest.approx(0.5, abs=1e-4)
    assert middle(answer, "ahead") + middle(answer, "behind") == pytest.approx(1, abs=2e-4)
    assert middle(answer, "ahead") >= middle(answer) - 1e-4


@pytest.mark.parametrize(("mine", "theirs"), [(40.0, 100.0), (20.0, 60.0)])
def test_sides_swapped_the_chances_add_up_to_one(mine: float, theirs: float) -> None:
    one = asked(me={"character": "ada", "health": mine}, them={"character": "bram", "health": theirs})
    other = asked(me={"character": "bram", "health": theirs}, them={"character": "ada", "health": mine})
    assert middle(one) + middle(other) == pytest.approx(1, abs=2e-4)
    assert middle(one, "ahead") + middle(other, "behind") == pytest.approx(1, abs=2e-4)


def test_more_health_never_hurts() -> None:
    stand = asked().stand
    for i, row in enumerate(stand.lower):
        for j, low in enumerate(row):
            assert i == 0 or stand.upper[i][j] >= stand.lower[i - 1][j] - 1e-9
            assert j == 0 or stand.upper[i][j - 1] >= low - 1e-9


def frozen(health: float) -> RoundAnswer:
    """They cannot act for 20 frames: the mid is certain."""
    held = {"name": "open", "moment": {"kind": "advantage", "frames": 20, "held": "recovery"}}
    return asked(situations=[*PLACES, held], show="open", them={"character": "bram", "health": health})


def test_a_certain_hit_that_kills_wins() -> None:
    answer = frozen(20.0)
    assert middle(answer, "open") == pytest.approx(1) and middle(frozen(100.0), "open") < 1
    certain = next(one for one in answer.thresholds if one.what == "certain")
    # The hardest hit of those that land for certain is the mid's 20.
    assert certain.health == 20.0 and certain.option == "Mid"


def test_thresholds_in_neutral_by_hand() -> None:
    found = {one.what: one for one in asked().thresholds}
    # In neutral everything can be guarded, so nothing is certain; one mid may end it from 20 down.
    assert "certain" not in found and found["possible"].health == 20.0
    stand = asked().stand
    falls = [stand.lower[-1][j] - stand.lower[-1][j + 1] for j in range(4)]
    at = max(range(4), key=lambda j: falls[j])
    assert found["jump"].health == pytest.approx((at + 1) * 20.0)


def test_comeback_thresholds() -> None:
    found = {one.what: one.health for one in asked(comeback={"below": 0.5, "damage": 1.5}).thresholds}
    assert found["my_comeback"] == found["their_comeback"] == 40.0


def test_chances_of_the_demo_stay_between_none_and_one() -> None:
    pack = shelf().pack
    fighters: dict[str, Any] = {"me": {"character": "marl", "health": 60}, "them": {"character": "wenna", "health": 40}}
    terms = {"steps": 10, "options": 4}
    answer = guessed(pack, **fighters, distance="close", round=terms)
    assert answer.unit == "win_chance" and 0 <= answer.lower <= answer.value <= answer.upper <= 1


@pytest.mark.parametrize(("mine", "theirs"), [(100.0, 100.0), (40.0, 60.0), (20.0, 20.0)])
def test_the_guess_of_a_place_has_its_chance(mine: float, theirs: float) -> None:
    sides: dict[str, Any] = {
        "me": {"character": "ada", "health": mine}, "them": {"character": "bram", "health": theirs},
    }  # fmt: skip
    terms: dict[str, Any] = {"steps": 5, "options": 12, "clock": "none"}
    one = guessed(even(), **sides, round=terms, distance="near")
    whole = next(c for c in asked(**sides, **terms, situations=None, distance=None).chances if c.name == "neutral")
    assert one.lower <= whole.upper + 1e-6 and whole.lower <= one.upper + 1e-6


@pytest.mark.parametrize(
    ("more", "said", "pointer"),
    [
        ({"me": {"character": "ada", "health": 101}}, "101 of 100 health", "/me/health"),
        ({"situations": [PLACES[0], PLACES[0]]}, "two situations are called `neutral`", "/situations/1/name"),
        ({"situations": [{**PLACES[0], "name": "a:b"}]}, "`a:b` has a colon", "/situations/0/name"),
        ({"show": "neutrl"}, "no situation is called `neutrl`", "/show"),
        ({"them": {"character": "bran"}}, "bran", "/them/character"),
    ],
)
def test_refusals(more: dict[str, Any], said: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as found:
        asked(**more)
    assert said in found.value.message and found.value.pointer == pointer and found.value.help


def test_a_list_without_situations_is_refused() -> None:
    with pytest.raises(msgspec.ValidationError, match="length >= 1"):
        asked(situations=[])
