"""The engine's fence: sessions that always end, limits, self-tests, and the choice of evaluator."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import durable_rules_engine
import psutil  # type: ignore[import-untyped,unused-ignore]
import pytest

from advisor.errors import Fault
from advisor.rules import EngineEvaluator, PlainEvaluator, engine_available, make_evaluator
from advisor.rules import compile as compile_module
from advisor.rules import engine as engine_module
from advisor.rules.engine import PAIR_LIMIT, fnv
from tests.unit.rules.generated import Data, rule, ruleset

FAST = rule("fast", [{"fact": "mine.first_active", "at_most": {"fact": "situation.advantage"}}])
LONGER = rule("longer", [{"fact": "mine.reach", "above": {"fact": "other.mine.reach"}}])


def records(count: int) -> list[Data]:
    return [{"mine.first_active": n % 20, "mine.reach": n % 7} for n in range(count)]


def test_more_questions_than_live_sessions(tmp_path: Path) -> None:
    # The engine holds 1,024 live sessions; every question must have given its own back.
    evaluator = EngineEvaluator(ruleset(tmp_path, FAST))
    asked = [evaluator.conclude("exchange", {"situation.advantage": n % 3}, records(3)) for n in range(1_200)]
    assert [len(found) for found in asked[:3]] == [1, 2, 3]
    assert evaluator.stats.sessions == 1_200
    assert evaluator.stats.firings == 2_400


def test_memory_stays_flat(tmp_path: Path) -> None:
    evaluator = EngineEvaluator(ruleset(tmp_path, FAST, LONGER))
    process, rows = psutil.Process(), records(12)

    def ask(times: int) -> int:
        for n in range(times):
            evaluator.conclude("exchange", {"situation.advantage": n % 20}, rows)
        return int(process.memory_info().rss)

    before = ask(400)
    assert ask(2_000) - before < 2_000_000


def test_a_question_that_fires_too_often_ends_its_session(tmp_path: Path) -> None:
    rules = ruleset(tmp_path, FAST)
    evaluator = EngineEvaluator(rules, firing_cap=25)
    for _ in range(1_100):  # would use up the live sessions if one were left open
        with pytest.raises(Fault, match="more than 25 rules fired"):
            evaluator.conclude("exchange", {"situation.advantage": 50}, records(100))
    few = records(20)
    wanted = PlainEvaluator(rules).conclude("exchange", {"situation.advantage": 50}, few)
    assert evaluator.conclude("exchange", {"situation.advantage": 50}, few) == wanted
    assert len(wanted) == 20


def test_a_question_that_takes_too_long_ends_its_session(tmp_path: Path) -> None:
    evaluator = EngineEvaluator(ruleset(tmp_path, LONGER), seconds=0.0)
    with pytest.raises(Fault, match=r"more than 0\.0 seconds"):
        evaluator.conclude("exchange", {}, records(100))
    assert evaluator.conclude("exchange", {}, records(2)) != []


def test_an_exception_from_the_engine_ends_the_session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    evaluator = EngineEvaluator(ruleset(tmp_path, FAST))
    deleted: list[str] = []

    class Broken:
        def __getattr__(self, name: str) -> Any:
            return getattr(durable_rules_engine, name)

        def assert_facts(self, _handle: int, _text: str) -> Any:
            raise RuntimeError("code 311")

        def delete_state(self, handle: int, session: str) -> None:
            deleted.append(session)
            durable_rules_engine.delete_state(handle, session)

    monkeypatch.setattr(engine_module, "_native", Broken())
    for _ in range(1_100):
        with pytest.raises(Fault, match="assert_facts: code 311"):
            evaluator.conclude("exchange", {"situation.advantage": 5}, records(2))
    assert len(deleted) == 1_100


def test_a_batch_that_the_engine_cut_short_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    evaluator = EngineEvaluator(ruleset(tmp_path, FAST))

    class Cutting:
        def __getattr__(self, name: str) -> Any:
            return getattr(durable_rules_engine, name)

        def assert_facts(self, handle: int, text: str) -> Any:
            # A row that does not parse ends the batch, and the engine still says it is well.
            broken = text.replace('"n":1,', '"n":1,"x":1e-05,')
            assert broken != text
            return durable_rules_engine.assert_facts(handle, broken)

    monkeypatch.setattr(engine_module, "_native", Cutting())
    with pytest.raises(Fault, match=r"did not take all facts|failed in assert_facts"):
        evaluator.conclude("exchange", {"situation.advantage": 50}, records(4))


def test_pairs_have_a_limit_and_others_have_not(tmp_path: Path) -> None:
    rules = ruleset(tmp_path, rule("pair", [{"fact": "other.mine.reach", "above": 5}, {"fact": "mine.reach", "is": 0}]))
    rows = [{"mine.reach": 0}, *({"mine.reach": 6 if n == 300 else 1} for n in range(PAIR_LIMIT - 1))]
    engine, plain = EngineEvaluator(rules), PlainEvaluator(rules)
    assert [(c.record, c.other) for c in engine.conclude("exchange", {}, rows)] == [(0, 301)]
    assert engine.conclude("exchange", {}, rows) == plain.conclude("exchange", {}, rows)
    with pytest.raises(Fault, match=f"{PAIR_LIMIT} at most, not {PAIR_LIMIT + 1}"):
        engine.conclude("exchange", {}, [*rows, {}])
    alone = ruleset(tmp_path / "alone", FAST)
    many = records(1_000)
    wanted = PlainEvaluator(alone).conclude("exchange", {"situation.advantage": 9}, many)
    assert EngineEvaluator(alone).conclude("exchange", {"situation.advantage": 9}, many) == wanted
    assert len(wanted) == 500


def test_many_rules_are_split_over_engine_rule_sets(tmp_path: Path) -> None:
    # More than 64 rules that look at one fact make the engine fail when it is asserted.
    many = [rule(f"r{n:03d}", [{"fact": "mine.first_active", "above": n % 19}]) for n in range(150)]
    rules = ruleset(tmp_path, *many)
    evaluator = EngineEvaluator(rules)
    found = evaluator.conclude("exchange", {}, records(20))
    assert found == PlainEvaluator(rules).conclude("exchange", {}, records(20))
    assert evaluator.stats.sessions == 3
    assert len(found) > 1_000


def test_many_columns_are_split_too(tmp_path: Path) -> None:
    words = [[f"w{n}", f"v{n}"] for n in range(250)]
    chunks = [words[i : i + 25] for i in range(0, 250, 25)]
    many = [
        rule(f"r{n:03d}", [{"fact": "theirs.move", "not_in": pair} for pair in chunk])
        for n, chunk in enumerate(chunks)
    ]
    rules = ruleset(tmp_path, *many)
    rows: list[Data] = [{"theirs.move": f"w{n}"} for n in range(0, 250, 10)]
    evaluator = EngineEvaluator(rules)
    found = evaluator.conclude("exchange", {}, rows)
    assert found == PlainEvaluator(rules).conclude("exchange", {}, rows)
    assert evaluator.stats.sessions > 1
    assert len(found) == len(rows) * 9


def test_nothing_to_say_asks_nothing(tmp_path: Path) -> None:
    evaluator = EngineEvaluator(ruleset(tmp_path, FAST))
    assert evaluator.conclude("exchange", {"situation.advantage": 3}, []) == []
    assert evaluator.conclude("response", {"situation.advantage": 3}, [{}]) == []
    assert evaluator.stats.sessions == 0


def test_self_test_reaches_every_branch(tmp_path: Path) -> None:
    beyond = {"fact": "mine.reach", "above": {"sum": ["situation.distance", 0.5]}}
    either = rule(
        "either",
        [
            {"any": [beyond, {"fact": "mine.reach", "known": False}]},
            {"fact": "theirs.move", "not_in": ["jab", "hook"]},
        ],
    )
    assert EngineEvaluator(ruleset(tmp_path, either, FAST, LONGER)).tested == 4


def test_self_test_refuses_a_rule_on_which_the_two_differ(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(compile_module._ORDER, "at_most", "$gt")
    flipped = rule("flipped", [{"fact": "mine.first_active", "at_most": 3}])
    with pytest.raises(Fault, match="differ on rule `made/flipped`"):
        EngineEvaluator(ruleset(tmp_path, flipped))


def test_ids_of_rows_cannot_collide() -> None:
    for session in engine_module._SESSIONS:
        start = fnv(f"{session}!")
        assert len({fnv(name, start) for name in engine_module._IDS}) == len(engine_module._IDS) == 62 * 62
    assert fnv("foobar") == 0xBF9CF968  # test vector of the FNV reference code


def test_choice_of_evaluator(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rules = ruleset(tmp_path, FAST)
    assert engine_available()
    assert isinstance(make_evaluator(rules, "auto"), EngineEvaluator)
    assert isinstance(make_evaluator(rules, "durable"), EngineEvaluator)
    assert isinstance(make_evaluator(rules, "plain"), PlainEvaluator)
    with pytest.raises(Fault, match="`fast`"):
        make_evaluator(rules, "fast")
    monkeypatch.setattr(engine_module, "_native", None)
    assert not engine_available()
    assert isinstance(make_evaluator(rules, "auto"), PlainEvaluator)
    with pytest.raises(Fault, match="not installed"):
        make_evaluator(rules, "durable")
