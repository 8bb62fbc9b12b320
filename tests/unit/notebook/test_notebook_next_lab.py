"""The next lab list: what comes first on small sets, worked by hand."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError, QuestionError
from advisor.library import Library, load_library
from advisor.notebook import Entry, Notebook, Sets, Trial, situation_of
from advisor.notebook.next_lab import NextLab, Trust, next_lab
from advisor.notebook.next_lab.plausible import plausible, with_move
from advisor.notebook.sets import request_type
from advisor.units import to_micro

KNEE: dict[str, Any] = {
    "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching",
    "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
    "responses": ["putty_jab", "against_frame", "guard"],
}  # fmt: skip


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library(engine="plain")


@pytest.fixture
def sets(notebook: Notebook) -> Sets:
    made = Sets(notebook)
    made.add("lab")
    return made


def add(sets: Sets, name: str, **more: Any) -> None:
    sets.add_entry("lab", Entry(name=name, request={**KNEE, **more}))


def lab(sets: Sets, notebook: Notebook, library: Library, **more: Any) -> NextLab:
    return next_lab(sets, "lab", notebook, library, **more)


def tried(notebook: Notebook, library: Library, response: str, successes: int, tries: int) -> None:
    situation = situation_of(msgspec.convert(KNEE, request_type(None)), library.shelf(None).pack)
    notebook.add(Trial(situation=situation, response=response, successes=successes, tries=tries))


def changed(library: Library, move: str, **hit: Any) -> Library:
    """The library with numbers of the first hit of a move of Wenna's."""
    shelf = library.shelf(None)
    own = shelf.pack.characters["wenna"].moves[move]
    fresh = msgspec.structs.replace(own, hits=(msgspec.structs.replace(own.hits[0], **hit), *own.hits[1:]))
    pack = with_move(shelf.pack, "wenna", fresh)
    return Library(shelves={pack.id: msgspec.structs.replace(shelf, pack=pack)}, default=pack.id)


def test_a_single_entry_by_hand(sets: Sets, notebook: Notebook, library: Library) -> None:
    """Putty Jab works, 0.8 x 8 = 6.4; Against the Frame (22, reach unknown) 0.5 x 22 = 11; guarding 0.

    A miss (1/2) leaves the latter 0.25 x 22 = 5.5, 0.9 below 6.4: a try is worth 0.45. One of Putty Jab
    leaves it at 8 x 5/6 < 11 at most. Against the Frame is too slow at any reach, so that its reach is worth nothing.
    """
    add(sets, "knee")
    found = lab(sets, notebook, library, tries=1)
    assert [(item.kind, item.option) for item in found.items] == [("trial", "against_frame")]
    item = found.items[0]
    assert (item.value, item.chance) == (pytest.approx(0.45), pytest.approx(0.5)) and item.value < item.perfect
    assert item.sentence.startswith("Try Against the Frame after a blocked Cinder Knee at touching (Wenna")
    assert (found.entries[0].advised, found.entries[0].best) == ("putty_jab", "against_frame")
    assert (found.trials, found.properties, found.complete) == (3, 1, True)
    assert found.left_out[0].reason == "whatever it is, Putty Jab is the best in knee"


def test_trials_move_what_is_best_and_what_is_left_to_learn(sets: Sets, notebook: Notebook, library: Library) -> None:
    """After 0 of 3 Against the Frame stands at 22 / 8 = 2.75; ten more could take it to 22 x 10.5 / 14 > 6.4."""
    add(sets, "knee")
    tried(notebook, library, "against_frame", 0, 3)
    found = lab(sets, notebook, library)
    assert found.entries[0].best == "putty_jab" and found.entries[0].worth == pytest.approx(6.4)
    first = {item.option: item.value for item in found.items}
    tried(notebook, library, "against_frame", 0, 200)
    later = {item.option: item.value for item in lab(sets, notebook, library).items}
    assert first["against_frame"] > 0.1 and later.get("against_frame", 0.0) == 0
    doubt = Trust(working=(1.0, 1.0))
    assert lab(sets, notebook, library, trust=doubt).entries[0].worth == pytest.approx(4.0)


def test_entries_of_a_situation_share_a_trial(sets: Sets, notebook: Notebook, library: Library) -> None:
    add(sets, "knee")
    alone = lab(sets, notebook, library).items[0]
    add(sets, "again", me={"character": "wenna", "health": 20.0})
    add(sets, "elsewhere", distance=0.7)
    shared = lab(sets, notebook, library).items
    assert [share.entry for share in shared[0].entries] == ["knee", "again"]
    assert shared[0].value == pytest.approx(2 * alone.value) and shared[0].chance == pytest.approx(alone.chance)
    assert [share.entry for share in shared[1].entries] == ["elsewhere"]
    assert len(lab(sets, notebook, library, limit=1).items) == 1


