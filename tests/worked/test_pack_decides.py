"""What is data is data: a rule file or a changed line of a pack changes the advice, and no code does."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from advisor.advice import Advice
from advisor.errors import DataError
from advisor.facts import Question
from advisor.library import load_shelf
from tests.worked.asked import EVALUATORS, FOLDER, agreed, blocked_by_them, question

WARY = """\
id: quay/wary
title: On a wet quay nobody waits
scope: exchange
status: stable
why: The planks are wet.
when:
  - {fact: mine.option, is: still_water}
  - {fact: theirs.tags, has: hand}
conclude: {verdict: loses, tags: [wet_planks], caution: "mind the planks under {mine.name}"}
because: "{mine.name} slips against {theirs.name}."
"""
LIKED = """\
id: quay/liked
title: The guard is what the quay likes least
scope: response
status: stable
why: House taste.
when:
  - {fact: response.option, is: guard}
conclude: {prefer: -50, tags: [disliked]}
because: "{response.name} is not liked here."
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the worked pack that a test may change."""
    copied = tmp_path / FOLDER.name
    shutil.copytree(FOLDER, copied)
    return copied


def add_rule(folder: Path, name: str, text: str) -> Path:
    path = folder / "rules" / f"{name}.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    path.write_text(text.replace(old, new), encoding="utf-8")


def advice(folder: Path, asked: Question) -> Advice:
    """By both evaluators, which must agree on rules of a pack as well."""
    return agreed(asked, [load_shelf(folder, engine=engine) for engine in EVALUATORS])


BAIT = question(blocked_by_them("mooring_hop"), mine=["still_water", "guard", "quick_tap"], theirs=["ten_punch"])


def test_a_rule_file_changes_verdict_order_tags_and_cautions(folder: Path) -> None:
    before = advice(folder, BAIT)
    assert [(r.option, r.verdict) for r in before.responses] == [
        ("still_water", "beats"), ("guard", "holds"), ("quick_tap", "loses"),
    ]
    add_rule(folder, "quay/wary", WARY)
    after = advice(folder, BAIT)
    assert after.responses[0].option == "guard"
    parry = next(r for r in after.responses if r.option == "still_water")
    against = parry.against[0]
    # The core rule still speaks; of two verdicts the more cautious holds.
    assert (parry.verdict, against.verdict, against.effect) == ("loses", "loses", "parried")
    assert {"wet_planks", "parry"} <= set(against.tags)
    assert {"quay/wary", "parry/catches"} <= {reason.rule for reason in against.reasons}
    assert "Still Water slips against Ten Punch." in [reason.sentence for reason in against.reasons]
    assert "mind the planks under Still Water" in parry.cautions
    assert after.pack.rules != before.pack.rules
    untouched = [next(r for r in a.responses if r.option == "quick_tap") for a in (before, after)]
    assert untouched[0] == untouched[1]


def test_a_rule_file_changes_the_order_within_a_verdict(folder: Path) -> None:
    # Fast enough to be blocked safely, or not to be struck at all: both hold against a punch out of reach.
    asked = question(-4, mine=["guard", "leap"], theirs=["guard"])
    before = advice(folder, asked)
    assert {r.verdict for r in before.responses} == {"holds"}
    assert [r.option for r in before.responses] == ["guard", "leap"]
    add_rule(folder, "quay/liked", LIKED)
    after = advice(folder, asked)
    assert [(r.option, r.verdict) for r in after.responses] == [("leap", "holds"), ("guard", "holds")]
    assert "disliked" in after.responses[1].tags


def test_a_rule_of_the_pack_replaces_one_of_the_core(folder: Path) -> None:
    own = WARY.replace("quay/wary", "parry/catches")
    own = own.replace("status: stable", "status: stable\nreplaces: parry/catches")
    add_rule(folder, "parry/catches", own.replace("verdict: loses", "verdict: trades"))
    parry = next(r for r in advice(folder, BAIT).responses if r.option == "still_water")
    assert parry.against[0].verdict == "trades"
    assert "parry" not in parry.against[0].tags


def test_a_retired_rule_no_longer_speaks(folder: Path) -> None:
    before = advice(folder, BAIT)
    add_rule(folder, "quay/wary", WARY.replace("status: stable", "status: retired"))
    assert advice(folder, BAIT).responses == before.responses


def test_a_rule_speaks_of_the_words_of_its_pack(folder: Path) -> None:
    edit(folder / "pack.yaml", "  grip: a hold\n", "  grip: a hold\n  wet: leaves the planks wet\n")
    file = folder / "characters" / "torrow.yaml"
    punch = next(line for line in file.read_text(encoding="utf-8").splitlines() if "id: ten_punch" in line)
    edit(file, punch, punch.replace("tags: [hand]", "tags: [hand, wet]"))
    add_rule(folder, "quay/wary", WARY.replace("has: hand", "has: wet"))
    verdicts = {r.option: r.verdict for r in advice(folder, BAIT).responses}
    assert verdicts["still_water"] == "loses"


# --- a level of one's own -------------------------------------------------------------------------

LOW = "  low: {hits: [standing, crouching, grounded], blocked_by: [crouching]}"


def test_a_low_that_no_longer_misses_the_air(folder: Path) -> None:
    asked = question(0, mine=["ankle_rope"], theirs=["leap"])
    before = advice(folder, asked).responses[0].against[0]
    assert (before.verdict, before.by, before.effect) == ("holds", "none", "none")
    edit(folder / "pack.yaml", LOW, "  low: {hits: [standing, crouching, airborne, grounded], blocked_by: [crouching]}")
    after = advice(folder, asked).responses[0].against[0]
    assert (after.verdict, after.by, after.effect, after.frame) == ("beats", "me", "hit", 12)


def test_a_low_that_a_standing_guard_stops(folder: Path) -> None:
    """The guard of the pack takes any of its guards; with only the standing one it is opened by the low."""
    edit(folder / "pack.yaml", "with: [standing, crouching]", "with: [standing]")
    asked = question(0, mine=["ankle_rope"], theirs=["guard"])
    before = advice(folder, asked).responses[0].against[0]
    assert (before.verdict, before.effect) == ("beats", "hit")
    edit(folder / "pack.yaml", LOW, LOW.replace("blocked_by: [crouching]", "blocked_by: [crouching, standing]"))
    after = advice(folder, asked).responses[0].against[0]
    assert (after.verdict, after.effect) == ("holds", "blocked")


def test_the_same_frame_table_is_the_packs(folder: Path) -> None:
    asked = question(0, mine=["quick_tap"], theirs=["ten_punch"])
    before = advice(folder, asked).responses[0]
    assert (before.verdict, before.against[0].effect) == ("trades", "trade")
    edit(folder / "pack.yaml", "throws: {breaks", "same_frame: {strike_strike: first}\nthrows: {breaks")
    after = advice(folder, asked).responses[0]
    assert (after.verdict, after.against[0].by) == ("beats", "me")


def test_the_way_of_counting_startup_is_the_packs(folder: Path) -> None:
    """Counted before the first active frame, a startup of 10 touches on 11: the -10 is no longer punished."""
    asked = question(10, mine=["quick_tap"], theirs=["guard"])
    assert advice(folder, asked).responses[0].verdict == "guaranteed"
    edit(folder / "pack.yaml", "startup_counts: first_active", "startup_counts: before_active")
    after = advice(folder, asked).responses[0]
    assert (after.verdict, after.first_active) == ("holds", 11)


# --- mistakes are refused where they stand ------------------------------------------------------------

MISTAKES = [
    ("{fact: mine.option, is: still_water}", "{fact: mine.optoin, is: still_water}", 7, "did you mean `mine.option`"),
    ("{fact: theirs.tags, has: hand}", "{fact: theirs.tags, has: hnad}", 8, "did you mean `hand`?"),
    ("{fact: theirs.tags, has: hand}", "{fact: theirs.first_active, at_least: soon}", 8, ""),
    ("verdict: loses", "verdict: looses", 9, "did you mean `loses`?"),
    ("against {theirs.name}.", "against {theirs.nmae}.", 10, "did you mean `theirs.name`"),
    ("scope: exchange", "scope: exchanges", 3, "did you mean `exchange`?"),
    ("id: quay/wary", "id: quay/weary", 1, ""),
    ("status: stable", "status: stable\nstatus: draft", 5, ""),
]


@pytest.mark.parametrize(("right", "wrong", "line", "help"), MISTAKES, ids=[m[1] for m in MISTAKES])
def test_a_rule_with_a_mistake_is_refused_with_file_and_line(
    folder: Path, right: str, wrong: str, line: int, help: str
) -> None:
    assert right in WARY
    path = add_rule(folder, "quay/wary", WARY.replace(right, wrong))
    with pytest.raises(DataError) as refused:
        load_shelf(folder, engine="plain")
    found = [f for f in refused.value.findings if f.severity == "error"]
    assert [(f.file, f.line) for f in found] == [(path.as_posix(), line)], found
    assert found[0].column >= 1
    assert help in found[0].help
    assert f"{path.as_posix()}:{line}:" in str(refused.value)


def test_a_core_rule_may_not_be_taken_by_accident(folder: Path) -> None:
    path = add_rule(folder, "parry/catches", WARY.replace("quay/wary", "parry/catches"))
    with pytest.raises(DataError) as refused:
        load_shelf(folder, engine="plain")
    (found,) = refused.value.findings
    assert (found.file, found.line, found.code) == (path.as_posix(), 1, "rule-duplicate")
