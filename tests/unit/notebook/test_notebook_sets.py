"""Study sets: kept with their answers, told apart from new ones, exported and imported whole or not at all."""

from __future__ import annotations

import copy
from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError, DataError, QuestionError
from advisor.library import Library, load_library
from advisor.notebook import Entry, Notebook, Sets
from advisor.notebook.lines import export_set, import_set
from advisor.notebook.rerun import answer_of, differences, rerun
from advisor.notebook.sets import Kept
from advisor.notebook.told import told

BLOCKED = {
    "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "explain": "none",
    "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}, "responses": ["putty_jab", "guard"],
}  # fmt: skip


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library(engine="plain")


@pytest.fixture
def sets(notebook: Notebook) -> Sets:
    made = Sets(notebook)
    made.add("lab", "a note")
    return made


def saved(library: Library, name: str = "knee", **more: Any) -> Entry:
    entry = Entry(name=name, request={**BLOCKED, **more})
    return msgspec.structs.replace(entry, kept=answer_of(entry, library))


def code_of(caught: pytest.ExceptionInfo[AdvisorError]) -> str:
    return caught.value.code


def test_sets_are_listed_shown_and_struck_out(sets: Sets, library: Library) -> None:
    sets.add_entry("lab", saved(library))
    sets.add_entry("lab", Entry(name="bare", request=BLOCKED))
    assert [(s.name, s.note, s.entries) for s in sets.list()] == [("lab", "a note", 2)]
    assert [(e.name, e.kept is None) for e in sets.get("lab")[1]] == [("knee", False), ("bare", True)]
    sets.remove("lab", "knee")
    assert [e.name for e in sets.get("lab")[1]] == ["bare"]
    sets.remove("lab")
    assert sets.list() == []
    sets.add("lab")
    assert sets.get("lab")[1] == ()


def test_names_are_taken_once_and_unknown_ones_are_told(sets: Sets) -> None:
    entry = Entry(name="bare", request=BLOCKED)
    sets.add_entry("lab", entry)
    for wrong, code in (
        (lambda: sets.add("lab"), "set-exists"), (lambda: sets.add_entry("lab", entry), "set-exists"),
        (lambda: sets.get("labb"), "set-unknown"), (lambda: sets.remove("lab", "bar"), "entry-unknown"),
    ):  # fmt: skip
        with pytest.raises(AdvisorError) as caught:
            wrong()
        assert code_of(caught) == code
    with pytest.raises(QuestionError):
        sets.add(" lab")
    with pytest.raises(QuestionError, match="guss") as caught_study:
        sets.add_entry("lab", Entry(name="x", request={}, study="guss"))
    assert "guess" in caught_study.value.help
    with pytest.raises(QuestionError, match="character"):
        sets.add_entry("lab", Entry(name="x", request={**BLOCKED, "me": {}}))


def test_the_same_data_give_the_same_answers(sets: Sets, library: Library) -> None:
    sets.add_entry("lab", saved(library))
    found = rerun(sets, "lab", library)
    assert found.same and [e.outcome for e in found.entries] == ["same"]


def test_a_changed_verdict_is_told_until_it_is_accepted(sets: Sets, library: Library) -> None:
    entry = saved(library)
    assert entry.kept is not None
    stale = copy.deepcopy(entry.kept.answer)
    first = stale["responses"][0]
    real, first["verdict"], first["sentence"] = first["verdict"], "trades", "other words"
    sets.add_entry("lab", msgspec.structs.replace(entry, kept=msgspec.structs.replace(entry.kept, answer=stale)))
    found = rerun(sets, "lab", library)
    assert [e.outcome for e in found.entries] == ["changed"] and not found.same
    assert found.entries[0].changes == [f'responses[{first["option"]}].verdict: "trades" -> "{real}"']
    assert len(rerun(sets, "lab", library, wording=True).entries[0].changes) == 2
    assert not rerun(sets, "lab", library, accept=True).same
    assert rerun(sets, "lab", library, wording=True).same


