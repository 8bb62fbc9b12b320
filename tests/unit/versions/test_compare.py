"""Two versions of the demo pack with one edit between them, against every question asked of both."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.clients.versions import compare_
from advisor.facts import Question
from advisor.facts.question import Blocked, Fighter
from advisor.pack.load import load_pack
from advisor.pack.model import Move, Pack
from advisor.versions import AskedBefore, Comparison, Consequence, compare
from tests.unit.advice.demo import FOLDER, shelf

OLD = shelf().pack
Edit = Callable[..., Pack]


def versions(old: Pack, new: Pack, **more: object) -> Comparison:
    return compare(old, new, shelf().rules, shelf().evaluator, **more)  # type: ignore[arg-type]


def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FOLDER, tmp_path / FOLDER.name))


def edited(folder: Path, file: str, at: str, old: str, new: str) -> None:
    """Replace the first ``old`` after ``at`` in a file of the copy."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    place = text.index(old, text.index(at))
    path.write_text(text[:place] + new + text[place + len(old):], encoding="utf-8")


@pytest.fixture
def edit(tmp_path: Path) -> Edit:
    def make(file: str, at: str, old: str, new: str) -> Pack:
        folder = copied(tmp_path)
        edited(folder, file, at, old, new)
        return load_pack(folder).pack

    return make


def guaranteed(pack: Pack, owner: str, move: str, them: str, distance: str, responses: list[str]) -> set[str]:
    """What the rules call guaranteed when every attack of ``them`` is asked about."""
    asked = Question(
        me=Fighter(character=them), them=Fighter(character=owner), moment=Blocked(attacker="them", move=move),
        distance=distance, responses=responses, limit=400, explain="none",
    )
    advice = msgspec.structs.replace(shelf(), pack=pack).ask(asked)
    return {r.option for r in advice.responses if r.verdict == "guaranteed"}


def attacks(pack: Pack, character: str) -> list[str]:
    moves = pack.characters[character].moves.values()
    return [m.id for m in moves if m.hits and not (m.requires and m.requires.follows) and not m.wakes_from]


def told(found: Comparison) -> dict[tuple[str, str, str, str], tuple[set[str], set[str]]]:
    rows = ((c, r) for c in found.consequences if c.kind == "punish" for r in c.punishes)
    return {
        (str(c.character), c.id, r.them, r.distance): (set(r.appeared), set(r.vanished))
        for c, r in rows if r.appeared or r.vanished
    }


def brute(
    old: Pack, new: Pack, owner: str, moves: list[str], opponents: list[str]
) -> dict[tuple[str, str, str, str], object]:
    out: dict[tuple[str, str, str, str], object] = {}
    for move in moves:
        for them in opponents:
            for distance in old.conventions.distances:
                was, now = (
                    guaranteed(p, owner, move, them, distance, attacks(p, them)) for p in (old, new)
                )
                if was != now:
                    out[(owner, move, them, distance)] = (now - was, was - now)
    return out


def one(found: Comparison, kind: str, key: str) -> Consequence:
    (match,) = (c for c in found.consequences if c.kind == kind and c.id == key)
    return match


def test_one_frame_worse_on_block_makes_exactly_the_punishes_of_every_question(edit: Edit) -> None:
    new = edit("characters/marl.yaml", "{id: poker_thrust", "on_block: -9", "on_block: -10")
    found = versions(OLD, new)
    expected = brute(OLD, new, "marl", ["poker_thrust"], list(OLD.characters))
    assert expected
    assert told(found) == expected
    stated = next(p for p in found.properties if p.property == "hits[0].on_block")
    assert (stated.character, stated.move, stated.before, stated.after) == ("marl", "poker_thrust", -9, -10)
    assert not stated.derived
    row = one(found, "punish", "poker_thrust")
    assert row.weight == row.damage * row.opponents > 0
    assert one(found, "frame_class", "poker_thrust").before == "without a known punish"


