"""Every refusal of the rule linter: a rule with one fault in, its code, line and help out."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.errors import DataError, Finding
from advisor.rules import RuleSet, load_rules, load_vocabulary
from tests.unit.rules.generated import VOCABULARY

GOOD = """\
id: duel/first
title: Mine comes first
scope: exchange
status: stable
why: Who is free first touches first.
when:
  - {fact: mine.first_active, at_most: 12}
  - {fact: exchange.reaches, is: true}
unless:
  - {fact: mine.tags, has: foot}
conclude: {verdict: beats, tags: [fast], prefer: 2}
because: "It touches on frame {mine.first_active}."
"""

WORDS = {"level": frozenset({"high", "mid", "low"}), "tag": frozenset({"hand", "foot", "tool"})}

FIRST = "{fact: mine.first_active, at_most: 12}"
CONCLUDE = "{verdict: beats, tags: [fast], prefer: 2}"


def load(root: Path, *texts: tuple[str, str]) -> RuleSet:
    for name, text in texts:
        path = root / f"{name}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return load_rules([root], load_vocabulary(VOCABULARY), words=WORDS)


def findings(root: Path, *texts: tuple[str, str]) -> tuple[Finding, ...]:
    with pytest.raises(DataError) as caught:
        load(root, *texts)
    return caught.value.findings


def test_the_good_rule_is_good(tmp_path: Path) -> None:
    rules = load(tmp_path, ("duel/first", GOOD)).rules
    assert list(rules) == ["duel/first"]


# what is replaced, by what, the code, the line, a part of the help
CASES = [
    (FIRST, "{fact: mine.frist_active, at_most: 12}", "rule-unknown-fact", 7, "`mine.first_active` (frames)?"),
    (FIRST, "{fact: mine.active, is: {fact: situation.advantag}}", "rule-unknown-fact", 7, "advantage` (frames)"),
    (FIRST, "{fact: other.mine.reech, above: 1}", "rule-unknown-fact", 7, "`other.mine.reach` (pace)?"),
    (FIRST, "{fact: mine.first_active, at_mots: 12}", "rule-unknown-operator", 7, "did you mean `at_most`?"),
    (FIRST, "{fact: mine.first_active, at_most: 12, above: 2}", "rule-several-operators", 7, "one condition for each"),
    (FIRST, "{fact: mine.first_active}", "rule-no-operator", 7, "at_least"),
    (FIRST, "{facts: mine.first_active, at_most: 12}", "rule-shape", 7, "did you mean `fact`?"),
    (FIRST, "first", "rule-shape", 7, ""),
    (FIRST, '{fact: mine.first_active, at_most: "12"}', "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.first_active, at_most: 12.5}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.first_active, at_most: true}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.first_active, at_most: 99000000}", "rule-number-range", 7, ""),
    (FIRST, "{fact: mine.first_active, in: 12}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.first_active, in: []}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.first_active, known: 1}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: exchange.reaches, is: 1}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: exchange.reaches, at_least: true}", "rule-operator-type", 7, "is, is_not, known"),
    (FIRST, "{fact: mine.level, above: mid}", "rule-operator-type", 7, "is, is_not, in, not_in, known"),
    (FIRST, "{fact: mine.tags, is: hand}", "rule-operator-type", 7, "has, has_not, known"),
    (FIRST, "{fact: mine.first_active, has: hand}", "rule-operator-type", 7, ""),
    (FIRST, "{fact: mine.name, is: jab}", "rule-text-fact", 7, ""),
    (FIRST, "{fact: mine.name, known: true}", "rule-text-fact", 7, ""),
    (FIRST, "{fact: exchange.effect, is: blokced}", "rule-word-unknown", 7, "did you mean `blocked`?"),
    (FIRST, "{fact: exchange.effect, in: [hit, blokced]}", "rule-word-unknown", 7, "did you mean `blocked`?"),
    (FIRST, "{fact: mine.level, is: hihg}", "rule-word-unknown", 7, "did you mean `high`?"),
    (FIRST, "{fact: mine.tags, has: elbow}", "rule-word-unknown", 7, "foot, hand, tool"),
    (FIRST, '{fact: theirs.move, is: "jab\\n\\"x"}', "rule-literal-type", 7, ""),
    (FIRST, '{fact: theirs.move, is: "\\u00e4"}', "rule-literal-type", 7, ""),
    (FIRST, "{fact: theirs.move, is: 'two words'}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: theirs.move, is: " + 201 * "a" + "}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.level, is: {fact: mine.reach}}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: mine.level, is: {sum: [1, 2]}}", "rule-literal-type", 7, ""),
    (FIRST, "{fact: response.worst, above: 1}", "rule-scope-mismatch", 7, "scope: response"),
    (FIRST, "{fact: other.situation.distance, above: 1}", "rule-scope-mismatch", 7, "read `situation.distance`"),
    (FIRST, "{fact: mine.reach, above: {quotient: [mine.reach, 2]}}", "rule-division", 7, "product"),
    (FIRST, "{fact: mine.reach, above: {sum: [mine.reach]}}", "rule-shape", 7, ""),
    (FIRST, "{fact: mine.reach, above: {difference: [mine.reach, 1, 2]}}", "rule-shape", 7, ""),
    (FIRST, "{fact: mine.reach, above: {summ: [mine.reach, 1]}}", "rule-unknown-operator", 7, "did you mean `sum`?"),
    (FIRST, "{fact: mine.reach, above: {sum: [mine.level, 1]}}", "rule-arithmetic-type", 7, ""),
    (FIRST, "{fact: mine.reach, above: {sum: [true, 1]}}", "rule-arithmetic-type", 7, ""),
    (FIRST, "{fact: mine.reach, above: {sum: [mine.reech, 1]}}", "rule-unknown-fact", 7, "mine.reach"),
    (
        FIRST, "{fact: mine.reach, above: {product: [mine.reach, mine.damage, 5]}}", "rule-arithmetic-range", 7,
        "multiply fewer",
    ),
    (FIRST, "{any: []}", "rule-empty", 7, ""),
    (FIRST, "{any: [{fact: mine.reach, above: 1}], fact: mine.reach}", "rule-key-unknown", 7, ""),
    (FIRST, "{any: {fact: mine.reach, above: 1}}", "rule-shape", 7, ""),
    (FIRST, "{not: {any: [{fact: mine.reech, above: 1}]}}", "rule-unknown-fact", 7, "mine.reach"),
    (CONCLUDE, "{verdict: beets}", "rule-verdict-unknown", 11, "did you mean `beats`?"),
    (CONCLUDE, "{verdict: beats, prefer: 101}", "rule-prefer-range", 11, ""),
    (CONCLUDE, "{verdict: beats, prefer: 1.5}", "rule-prefer-range", 11, ""),
    (CONCLUDE, "{verdict: beats, tag: [a]}", "rule-key-unknown", 11, "did you mean `tags`?"),
    (CONCLUDE, "{verdict: beats, tags: fast}", "rule-shape", 11, ""),
    (CONCLUDE, "{}", "rule-empty", 11, ""),
    (CONCLUDE, "beats", "rule-shape", 11, ""),
    (CONCLUDE, "{facts: {mine.reach: 3}}", "rule-derives", 11, "derived: true"),
    (CONCLUDE, "{facts: {exchange.margn: 3}}", "rule-unknown-fact", 11, "exchange.margin"),
    (CONCLUDE, "{facts: {response.rank: 3}}", "rule-scope-mismatch", 11, ""),
    (CONCLUDE, "{facts: {exchange.margin: 1.5}}", "rule-literal-type", 11, ""),
    (CONCLUDE, "{facts: {exchange.margin: {sum: [mine.reach, 1]}}}", "rule-literal-type", 11, ""),
    (CONCLUDE, "{facts: {exchange.marks: good}}", "rule-literal-type", 11, ""),
    (CONCLUDE, "{facts: {exchange.room: {sum: [other.mine.reach, 1]}}}", "rule-other", 11, "other."),
    (CONCLUDE, '{caution: "mind {mine.reech}"}', "rule-slot-unknown", 11, "mine.reach"),
    (CONCLUDE, '{caution: "mind {other.mine.reach}"}', "rule-other", 11, ""),
    (CONCLUDE, "{caution: 3}", "rule-shape", 11, ""),
    ("{mine.first_active}.", "{mine.first_actve}.", "rule-slot-unknown", 12, "mine.first_active"),
    ("{mine.first_active}.", "{response.worst}.", "rule-scope-mismatch", 12, ""),
    ("{mine.first_active}.", "{{mine.first_active}.", "rule-brace", 12, ""),
    ("{mine.first_active}.", "{mine.first_active.", "rule-brace", 12, ""),
    ("id: duel/first", "id: duel/second", "rule-id", 1, "duel/first"),
    ("id: duel/first", "id: Duel", "rule-id", 1, "family/name"),
    ("title: Mine comes first\n", "", "rule-key-missing", 1, "title"),
    ("title: Mine comes first", "titel: Mine comes first\ntitle: x", "rule-key-unknown", 2, "did you mean `title`?"),
    ("title: Mine comes first", "title: 3", "rule-shape", 2, ""),
    ("scope: exchange", "scope: exchnage", "rule-scope", 3, "did you mean `exchange`?"),
    ("scope: exchange", "scope: situation", "rule-scope", 3, "exchange, response"),
    ("status: stable", "status: stabel", "rule-status", 4, "did you mean `stable`?"),
    ("status: stable", "status: stable\nreplaces: duel/frist", "rule-replaces-unknown", 5, "`duel/first`?"),
    ("why: Who", "why: &a Who", "anchor-refused", 5, ""),
]  # fmt: skip


NAMES = [f"{case[2]}-{index}" for index, case in enumerate(CASES)]


@pytest.mark.parametrize(("old", "new", "code", "line", "help"), CASES, ids=NAMES)
def test_refused(old: str, new: str, code: str, line: int, help: str, tmp_path: Path) -> None:
    assert GOOD.count(old) == 1
    found = findings(tmp_path, ("duel/first", GOOD.replace(old, new)))
    assert [(f.code, f.line) for f in found] == [(code, line)], [f.shown() for f in found]
    assert help in found[0].help
    assert found[0].file.endswith("duel/first.yaml")
    assert "<class" not in found[0].message
    assert "None" not in found[0].message


def test_empty_when(tmp_path: Path) -> None:
    text = GOOD.replace(f"\n  - {FIRST}\n  - {{fact: exchange.reaches, is: true}}", " []")
    assert [(f.code, f.line) for f in findings(tmp_path, ("duel/first", text))] == [("rule-empty", 6)]


def test_all_faults_of_all_files_at_once(tmp_path: Path) -> None:
    one = GOOD.replace("at_most", "at_mots").replace("verdict: beats", "verdict: beets")
    two = GOOD.replace("duel/first", "duel/second").replace("mine.tags", "mine.tgas")
    found = findings(tmp_path, ("duel/first", one), ("duel/second", two))
    codes = ["rule-unknown-operator", "rule-verdict-unknown", "rule-unknown-fact"]
    assert [f.code for f in found] == codes
    assert [f.path for f in found] == ["when[0].at_mots", "conclude.verdict", "unless[0].fact"]


def wide(parts: int) -> str:
    pair = "{any: [{fact: mine.reach, above: %d}, {fact: mine.active, above: %d}]}"
    return GOOD.replace(FIRST, "\n  - ".join(pair % (i, i) for i in range(parts)))


def test_too_many_alternatives(tmp_path: Path) -> None:
    # 2**4 = 16 alternatives are allowed, 2**5 = 32 are not.
    load(tmp_path / "a", ("duel/first", wide(4)))
    found = findings(tmp_path / "b", ("duel/first", wide(5)))
    assert [(f.code, f.line) for f in found] == [("rule-too-wide", 7)]


def many_joins(count: int) -> str:
    join = "{fact: mine.reach, at_least: {sum: [situation.distance, %d]}}"
    return GOOD.replace(FIRST, "\n  - ".join(join % i for i in range(count)))


def test_too_many_joins(tmp_path: Path) -> None:
    load(tmp_path / "a", ("duel/first", many_joins(27)))
    found = findings(tmp_path / "b", ("duel/first", many_joins(28)))
    assert [(f.code, f.line) for f in found] == [("rule-too-many-tests", 7)]


def deriving(name: str, reads: str, fact: str) -> tuple[str, str]:
    text = GOOD.replace("duel/first", name).replace(FIRST, f"{{fact: {reads}, known: true}}")
    return name, text.replace(CONCLUDE, f"{{facts: {{{fact}: {1 if fact.endswith('room') else 2}}}}}")


def test_a_circle_of_derived_facts_is_named(tmp_path: Path) -> None:
    one = deriving("duel/a", "exchange.room", "exchange.margin")
    two = deriving("duel/b", "exchange.margin", "exchange.room")
    found = findings(tmp_path, one, two)
    assert [(f.code, f.line) for f in found] == [("rule-cycle", 7)]
    assert "exchange.room -> exchange.margin -> exchange.room" in found[0].message


def test_a_rule_that_reads_what_it_derives(tmp_path: Path) -> None:
    found = findings(tmp_path, deriving("duel/a", "exchange.room", "exchange.room"))
    assert [f.code for f in found] == ["rule-cycle"]


def test_one_id_in_two_roots(tmp_path: Path) -> None:
    vocabulary = load_vocabulary(VOCABULARY)
    load(tmp_path / "core", ("duel/first", GOOD))
    load(tmp_path / "pack", ("duel/first", GOOD))
    with pytest.raises(DataError) as caught:
        load_rules([tmp_path / "core", tmp_path / "pack"], vocabulary, words=WORDS)
    assert [(f.code, f.line) for f in caught.value.findings] == [("rule-duplicate", 1)]
    mine = GOOD.replace("status: stable", "status: stable\nreplaces: duel/first").replace("at_most: 12", "at_most: 9")
    (tmp_path / "pack/duel/first.yaml").write_text(mine)
    rules = load_rules([tmp_path / "core", tmp_path / "pack"], vocabulary, words=WORDS).rules
    assert [rule.file.split("/")[-3] for rule in rules.values()] == ["pack"]


def test_replaced_and_retired_rules_are_not_loaded(tmp_path: Path) -> None:
    second = GOOD.replace("duel/first", "duel/second").replace("status: stable", "status: draft\nreplaces: duel/first")
    retired = GOOD.replace("duel/first", "duel/third").replace("status: stable", "status: retired")
    assert list(load(tmp_path, ("duel/first", GOOD), ("duel/second", second), ("duel/third", retired)).rules) == [
        "duel/second"
    ]


def test_files_that_are_no_rule_files(tmp_path: Path) -> None:
    load(tmp_path, ("duel/first", GOOD))
    (tmp_path / "duel/second.yml").write_text(GOOD)
    (tmp_path / "duel/third.yaml").symlink_to(tmp_path / "duel/first.yaml")
    (tmp_path / "duel/fourth.yaml").write_text("[1, 2]")
    codes = {f.file.split("/")[-1]: f.code for f in findings(tmp_path)}
    assert codes == {"second.yml": "rule-file-name", "third.yaml": "rule-file-link", "fourth.yaml": "rule-shape"}


def test_a_root_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        load_rules([tmp_path / "none"], load_vocabulary(VOCABULARY))
    assert [f.code for f in caught.value.findings] == ["rule-root"]


def test_the_hash_follows_the_rules_not_the_place(tmp_path: Path) -> None:
    one = load(tmp_path / "a", ("duel/first", GOOD)).hash
    assert one == load(tmp_path / "b", ("duel/first", GOOD)).hash
    assert one != load(tmp_path / "c", ("duel/first", GOOD.replace("12", "13"))).hash