def test_an_entry_that_fails_does_not_stop_the_rest(sets: Sets, library: Library) -> None:
    gone = {**BLOCKED, "moment": {"kind": "blocked", "attacker": "them", "move": "gone"}}
    sets.add_entry("lab", Entry(name="gone", request=gone))
    sets.add_entry("lab", Entry(name="fresh", request=BLOCKED))
    found = rerun(sets, "lab", library, accept=True)
    assert [e.outcome for e in found.entries] == ["failed", "new"]
    assert "move-unknown" in found.entries[0].changes[0]
    assert [e.outcome for e in rerun(sets, "lab", library).entries] == ["failed", "same"]


def test_studies_are_kept_too(sets: Sets, library: Library) -> None:
    from advisor.studies import STUDIES

    entry = Entry(name="e", study="exposed", request=STUDIES["exposed"].example)
    sets.add_entry("lab", msgspec.structs.replace(entry, kept=answer_of(entry, library)))
    assert rerun(sets, "lab", library).same


def test_a_new_order_and_a_new_row_are_told() -> None:
    a, b, c = ({"option": name, "verdict": "beats"} for name in "abc")
    assert differences({"r": [a, b]}, {"r": [b, a]}) == ["r (order): a, b -> b, a"]
    told = differences({"r": [a]}, {"r": [a, c]})
    assert told[0] == "r (order): a -> a, c" and 'r[c].verdict: (none) -> "beats"' in told
    assert differences({"n": 1, "pack": {"hash": "x"}}, {"n": 1, "pack": {"hash": "y"}}) == []
    assert differences({"n": [1, 2]}, {"n": [1, 3]}) == ["n: [1,2] -> [1,3]"]


def test_an_export_comes_back(sets: Sets, library: Library) -> None:
    sets.add_entry("lab", saved(library))
    sets.add_entry("lab", Entry(name="bare", request=BLOCKED, note="n"))
    text = export_set(sets, "lab")
    import_set(sets, text, name="copy")
    assert sets.get("copy")[1] == sets.get("lab")[1]
    with pytest.raises(AdvisorError) as caught:
        import_set(sets, text)
    assert code_of(caught) == "set-exists"


def test_a_faulty_import_names_every_line_and_leaves_nothing(sets: Sets) -> None:
    good = msgspec.json.encode(Entry(name="a", request=BLOCKED)).decode()
    text = "\n".join([
        '{"set": "new"}', good, good, "{", '{"name": "b", "request": {}, "noot": 1}',
        '{"name": "c", "request": {}, "study": "guss"}', '{"name": "d", "request": {}}',
    ])  # fmt: skip
    with pytest.raises(DataError) as caught:
        import_set(sets, text.encode(), file="x.jsonl")
    assert [f.line for f in caught.value.findings] == [3, 4, 5, 6, 7]
    assert all(f.file == "x.jsonl" and f.help for f in caught.value.findings)
    assert [s.name for s in sets.list()] == ["lab"]
    with pytest.raises(DataError, match="nothing"):
        import_set(sets, b"")


def test_answers_are_kept_all_or_none(sets: Sets) -> None:
    sets.add_entry("lab", Entry(name="bare", request=BLOCKED))
    kept = Kept(answer={"n": 1}, data_version="1", pack_hash="p", rules_hash="r")
    with pytest.raises(AdvisorError):
        sets.keep("lab", {"bare": kept, "none": kept})
    assert sets.get("lab")[1][0].kept is None


def test_changes_are_told_with_the_outcome_first_and_whole_rows_in_a_line() -> None:
    before = {"summary": "a wins", "r": [{"option": "a", "verdict": "beats", "damage": 8.0, "of": 2}]}
    after = {"r": [{"option": "b", "verdict": "risky", "damage": None, "of": 3}], "summary": "b may win"}
    lines = told(differences(before, after))
    assert lines == [
        'summary: "a wins" -> "b may win"', "r (order): a -> b", "r[a]: beats, 8.0 damage -> (none)",
        "r[b]: (none) -> risky",
    ]  # fmt: skip
    worse = {"r": [{"option": "a", "of": 3, "verdict": "loses", "damage": 8.0}]}
    kept = told(differences({"r": before["r"]}, worse))
    assert kept == ['r[a].verdict: "beats" -> "loses"', "r[a].of: 2 -> 3"]


def test_a_long_list_of_changes_is_cut_and_says_so() -> None:
    changes = [f"n{i}: {i} -> {i + 1}" for i in range(30)]
    assert told(changes)[-1] == "... and 18 more" and len(told(changes)) == 13
    assert told(changes, None) == changes