def test_a_slower_punish_vanishes_wherever_every_question_says_so(edit: Edit) -> None:
    new = edit("characters/ilko.yaml", "{id: sting,", "startup: 10", "startup: 12")
    # Only ten and eleven frames tell 10 from 12; all other rows must stay empty.
    moves = [m.id for m in OLD.characters["marl"].moves.values() if m.hits and m.hits[0].on_block in (-10, -11)]
    got = {at: change for at, change in told(versions(OLD, new)).items() if at[0] == "marl"}
    expected = brute(OLD, new, "marl", moves, ["ilko"])
    assert expected
    assert got == expected


def test_a_string_that_jailed_has_a_gap(edit: Edit) -> None:
    # Common practice, no published source: arriving on 18 against a blockstun of 16, the gap is 18 - 16 - 1 = 1.
    new = edit("characters/ilko.yaml", "{id: sting,", "arrives: 14", "arrives: 18")
    row = one(versions(OLD, new), "string", "sting>second_sting (block)")
    assert (row.before, row.after) == ("jails", "gap of 1")
    back = one(versions(new, OLD), "string", "sting>second_sting (block)")
    assert (back.before, back.after) == ("gap of 1", "jails")


def test_a_removed_move_is_said_to_be_gone_and_punishes_no_more(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    path = folder / "characters/marl.yaml"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(line for line in lines if "{id: draught_step_in," not in line), encoding="utf-8")
    if "draught_step_in" in path.read_text(encoding="utf-8"):
        text = path.read_text(encoding="utf-8").replace("draught_step_in, ", "").replace(", draught_step_in", "")
        path.write_text(text, encoding="utf-8")
    found = versions(OLD, load_pack(folder).pack)
    gone = [(p.character, p.move, p.what) for p in found.properties if p.property == ""]
    assert gone == [("marl", "draught_step_in", "removed")]
    rows = [r for c in found.consequences if c.kind == "punish" for r in c.punishes]
    assert rows
    assert {r.them for r in rows} == {"marl"}
    assert {key for r in rows for key in (*r.appeared, *r.vanished)} == {"draught_step_in"}
    assert not any(r.appeared for r in rows)


def test_unknown_is_a_value_and_what_it_decided_is_told(edit: Edit) -> None:
    new = edit("characters/ilko.yaml", "{id: queen_knee", "on_block: -9", "on_block: -14, pushback: {block: 0.1}")
    half = msgspec.structs.replace(new, characters={**new.characters, "ilko": _without_push(new)})
    found = versions(half, new)
    assert [(p.property, p.before) for p in found.properties] == [("hits[0].pushback_block", None)]
    rows = one(found, "punish", "queen_knee").punishes
    assert any(row.appeared and set(row.appeared) <= set(row.unsure) for row in rows)


def _without_push(pack: Pack) -> object:
    ilko = pack.characters["ilko"]
    knee: Move = ilko.moves["queen_knee"]
    hits = (msgspec.structs.replace(knee.hits[0], pushback_block=None),)
    moves = {**ilko.moves, "queen_knee": msgspec.structs.replace(knee, hits=hits)}
    return msgspec.structs.replace(ilko, moves=moves)


def test_worked_out_values_are_told_apart(edit: Edit) -> None:
    new = edit("characters/ilko.yaml", "{id: queen_knee", "on_block: -9", "on_block: -10")
    said = {p.property: p.derived for p in versions(OLD, new).properties}
    assert said == {"hits[0].on_block": False, "hits[0].blockstun": True}


def test_conventions_and_what_a_knockdown_lets_up(edit: Edit) -> None:
    new = edit("pack.yaml", "kneeling: {", "side_roll_right, ", "")
    found = versions(OLD, new)
    assert [(p.character, p.property) for p in found.properties if "kneeling" in p.property] == [
        (None, "conventions.knockdowns.kneeling.wake_ups")
    ]
    row = one(found, "knockdown", "kneeling: side_roll_right")
    assert (row.before, row.after) == ("open", "closed")


