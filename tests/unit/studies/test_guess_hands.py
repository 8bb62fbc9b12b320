"""My own hands and reads in the study ``guess``: spread, trials, flips, counts and odds, and the options of the CLI.

Chances of a window: P = 2 Phi((w/2) / sigma) - 1, domain section 6 (common practice, no published source).
"""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from click.testing import CliRunner
from scipy.stats import beta

from advisor.clients.studies.guess import command
from advisor.clients.studies.round import command as round_command
from advisor.errors import AdvisorError
from advisor.pack.model import Pack
from advisor.studies.guess_model import GuessAnswer
from tests.unit.studies.slipway import strike
from tests.unit.studies.slipway_guess import cell, guessed, with_guards
from tests.unit.studies.test_guess import GUESS, heights

FROZEN: dict[str, Any] = {"kind": "advantage", "frames": 10, "held": "recovery"}


def within(width: float, spread: float) -> float:
    return math.erf(width / 2 / spread / math.sqrt(2))


def just_frame() -> Pack:
    """A strike that must be in time to the frame, and a weaker one with five frames to spare."""
    hard, easy = strike("hard", 10, damage=30.0), strike("easy", 5, damage=20.0)
    return with_guards([hard, easy], [strike("jab", 10, damage=7.0)])


# Windows of 1, 2 and 3 frames at a spread of 10 ms: computed from the formula above.
@pytest.mark.parametrize(("width", "chance"), [(1, 0.5953), (2, 0.9044), (3, 0.9876)])
def test_the_chance_of_a_window(width: int, chance: float) -> None:
    first = 11 - width
    pack = with_guards([strike("hard", first, damage=30.0)], [strike("jab", 10, damage=7.0)])
    answer = guessed(
        pack, moment=FROZEN, responses=["hard"], replies=["stand_guard"], further="none", spread=10 / (1000 / 60)
    )
    timed = {one.width: one.chance for one in answer.mine}
    assert timed[width] == pytest.approx(chance, abs=6e-5)


def best(answer: GuessAnswer) -> str:
    return max(answer.mine, key=lambda one: one.share).option.split("+")[0]


def test_a_wide_spread_turns_the_ranking() -> None:
    request = {
        "moment": FROZEN, "responses": ["hard", "easy"], "replies": ["stand_guard"], "further": "none",
    }
    found = {spread: guessed(just_frame(), **request, spread=spread) for spread in (0.2, 2.0)}
    assert best(found[0.2]) == "hard" and best(found[2.0]) == "easy"
    for spread, answer in found.items():
        # What comes before the first frame is lost, what comes too late is blocked: neither earns anything.
        for key, width, damage in (("hard", 1, 30.0), ("easy", 6, 20.0)):
            cells = {one.option: line[0] for one, line in zip(answer.mine, answer.table, strict=True)}
            timed = [one for one in answer.mine if one.option.split("+")[0] == key and one.width == width]
            assert timed or key != best(answer)
            for one in timed:
                assert cells[one.option].value == pytest.approx(damage * within(width, spread))


def test_trials_count_with_the_mean_of_their_posterior() -> None:
    answer = guessed(heights(), **GUESS, further="none", trials=[{"option": "mid", "successes": 7, "tries": 12}])
    mine = next(one for one in answer.mine if one.option == "mid")
    p = 7.5 / 13
    assert mine.chance == pytest.approx(p)
    assert cell(answer, "mid", "crouch_guard").value == pytest.approx(20 * p)
    assert answer.value == pytest.approx(20 * p * 10 / (20 * p + 10))
    row = next(one for one in answer.execution if one.option == "mid")
    low, high = beta.ppf([0.025, 0.975], 7.5, 5.5)
    assert (row.low, row.high) == pytest.approx((low, high)) and row.source == "trials"


def test_flips_are_where_the_ranking_turns() -> None:
    pack = with_guards([strike("hard", 10, damage=30.0), strike("easy", 10, damage=20.0)], [strike("jab", 10)])

    def at(successes: int, tries: int) -> GuessAnswer:
        trials = [{"option": "hard", "successes": successes, "tries": tries}]
        request = {"responses": ["hard", "easy"], "replies": ["crouch_guard"], "further": "none", "trials": trials}
        return guessed(pack, **request)

    flips = [flip for row in at(500, 1000).execution for flip in row.flips]
    assert [(f.below, f.above) for f in flips] == [("Easy", "Hard")]
    flip = flips[0].chance
    assert flip == pytest.approx(20 / 30)
    tries = 100_000
    assert best(at(round((flip - 0.01) * tries), tries)) == "easy"
    assert best(at(round((flip + 0.01) * tries), tries)) == "hard"


