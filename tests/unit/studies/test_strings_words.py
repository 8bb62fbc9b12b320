"""What a string's answer says: hits by their number, combos, delayed hits, and what each ender beats and loses to."""

from __future__ import annotations

import json
import re
from functools import cache

import pytest
from click.testing import CliRunner

from advisor.clients.cli import main
from advisor.facts.question import Fighter
from advisor.studies.strings import StringsRequest, strings
from advisor.studies.strings_answer import StringLink, StringsAnswer
from advisor.studies.weighing import STANDS, WINS
from tests.unit.advice.demo import shelf

ASKED = ("strings", "ilko", "--starter", "sting", "--them", "wenna", "--at", "touching")
NUMBERS = re.compile(r"\(hit (\d+)\) arrives (\d+) frames after hit (\d+)")


@cache
def answered(character: str = "ilko", starter: str | None = "sting") -> StringsAnswer:
    at_hand = shelf()
    request = StringsRequest(
        character=character, starter=starter, them=Fighter(character="wenna"), distance="touching"
    )
    return strings(at_hand.pack, at_hand.rules, at_hand.evaluator, request)


def link(on: str, *path: str) -> StringLink:
    return next(found for found in answered().links if ((*found.after, found.move), found.on) == (path, on))


def test_the_hits_are_named_by_their_number_in_the_string() -> None:
    checked = 0
    for character in shelf().pack.characters:
        for found in answered(character, None).links:
            said = NUMBERS.search(found.sentence)
            if found.word in ("unknown", "misses"):
                continue
            assert said is not None, found.sentence
            assert found.arrives is not None
            length = len(found.after)
            assert [int(n) for n in said.groups()] == [length + 1, found.arrives.first, length]
            checked += length > 1
    assert checked >= 10


def test_a_later_pair_jails_when_blocked_and_combos_when_hit() -> None:
    blocked = link("block", "sting", "second_sting", "third_sting")
    landed = link("hit", "sting", "second_sting", "third_sting")
    assert (blocked.word, landed.word) == ("jails", "combos")
    assert blocked.sentence.endswith("inside the stun: hit 2 and hit 3 jail.")
    assert landed.sentence.endswith("inside the stun: hit 2 and hit 3 combo.")


def test_a_hit_that_can_wait_leaves_a_range_of_gaps() -> None:
    wait = link("block", "sting", "second_sting", "ankle_smoke")
    assert wait.gap is not None and wait.arrives is not None
    assert wait.gap.width == wait.arrives.width == 8
    assert wait.sentence.endswith(f"a gap of {wait.gap.first}. Delayed, it leaves a gap of up to {wait.gap.last}.")
    line = next(s for s in answered().strings if s.moves == ["sting", "second_sting", "ankle_smoke"])
    assert line.on_block[-1] == f"gap of {wait.gap.first}-{wait.gap.last}"


def test_each_ender_says_what_it_beats_and_what_it_loses_to() -> None:
    order = set()
    mixes = [mix for c in shelf().pack.characters for mix in answered(c, None).mixups]
    for mix in mixes:
        for choice in mix.choices:
            verdicts = {a.option: cell.verdict for a in mix.answers for cell in a.cells if cell.move == choice.move}
            assert set(choice.beats) == {k for k, v in verdicts.items() if v == "loses"}
            assert set(choice.loses_to) == {k for k, v in verdicts.items() if v in WINS}
            assert set(choice.stopped_by) == {k for k, v in verdicts.items() if v in STANDS}
            assert {*choice.beats, *choice.stopped_by, *choice.open} == set(verdicts)
            for word, some in (("beats", choice.beats), ("loses to", choice.loses_to), ("open against", choice.open)):
                assert (f"{word} " in choice.sentence) == bool(some), choice.sentence
                order |= {word} if some else set()
            assert choice.sentence.startswith(f"{choice.name} ({choice.level or 'level unknown'}) ")
    assert len(mixes) >= 4
    assert order == {"beats", "loses to", "open against"}


@pytest.mark.parametrize("as_json", [False, True])
def test_the_command_line_shows_all_of_it(as_json: bool) -> None:
    result = CliRunner().invoke(main, [*ASKED, *(["--json"] if as_json else [])], env={"COLUMNS": "200"})
    assert result.exit_code == 0, result.output
    if as_json:
        answer = json.loads(result.output)
        late = next(x for x in answer["links"] if x["move"] == "ankle_smoke" and x["on"] == "block")
        assert late["gap"] == {"first": 1, "last": 8}
        assert {x["word"] for x in answer["links"] if x["on"] == "hit"} >= {"combos", "combos_or_gap"}
        throw = next(c for m in answer["mixups"] for c in m["choices"] if c["move"] == "brood_grip")
        assert "standing_guard" in throw["beats"] and "crouching_guard" in throw["loses_to"]
        return
    text = " ".join(result.output.split())
    assert "Worker Sting, Second Sting, Ankle Smoke: on block jails, then gap of 1-8; on hit combos" in text
    assert "Ankle Smoke (hit 3) arrives 19 frames after hit 2: a gap of 1. Delayed, it leaves a gap of up to 8." in text
    assert re.search(r"Brood Grip \(throw\) beats Standing guard, .*; loses to Crouching guard, ", text)