def test_a_reach_that_decides_is_worth_what_it_saves(sets: Sets, notebook: Notebook, library: Library) -> None:
    """They are 1.2 away and guard: Putty Jab punishes (0.8 x 8 = 6.4) where it reaches, Mallet Down is worth 0.8 x 4.

    Where it does not reach, it loses: 14 frames behind, and within 14 frames their best that reaches 1.2 is Draught
    Step-in, 20 damage: 0.2 x 8 - 0.8 x 20 = -14.4. With q = 0.8 the chance that it reaches, it is worth 0.8 x 6.4 -
    0.2 x 14.4 = 2.24 unknown, less than Mallet Down; knowing wins 6.4 - 3.2 in the 0.8.
    """
    blind = changed(library, "putty_jab", reach=None)
    add(sets, "knee", distance=1.0, responses=["putty_jab", "mallet_down"], replies=["guard"])
    pack = blind.shelf(None).pack
    values = plausible(pack, pack.characters["wenna"].moves["putty_jab"], "reach")
    assert sum(value.chance for value in values) == pytest.approx(1)
    q = sum(value.chance for value in values if (value.move.hits[0].reach or 0) >= to_micro(1.2))
    assert q == pytest.approx(0.8)
    found = lab(sets, notebook, blind)
    measured = [item for item in found.items if item.kind == "property"]
    assert [(m.character, m.move, m.property) for m in measured] == [("wenna", "putty_jab", "reach")]
    assert (measured[0].value, measured[0].chance) == (pytest.approx(0.8 * 3.2), pytest.approx(0.8))
    assert found.asked == len(values)
    bounded = lab(sets, notebook, blind, most=len(values) - 1)
    assert not bounded.complete and bounded.asked == 0
    assert "bound" in bounded.left_out[0].reason


def test_damage_that_nobody_recorded_counts_too(sets: Sets, notebook: Notebook, library: Library) -> None:
    """Both punish for certain; the one of unknown damage is worth 0.8 of it: knowing it chooses the better."""
    blind = changed(library, "putty_jab", damage=None)
    add(sets, "knee", responses=["putty_jab", "mallet_down"])
    pack = blind.shelf(None).pack
    values = plausible(pack, pack.characters["wenna"].moves["putty_jab"], "damage")
    each = [(value.chance, 0.8 * (value.move.hits[0].damage or 0.0)) for value in values]
    best = max(3.2, sum(chance * worth for chance, worth in each))
    measured = [item for item in lab(sets, notebook, blind).items if item.kind == "property"]
    expected = sum(chance * max(3.2, worth) for chance, worth in each) - best
    assert sum(item.value for item in measured if item.property == "damage") == pytest.approx(expected)


def test_what_cannot_be_weighed_is_told(sets: Sets, notebook: Notebook, library: Library) -> None:
    add(sets, "gone", moment={**KNEE["moment"], "move": "gone"})
    sets.add_entry("lab", Entry(name="inside", study="lab_list", request={"question": KNEE}))
    sets.add_entry("lab", Entry(name="other", study="exposed", request={"me": {"character": "wenna"}}))
    told: list[tuple[int, int]] = []
    found = lab(sets, notebook, library, progress=lambda done, whole: told.append((done, whole)))
    assert [entry.entry for entry in found.entries] == ["inside"]
    left = {one.what: one.reason for one in found.left_out if one.kind == "entry"}
    assert left["gone"].startswith("move-unknown") and left["other"] == "a request of `exposed` is no advice question"
    assert told[2] == (3, 3) and told[-1][0] == told[-1][1] == found.asked


def test_an_unknown_set_and_no_tries_are_refused(sets: Sets, notebook: Notebook, library: Library) -> None:
    with pytest.raises(AdvisorError) as unknown:
        next_lab(sets, "labb", notebook, library)
    assert unknown.value.code == "set-unknown" and "lab" in unknown.value.help
    for wrong, pointer in (({"tries": 0}, "/tries"), ({"tries": 10_001}, "/tries"), ({"limit": 0}, "/limit")):
        with pytest.raises(QuestionError) as caught:
            lab(sets, notebook, library, **wrong)
        assert caught.value.pointer == pointer and "whole number" in caught.value.help
    with pytest.raises(QuestionError, match="working"):
        lab(sets, notebook, library, trust=Trust(working=(0.0, 1.0)))
    assert lab(sets, notebook, library).items == []
