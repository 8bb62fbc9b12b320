"""No answer has a sentence that a catalogue does not reach."""

from __future__ import annotations

import json
import re
from typing import Any

import msgspec
import pytest

from advisor.facts import Question
from advisor.facts.question import Blocked, Fighter
from advisor.library import Library
from advisor.notebook import Entry, Notebook, Sets
from advisor.notebook.next_lab import next_lab
from advisor.pack.model import Pack
from advisor.pictures.replay_strip import replay_svg
from advisor.sentences import speaking
from advisor.service.weighing.tasks import TASKS
from advisor.versions import AskedBefore, compare
from tests.unit.advice.demo import shelf
from tests.unit.sentences.pseudo_language import pack_words, places_only, texts, unsaid

BOUNDS: dict[str, dict[str, Any]] = {"setups": {"length": 2, "bound": 20_000}, "round": {"steps": 3}}
HEAVY = ("round",)
every_task = pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.full if name in HEAVY else ()) for name in TASKS]
)


def answered(name: str) -> Any:
    """The answer to a task's example (with small bounds) about the demo pack."""
    task = TASKS[name]
    library = Library(shelves={shelf().pack.id: shelf()}, default=shelf().pack.id)
    return task.run(library, msgspec.convert({**task.example, **BOUNDS.get(name, {})}, task.request))


def as_json(answer: Any) -> Any:
    return json.loads(msgspec.json.encode(answer))


def left_in_words(answer: Any) -> dict[str, str]:
    """By path, what no sentence said; an answer without any sentence proves nothing."""
    found = list(texts(as_json(answer)))
    assert sum("[[" in text for _, text in found) >= 3
    return {path: rest for path, text in found if (rest := unsaid(text))}


@every_task
def test_a_catalogue_reaches_every_word_of_an_answer(name: str) -> None:
    with places_only():
        assert left_in_words(answered(name)) == {}


def test_a_word_that_no_catalogue_has_is_seen() -> None:
    assert unsaid("[[Putty Jab|jail]]") == "[[|jail]]"
    assert unsaid("Putty Jab (from the air) [[+10|]]")
    assert not unsaid("[[Putty Jab|[[putty_jab: on block]]]] (10f)")


def test_a_catalogue_reaches_the_words_of_a_replay_strip() -> None:
    with places_only():
        svg = replay_svg(answered("replay"), None).decode()
        shown = re.findall(r"<(?:\w+:)?(?:text|title|desc)\b[^>]*>([^<]+)<", svg)
    assert len(shown) > 40
    assert [text for text in shown if unsaid(text)] == []


def changed(pack: Pack) -> Pack:
    """Two attacks of Marl's with other numbers, and one wake-up option fewer."""
    marl = pack.characters["marl"]
    knee, jab = marl.moves["cinder_knee"], marl.moves["soot_jab"]
    safe = msgspec.structs.replace(knee, hits=(msgspec.structs.replace(knee.hits[0], on_block=1), *knee.hits[1:]))
    slow = msgspec.structs.replace(jab, hits=(msgspec.structs.replace(jab.hits[0], on_block=-11), *jab.hits[1:]))
    marl = msgspec.structs.replace(marl, moves={**marl.moves, "cinder_knee": safe, "soot_jab": slow})
    state = next(iter(pack.conventions.knockdowns.values()))
    fewer = msgspec.structs.replace(state, wake_ups=state.wake_ups[1:])
    conventions = msgspec.structs.replace(
        pack.conventions, knockdowns={**pack.conventions.knockdowns, state.id: fewer}
    )
    return msgspec.structs.replace(pack, characters={**pack.characters, "marl": marl}, conventions=conventions)


def test_a_catalogue_reaches_the_words_of_a_comparison() -> None:
    old, new, rules, evaluator = shelf().pack, changed(shelf().pack), shelf().rules, shelf().evaluator
    asked = AskedBefore(name="knee", question=Question(
        me=Fighter(character="wenna"), them=Fighter(character="marl"),
        moment=Blocked(attacker="them", move="cinder_knee"), distance="touching",
    ))  # fmt: skip
    with places_only():
        found = compare(old, new, rules, evaluator, questions=[asked], distance="touching")
        assert {one.kind for one in found.consequences} == {"punish", "frame_class", "knockdown", "answer"}
        assert left_in_words(found) == {}


def test_a_catalogue_reaches_the_words_of_the_next_lab_list(notebook: Notebook) -> None:
    sets = Sets(notebook)
    sets.add("lab")
    library = Library(shelves={shelf().pack.id: shelf()}, default=shelf().pack.id)
    sides = {"me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching"}
    blocked = {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}
    down = {"kind": "knockdown", "state": "face_up", "frames": 20, "floored": "them"}
    some = {"responses": ["putty_jab", "against_frame", "guard"]}
    sets.add_entry("lab", Entry(name="knee", request={**sides, **some, "moment": blocked}))
    sets.add_entry("lab", Entry(name="floor", request={**sides, **some, "moment": down}))
    sets.add_entry("lab", Entry(name="parry", study="parries", request={"me": {"character": "wenna"}}))
    with places_only():
        found = next_lab(sets, "lab", notebook, library, tries=1)
        assert found.items
        assert left_in_words(found) == {"/left_out/reason": "[[parries]]"}, "the id of a study"


def test_the_first_question_is_answered_in_german() -> None:
    with speaking("de"):
        answer = as_json(answered("advice"))
    assert answer["summary"] == "Punish: Putty Jab (10f), 8 Schaden, garantiert"
    assert answer["situation"]["sentence"] == (
        "Cinder Knee von Dessa Marl wurde von Wenna Pallister geblockt: Du bist +10, auf 0.6 pace."
    )
    assert answer["responses"][0]["sentence"] == (
        "Der Gegner kann nicht handeln, bis Frame 10 vorbei ist; Putty Jab kommt auf Frame 10 an."
    )
    assert answer["responses"][0]["verdict"] == "guaranteed", "a word of the interface, not a sentence"
    english = re.compile(r"\b(they|cannot|lands|blocked|damage|guaranteed|beats|needs|against|is|it|you|the)\b")
    sentences = [text for path, text in texts(answer) if not path.endswith(("/name", "/input"))]
    assert len(sentences) > 50
    assert [text for text in sentences if english.search(pack_words().sub("", text))] == []
