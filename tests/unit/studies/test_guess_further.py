"""``further: solved`` and ``round`` in the study ``guess``: what an exchange leaves, asked as a guess."""

from __future__ import annotations

import msgspec
import pytest

from advisor.errors import QuestionError
from advisor.pack.model import Pack
from advisor.studies.guess_further import Solved
from advisor.studies.guess_options import following, settled
from advisor.studies.guess_worth import After, Stated
from tests.unit.studies.slipway import changed, strike
from tests.unit.studies.slipway_guess import asked, cell, guessed, second_value, with_guards
from tests.unit.studies.test_guess import BIG, GUESS, JAB, LOW, MID


def poised() -> Pack:
    """Mid leaves +5 on hit; both have jabs, so what follows is a guess of its own."""
    pack = with_guards([MID, changed(LOW, on_hit=3), strike("jab", 10, damage=7.0)], [JAB, BIG])
    fighters = {
        key: msgspec.structs.replace(one, key_moves=tuple(k for k in ("mid", "low", "jab", "big") if k in one.moves))
        for key, one in pack.characters.items()
    }
    return msgspec.structs.replace(pack, characters=fighters)


@pytest.mark.parametrize(("mine", "theirs", "clean"), [("mid", "crouch_guard", 20.0), ("low", "stand_guard", 10.0)])
def test_a_solved_cell_is_the_damage_and_the_next_guess(mine: str, theirs: str, clean: float) -> None:
    pack = poised()
    found = cell(guessed(pack, **GUESS, further="solved"), mine, theirs)
    request = asked(**GUESS)
    after = After(
        advantage=5 if mine == "mid" else 3, distance=0, floored="nobody", state="", held="hitstun"
    )
    question = following(pack, request.me, request.them, after)
    assert question is not None
    then = guessed(
        pack, moment={"kind": "advantage", "frames": after.advantage, "held": "hitstun"}, distance=0.0,
        responses=question.responses, replies=question.replies, further="punish",
    )  # fmt: skip
    assert found.further == pytest.approx(then.value, abs=1e-7) and then.value > 0
    assert found.value == pytest.approx(clean + then.value, abs=1e-7)


def test_the_solved_guess_has_the_value_of_its_table() -> None:
    answer = guessed(poised(), **GUESS, further="solved")
    payoff = [[one.value for one in line] for line in answer.table]
    assert answer.value == pytest.approx(second_value(payoff), abs=1e-7)


def test_beyond_the_bound_only_the_punish_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("advisor.studies.guess_further.MOST", 0)
    pack = poised()
    answer = guessed(pack, **GUESS, further="solved")
    assert answer.value == guessed(pack, **GUESS).value
    assert any("beyond the bound" in one for one in answer.cautions)
    request = asked(**GUESS)
    situation = settled(pack, following(pack, request.me, request.them, _left(5)))  # type: ignore[arg-type]
    solved = Solved(pack, request.me, request.them, situation, Stated())
    for _ in range(3):
        solved(_left(5))
    assert solved.cut == 1


def _left(frames: int) -> After:
    return After(advantage=frames, distance=0, floored="nobody", state="", held="hitstun")


def test_the_next_situation_at_an_unknown_distance_is_no_question() -> None:
    request = asked()
    after = msgspec.structs.replace(_left(5), distance=None)
    assert following(poised(), request.me, request.them, after) is None


def test_a_guess_near_the_end_counts_chances() -> None:
    answer = guessed(poised(), **GUESS, round={"steps": 10, "options": 4})
    assert answer.unit == "win_chance"
    assert 0 <= answer.lower <= answer.value <= answer.upper <= 1
    assert all(0 <= one.value <= 1 for line in answer.table for one in line)
    # Mid, not guarded, takes all that they have left.
    last = guessed(poised(), **GUESS, round={"steps": 10, "options": 4}, them={"character": "bram", "health": 20.0})
    assert cell(last, "mid", "crouch_guard").value == 1.0


def test_a_guess_near_the_end_without_health_is_refused() -> None:
    pack = poised()
    bare = msgspec.structs.replace(pack.characters["bram"], health=None)
    pack = msgspec.structs.replace(pack, characters={**pack.characters, "bram": bare})
    with pytest.raises(QuestionError, match="the health of `bram` is not recorded"):
        guessed(pack, **GUESS, round={})
