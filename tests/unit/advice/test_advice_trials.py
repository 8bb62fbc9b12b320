"""Lab trials in advice: what they decide, what they only show, and what they leave alone.

What is expected follows from the rules that ``advice.tried`` states.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping
from typing import Any

import msgspec
import pytest
from scipy.stats import beta

from advisor.advice import Advice, ResponseAdvice, TrialRules, Tried
from advisor.advice.evidence import spread_of
from advisor.facts import Question
from advisor.facts.question import Blocked, Fighter, Neutral
from tests.unit.advice.demo import shelf

KNEE = Question(
    me=Fighter(character="wenna"), them=Fighter(character="marl"), distance="touching", limit=400,
    moment=Blocked(attacker="them", move="cinder_knee"),
)  # fmt: skip
HELD = msgspec.structs.replace(KNEE, replies=["guard", "soot_jab"])
EVEN = msgspec.structs.replace(KNEE, moment=Neutral(), replies=["guard", "soot_jab"])
Counts = Mapping[tuple[str, str | None], tuple[int, int]]


def asked(question: Question, counts: Counts | None = None, **more: Any) -> Advice:
    return shelf().ask(question, None if counts is None else Tried(counts=counts, **more))


def of(advice: Advice, option: str) -> ResponseAdvice:
    return next(r for r in advice.responses if r.option == option)


def one_with(advice: Advice, verdict: str, rows: list[str] | None = None) -> str:
    """A response with that verdict, and those of theory on its rows."""
    return next(
        r.option for r in advice.responses
        if r.verdict == verdict and (rows is None or [a.verdict for a in r.against] == rows)
    )  # fmt: skip


def test_a_guaranteed_punish_that_never_came_off_falls() -> None:
    theory, found = asked(KNEE), asked(KNEE, {("putty_jab", None): (0, 12)})
    assert theory.responses[0].option == "putty_jab" and theory.responses[0].verdict == "guaranteed"
    fallen = of(found, "putty_jab")
    assert fallen.verdict == "loses" and found.responses[0].verdict != "loses"
    assert fallen.evidence is not None and fallen.evidence.contradiction is not None
    assert fallen.evidence.contradiction.verdict == "guaranteed"
    assert "0 of 12" in fallen.sentence and "guaranteed" in fallen.sentence
    assert found.summary.startswith("The lab decides: ") and len(found.summary) <= 90
    assert "guaranteed" not in found.counts and sum(found.counts.values()) == found.considered
    short = asked(msgspec.structs.replace(KNEE, limit=3), {("putty_jab", None): (0, 12)})
    assert any("Putty Jab: theory: guaranteed; lab: 0 of 12" in caution for caution in short.cautions)


def test_few_failures_are_shown_and_not_followed() -> None:
    theory, found = asked(KNEE), asked(KNEE, {("putty_jab", None): (1, 3)})
    assert [(r.option, r.verdict) for r in found.responses] == [(r.option, r.verdict) for r in theory.responses]
    first = found.responses[0]
    assert first.evidence is not None and first.evidence.contradiction is None and found.summary == theory.summary
    nearly = asked(KNEE, {("putty_jab", None): (0, 7)}).responses[0]
    assert nearly.verdict == "guaranteed" and nearly.evidence is not None
    assert nearly.evidence.contradiction is not None and not nearly.evidence.contradiction.decisive
    assert any("0 of 7 came off, theory says guaranteed" in caution for caution in nearly.cautions)


def test_what_should_lose_and_works_rises() -> None:
    theory = asked(EVEN)
    losing = one_with(theory, "loses", ["loses", "loses"])
    found = asked(EVEN, {(losing, None): (11, 12)})
    risen = of(found, losing)
    assert risen.verdict == "beats"
    assert [r.option for r in found.responses].index(losing) < [r.option for r in theory.responses].index(losing)
    alone = asked(msgspec.structs.replace(EVEN, responses=[losing]), {(losing, None): (11, 12)})
    assert alone.summary.startswith(f"The lab decides: {risen.name[:30]}") and "worked 11 of 12" in alone.summary


@pytest.mark.parametrize("counts", [{("putty_jab", None): (0, 12)}, {("putty_jab", "guard"): (0, 12)}])
def test_shown_trials_change_nothing_but_the_evidence(counts: Counts) -> None:
    theory, found = (msgspec.to_builtins(a) for a in (asked(KNEE), asked(KNEE, counts, mode="show")))
    shown = found["responses"][0].pop("evidence")
    found["responses"][0]["against"][0].pop("evidence", None)
    assert found == theory
    assert shown["contradiction"]["decisive"] and shown["follow"] == "guaranteed"
    assert shown["sentence"].endswith("they disagree")


def test_trials_against_other_replies_do_not_count() -> None:
    plain = msgspec.json.encode(asked(EVEN))
    assert msgspec.json.encode(asked(EVEN, {("putty_jab", "ash_kick"): (0, 50), ("nothing", None): (0, 50)})) == plain
    assert msgspec.json.encode(asked(EVEN, {})) == plain
    assert b"evidence" not in plain


def test_single_replies_decide_by_what_the_verdicts_mean() -> None:
    both = one_with(asked(HELD), "beats", ["beats", "beats"])
    split = asked(HELD, {(both, "guard"): (0, 12), (both, "soot_jab"): (12, 12)})
    found = of(split, both)
    assert found.verdict == "risky" and [a.verdict for a in found.against] == ["beats", "beats"]
    assert [a.evidence.follow for a in found.against if a.evidence] == ["loses", "beats"]
    assert found.evidence is not None and (found.evidence.successes, found.evidence.tries) == (12, 24)
    assert found.evidence.sentence.endswith("the lab decides: loses against Guard (0 of 12)")
    neither = of(asked(HELD, {(both, "guard"): (0, 12), (both, "soot_jab"): (0, 12)}), both)
    assert neither.verdict == "loses"
    losing = one_with(asked(EVEN), "loses", ["loses", "loses"])
    assert of(asked(EVEN, {(losing, "guard"): (12, 12)}), losing).verdict == "risky"
    raised = of(asked(EVEN, {(losing, "guard"): (12, 12), (losing, "soot_jab"): (12, 12)}), losing)
    assert raised.verdict == "beats"
    bare = msgspec.structs.replace(HELD, explain="none")
    assert of(asked(bare, {(both, "guard"): (0, 12)}), both).verdict == "risky"


def test_the_players_spread_explains_failures() -> None:
    counts: Counts = {("putty_jab", None): (3, 20)}
    assert of(asked(KNEE, counts), "putty_jab").verdict == "loses"
    spread = spread_of([(1.0, 13, 100)])
    found = of(asked(KNEE, counts, spread=spread), "putty_jab")
    assert found.verdict == "guaranteed" and found.evidence is not None and "by its window" in found.evidence.sentence


def test_settings_move_what_decides() -> None:
    counts: Counts = {("putty_jab", None): (0, 12)}
    assert of(asked(KNEE, counts, rules=TrialRules(least=13)), "putty_jab").verdict == "guaranteed"


@pytest.mark.parametrize(("k", "n"), [(1, 3), (5, 9), (11, 12)])
def test_numbers_are_those_of_another_implementation(k: int, n: int) -> None:
    said = of(asked(KNEE, {("putty_jab", None): (k, n)}), "putty_jab").evidence
    assert said is not None
    after = beta(k + 0.5, n - k + 0.5)
    assert (said.mean, said.low, said.high) == pytest.approx((after.mean(), *after.interval(0.95)), rel=1e-9)


def test_advice_without_trials_loads_no_numbers() -> None:
    script = (
        "import sys\nimport msgspec\nfrom advisor.library import bundled_rules, load_shelf\n"
        "from advisor.advice import Tried\nfrom advisor.facts import Question\n"
        f"question = msgspec.json.decode({msgspec.json.encode(KNEE)!r}, type=Question)\n"
        "here = load_shelf(bundled_rules() / 'packs' / 'cold_frame', engine='plain')\n"
        "here.ask(question), here.ask(question, Tried(counts={('other', None): (1, 2)}))\n"
        "print([n for n in ('numpy', 'scipy', 'sqlalchemy') if n in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