def test_an_answer_of_the_study_set_flips(edit: Edit) -> None:
    new = edit("characters/marl.yaml", "{id: poker_thrust", "on_block: -9", "on_block: -13")
    question = Question(
        me=Fighter(character="wenna"), them=Fighter(character="marl"),
        moment=Blocked(attacker="them", move="poker_thrust"), distance="touching",
    )
    asked = [AskedBefore(name="poker", question=question)]
    row = one(versions(OLD, new, questions=asked), "answer", "poker")
    assert "(guaranteed)" not in row.before
    assert "(guaranteed)" in row.after
    assert not versions(OLD, OLD, questions=asked).consequences


def test_a_pack_beside_itself_and_in_another_order_is_the_same() -> None:
    turned = {
        key: msgspec.structs.replace(c, moves=dict(reversed(c.moves.items())))
        for key, c in reversed(OLD.characters.items())
    }
    for other in (OLD, msgspec.structs.replace(OLD, characters=turned)):
        found = versions(OLD, other)
        assert found.same
        assert not found.properties
        assert not found.consequences


@settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_turned_round_what_appeared_vanished(data: st.DataObject) -> None:
    moves = [(c.id, m.id) for c in OLD.characters.values() for m in c.moves.values() if m.hits]
    owner, key = data.draw(st.sampled_from(moves))
    character = OLD.characters[owner]
    move = character.moves[key]
    hit = msgspec.structs.replace(
        move.hits[0],
        on_block=data.draw(st.none() | st.integers(-20, 5)),
        first_active=data.draw(st.none() | st.integers(8, 13)), active_stop=None,
        damage=data.draw(st.none() | st.just(move.hits[0].damage)),
    )
    moves_now = {**character.moves, key: msgspec.structs.replace(move, hits=(hit, *move.hits[1:]))}
    changed = msgspec.structs.replace(character, moves=moves_now)
    new = msgspec.structs.replace(OLD, characters={**OLD.characters, owner: changed})
    there, back = versions(OLD, new), versions(new, OLD)
    assert told(there) == {at: (lost, got) for at, (got, lost) in told(back).items()}
    turned = {(p.move, p.property, repr(p.after), repr(p.before)) for p in back.properties}
    assert {(p.move, p.property, repr(p.before), repr(p.after)) for p in there.properties} == turned
    weights = [c.weight for c in there.consequences]
    assert weights == sorted(weights, reverse=True)
    assert sorted(weights) == pytest.approx(sorted(c.weight for c in back.consequences))


def test_the_command_ends_like_diff(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    run = CliRunner()
    same = run.invoke(compare_, [str(FOLDER), str(folder)])
    assert (same.exit_code, "Nothing changed." in same.output) == (0, True)
    edited(folder, "characters/marl.yaml", "{id: poker_thrust", "on_block: -9", "on_block: -10")
    args = [str(FOLDER), str(folder)]
    told_ = run.invoke(compare_, args)
    assert told_.exit_code == 1
    assert "marl.poker_thrust.hits[0].on_block: -9 -> -10" in told_.output
    quiet = run.invoke(compare_, [*args, "--quiet"])
    assert (quiet.exit_code, quiet.output) == (1, "")
    form = run.invoke(compare_, [*args, "--json", "--at", "touching"])
    assert msgspec.json.decode(form.output.encode(), type=Comparison).distances == ["touching (0.4)"]
    assert run.invoke(compare_, [*args, "--character", "marll"]).exit_code == 2
    edited(folder, "characters/marl.yaml", "{id: poker_thrust", "on_block: -10", "on_blok: -10")
    assert run.invoke(compare_, args).exit_code == 2


def test_a_line_that_is_no_question_is_told_with_its_number(tmp_path: Path) -> None:
    lines = tmp_path / "set.jsonl"
    lines.write_text('\n{"name": "a"}\n', encoding="utf-8")
    ended = CliRunner().invoke(compare_, [str(FOLDER), str(FOLDER), "--questions", str(lines)])
    assert ended.exit_code == 2
    assert "set.jsonl:2:1" in ended.output.replace("\n", "") + (ended.stderr or "").replace("\n", "")


