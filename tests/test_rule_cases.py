"""Every rule has cases, and every case comes out as written, whoever evaluates it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from advisor.rules import load_vocabulary
from tests.cases_runner import RuleFolder, problems
from tests.unit.rules.generated import VOCABULARY

ROOT = Path(__file__).parents[1]
CORE = ROOT / "rules" / "core"
CASES = ROOT / "tests" / "cases"


def folders() -> list[RuleFolder]:
    """The rules of the core, and of each pack that has some."""
    vocabulary = load_vocabulary(ROOT / "rules" / "vocabulary.yaml")
    found = [RuleFolder([CORE], CASES, vocabulary)]
    for rules in sorted((ROOT / "rules" / "packs").glob("*/rules")):
        found.append(RuleFolder([CORE, rules], CASES / "packs" / rules.parent.name, vocabulary))
    return found


EVERY = [(folder, name) for folder in folders() for name in folder.ids()]


@pytest.mark.parametrize(("folder", "name"), EVERY, ids=[name for _, name in EVERY])
def test_rule_and_its_cases(folder: RuleFolder, name: str) -> None:
    assert not problems(folder, name), "\n".join(problems(folder, name))


def test_no_case_folder_without_its_pack() -> None:
    packs = {path.name for path in (CASES / "packs").glob("*")}
    assert packs <= {path.parent.name for path in (ROOT / "rules" / "packs").glob("*/rules")}


# --- the runner itself ----------------------------------------------------------------------

RULE = """\
id: duel/first
title: Mine comes first
scope: exchange
status: stable
why: Who is free first touches first.
when:
  - {fact: mine.first_active, at_most: {sum: [situation.advantage, 2]}}
  - {fact: exchange.reaches, is: true}
conclude: {verdict: beats, tags: [fast], caution: "mind {mine.reach}", facts: {exchange.margin: 4}}
because: "At {situation.advantage} it touches on frame {mine.first_active}."
"""
GOOD = """\
rule: duel/first
situation: {situation.advantage: 8}
base: {mine.first_active: 10, exchange.reaches: true, mine.tags: [hand], mine.reach: 1.5}
cases:
  - name: the last frame
    fires: {verdict: beats, tags: [fast], because: "At +8 it touches on frame 10.", caution: mind 1.5,
            facts: {exchange.margin: 4}}
  - {name: one frame late, change: {mine.first_active: 11}, holds: true}
  - {name: less advantage, situation: {situation.advantage: 7}, holds: true}
  - {name: no reach known, drop: [exchange.reaches], open: [exchange.reaches]}
"""
FAULTS = [
    ("[fast], because", "[slow], because", "tags is ['fast'], not ['slow']"),
    ("verdict: beats", "verdict: risky", "verdict is 'beats'"),
    ("frame 10.", "frame 9.", "because is"),
    ("mind 1.5", "mind 2", "caution is"),
    ("exchange.margin: 4", "exchange.margin: 5", "facts is"),
    ("fires: {verdict", "fires: {verdikt: beats, verdict", "did you mean `verdict`?"),
    ("mine.first_active: 11", "mine.first_active: 10", "the rule fires"),
    ("mine.first_active: 11}, holds: true", "mine.first_active: 11}, fires: {}", "does not fire"),
    ("holds: true", "holds: false", "write `open`"),
    ("open: [exchange.reaches]", "open: [mine.reach]", "hangs on ['exchange.reaches'], not on ['mine.reach']"),
    ("open: [exchange.reaches]", "holds: true", "hangs on ['exchange.reaches']; write `open`"),
    ("open: [exchange.reaches]", "fires: {}", "it hangs on ['exchange.reaches']"),
    ("drop: [exchange.reaches]", "drop: [exchange.reches]", "is not there"),
    ("mine.first_active: 11", "mine.frist_active: 11", "did you mean `mine.first_active` (frames)?"),
    ("mine.first_active: 11", "situation.advantage: 11", "is a fact of the situation"),
    ("mine.first_active: 11", "exchange.effect: blokced", "did you mean `blocked`?"),
    ("name: one frame late, ", "", "needs a name"),
    ("holds: true", "holds: true, extra: 1", "needs a name"),
    ("rule: duel/first", "rule: duel/second", "is not `duel/first`"),
    ("base:", "basis:", "unknown keys ['basis']"),
    ("fires:", "open: [], fires:", "one of fires, holds, open"),
]  # fmt: skip


def made(root: Path, cases: str | None, rule: str = RULE) -> list[str]:
    for name, text in (("rules", rule), ("cases", cases)):
        if text is not None:
            path = root / name / "duel" / "first.yaml"
            path.parent.mkdir(parents=True)
            path.write_text(text, encoding="utf-8")
    return problems(RuleFolder([root / "rules"], root / "cases", load_vocabulary(VOCABULARY)), "duel/first")


def test_good_cases_have_no_problems(tmp_path: Path) -> None:
    assert made(tmp_path, GOOD) == []


@pytest.mark.parametrize(("old", "new", "said"), FAULTS, ids=[f"{i}-{f[2][:24]}" for i, f in enumerate(FAULTS)])
def test_a_faulty_case_is_a_problem(old: str, new: str, said: str, tmp_path: Path) -> None:
    assert old in GOOD
    if new.startswith("open: []"):
        text = GOOD.replace("    fires:", "    open: []\n    fires:", 1)
    else:
        text = GOOD.replace(old, new, 1)
    found = made(tmp_path, text)
    assert found
    assert any(said in problem for problem in found), found


def test_a_rule_without_cases_is_a_problem(tmp_path: Path) -> None:
    assert "no cases" in made(tmp_path, None)[0]


@pytest.mark.parametrize("kind", ["fires", "holds"])
def test_both_kinds_of_cases_are_needed(kind: str, tmp_path: Path) -> None:
    cut = GOOD.index("  - {name: one frame") if kind == "holds" else GOOD.index("  - name: the last")
    keep = GOOD[:cut] if kind == "holds" else GOOD[:cut] + GOOD[GOOD.index("  - {name: one frame") :]
    found = made(tmp_path, keep)
    assert [problem.split(": ")[-1] for problem in found] == [f"no case `{kind}`"]


def test_cases_without_a_rule_are_a_problem(tmp_path: Path) -> None:
    made(tmp_path, GOOD)
    shutil.copytree(tmp_path / "cases" / "duel", tmp_path / "cases" / "duels")
    folder = RuleFolder([tmp_path / "rules"], tmp_path / "cases", load_vocabulary(VOCABULARY))
    assert folder.ids() == ["duel/first", "duels/first"]
    assert "no rule `duels/first`; did you mean `duel/first`?" in problems(folder, "duels/first")[0]


def test_a_second_record(tmp_path: Path) -> None:
    rule = RULE.replace("{fact: exchange.reaches, is: true}", "{fact: mine.reach, above: {fact: other.mine.reach}}")
    cases = """\
rule: duel/first
situation: {situation.advantage: 8}
base: {mine.first_active: 10, mine.reach: 2}
cases:
  - {name: longer than the other, other: {mine.reach: 1.5}, fires: {other: 1}}
  - {name: as long, other: {mine.reach: 2}, holds: true}
  - {name: no other, holds: true}
  - {name: unknown, other: {mine.first_active: 10}, open: [other.mine.reach]}
"""
    assert made(tmp_path, cases, rule) == []