def test_trials_of_no_option_and_too_many_successes() -> None:
    with pytest.raises(AdvisorError, match="`midd` is none of my options") as found:
        guessed(heights(), **GUESS, trials=[{"option": "midd", "successes": 1, "tries": 2}])
    assert found.value.pointer == "/trials/0/option" and "mid" in str(found.value.help)
    with pytest.raises(AdvisorError, match="3 successes in 2 tries"):
        guessed(heights(), **GUESS, trials=[{"option": "mid", "successes": 3, "tries": 2}])


def read_of(risk: float | None = None, **read: Any) -> Any:
    found = guessed(heights(), **GUESS, further="none", read=read, risk=risk).read
    assert found is not None
    return found


def test_a_read_of_counts_by_hand() -> None:
    found = read_of(kind="counts", counts={"stand_guard": 2, "crouch_guard": 8}, prior=3)
    # The prior weighs 3 and is spread 2 to 1 as their mix: (2 + 2) / 13 and (8 + 1) / 13.
    assert found.expected == pytest.approx({"Stand Guard": 4 / 13, "Crouch Guard": 9 / 13})
    assert found.best == ["Mid"] and found.earns == pytest.approx(20 * 9 / 13)
    assert found.mix_earns == pytest.approx(20 / 3)
    assert found.exposure == 0 and found.worst_reply == "Stand Guard" and found.unused == []


def test_a_stronger_read_needs_fewer_observations() -> None:
    needed = [
        read_of(kind="counts", counts={"stand_guard": 20 - n, "crouch_guard": n}).observations for n in (10, 14, 19)
    ]
    assert needed == sorted(needed, reverse=True) and needed[0] > needed[-1] > 0


def test_odds_and_how_far_the_mix_leans() -> None:
    odds = {"kind": "odds", "odds": {"stand_guard": 1, "crouch_guard": 3, "jab": 5}}
    calm, bold = read_of(0.0, **odds), read_of(1000.0, **odds)
    assert calm.unused == ["jab"]
    assert calm.expected == pytest.approx({"Stand Guard": 0.25, "Crouch Guard": 0.75})
    assert calm.lean.worst == pytest.approx(20 / 3) and calm.lean.earns == pytest.approx(20 / 3)
    assert bold.lean.mix == pytest.approx({"Mid": 1.0})
    assert bold.lean.earns == pytest.approx(bold.earns) == pytest.approx(15)


def test_a_read_of_nothing_here() -> None:
    with pytest.raises(AdvisorError, match="nothing of the read") as found:
        read_of(kind="odds", odds={"stand_gard": 1})
    assert "stand_guard" in str(found.value.help)


ASKED = ("marl", "wenna", "--advantage", "4", "--held", "blockstun", "--at", "close")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--trial", "soot_jab"), "`--trial soot_jab` is not of the form OPTION=K/N"),
        (("--trial", "soot_jab=7"), "`--trial soot_jab=7` is not of the form OPTION=K/N"),
        (("--seen", "stand_guard=many"), "`many` is not a whole number"),
        (("--seen", "=3"), "`--seen =3` is not of the form ID=COUNT"),
        (("--odds", "stand_guard=x"), "`x` is not a number"),
        (("--odds", "stand_guard=nan"), "`nan` is not a number"),
        (("--down-worth", "face_up"), "`--down-worth face_up` is not of the form ID=NUMBER"),
        (("--seen", "stand_guard=1", "--odds", "stand_guard=1"), "both `--seen` and `--odds`"),
    ],
)
def test_options_of_guess_that_cannot_be_read(words: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(command, [*ASKED, *words], env={"COLUMNS": "200"})
    assert result.exit_code == 2 and isinstance(result.exception, SystemExit)
    assert said in " ".join(result.stderr.split()) and "Traceback" not in result.output


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--comeback", "0.25"), "SHARE=TIMES"), (("--comeback", "2=3"), "--comeback"), (("--clock", "soon"), "--clock")],
)
def test_options_of_round_that_cannot_be_read(words: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(round_command, ["marl", "wenna", "--at", "close", *words], env={"COLUMNS": "200"})
    assert result.exit_code == 2 and isinstance(result.exception, SystemExit)
    assert said in result.stderr


def test_json_is_what_the_library_says() -> None:
    words = [*ASKED, "--trial", "soot_jab=7/12", "--json"]
    result = CliRunner().invoke(command, words)
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert found["lower"] <= found["value"] <= found["upper"]
    assert [row["chance"] for row in found["execution"]] == pytest.approx([7.5 / 13] * len(found["execution"]))
