"""Every rule that comes with the product speaks of something that can happen."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec
import pytest

from advisor.advice import advise
from advisor.facts import Question
from advisor.facts.question import Fighter, Whiffed
from advisor.pack.model import Pack
from advisor.units import Span
from tests.unit.advice.demo import Onlooker, shelf, swept

# One process answers the sweep of questions, for all tests that look at it.
pytestmark = pytest.mark.xdist_group("sweep")

ROOT = Path(__file__).parents[2]
CORE = ROOT / "rules" / "core"


def fired(pack: Pack, question: Question) -> set[str]:
    """Rules that fire on one question."""
    onlooker = Onlooker(shelf().evaluator)
    advise(pack, shelf().rules, onlooker, question)
    return {c.rule for c in onlooker.conclusions}


def breaking_in_recovery() -> set[str]:
    """As a game in which a grip can be broken in recovery too."""
    pack = shelf().pack
    inside = pack.conventions.breakable_in
    assert inside is not None
    conventions = msgspec.structs.replace(pack.conventions, breakable_in=inside | {"recovery"})
    asked = Question(
        me=Fighter(character="marl"), them=Fighter(character="ilko"),
        moment=Whiffed(attacker="them", move="comb_lift"), distance=0.4,
    )  # fmt: skip
    return fired(msgspec.structs.replace(pack, conventions=conventions), asked)


def landing_late() -> set[str]:
    """As a hop that stays off the floor until it is over."""
    pack = shelf().pack
    ilko = pack.characters["ilko"]
    hop = ilko.moves["over_the_box"]
    assert hop.total is not None
    late = msgspec.structs.replace(hop, airborne=(Span(6, hop.total + 1),))
    fresh = msgspec.structs.replace(ilko, moves={**ilko.moves, hop.id: late})
    asked = Question(
        me=Fighter(character="marl"), them=Fighter(character="ilko"),
        moment=Whiffed(attacker="them", move=hop.id), distance=0.4,
    )  # fmt: skip
    return fired(msgspec.structs.replace(pack, characters={**pack.characters, "ilko": fresh}), asked)


ELSEWHERE: Mapping[str, object] = {
    "punish/breakable-throw": breaking_in_recovery,
    "punish/airborne-recovery": landing_late,
}
"""Rules for what the demo game rules out, each with a variation of that game in which it fires."""


@pytest.mark.full
def test_every_core_rule_fires_on_some_question() -> None:
    core = {path.relative_to(CORE).with_suffix("").as_posix() for path in CORE.rglob("*.yaml")}
    rules = {name for name in core if name in shelf().rules.rules}
    silent = {name for name in rules if not swept().fired[name]}
    assert not silent - set(ELSEWHERE), f"never fire: {sorted(silent - set(ELSEWHERE))}"


def test_the_rules_that_the_demo_game_rules_out_fire_in_another() -> None:
    for name, variation in ELSEWHERE.items():
        assert callable(variation)
        assert name in variation(), name


def test_every_file_of_the_core_is_loaded_or_retired() -> None:
    for path in CORE.rglob("*.yaml"):
        name = path.relative_to(CORE).with_suffix("").as_posix()
        retired = "\nstatus: retired" in path.read_text(encoding="utf-8")
        assert (name in shelf().rules.rules) is not retired, name
