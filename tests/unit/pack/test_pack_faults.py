"""Every fault of a pack: spoiled text in; code, line and path out."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from advisor.errors import DataError, Finding
from advisor.pack.load import load_pack
from tests.unit.pack.pack_folder import CHARACTER, PACK, spoiled, write_pack

# Words of the tools underneath, which an author of a pack does not know.
FOREIGN = re.compile(
    r"\b(?:int|str|float|bool|dict|NoneType|None|True|False|object|array|Expected|Struct|Traceback)\b|\$\.|\[a-z\]"
)


class Case(NamedTuple):
    name: str
    file: str
    old: str
    new: str
    code: str
    line: int
    path: str
    help: str = ""


P, C = "pack.yaml", "characters/ash.yaml"
TAP, SWEEP, GRIP, WARD, FLURRY = 6, 7, 8, 9, 10
LONG = "x" * 81

CASES = [
    # Form: keys, types, ranges.
    Case("unknown key", C, "on_hit: +8", "on_hti: +8", "key-unknown", TAP, "moves[0].on_hti", "on_hit"),
    Case("unknown top key", C, "health: 180", "heatlh: 180", "key-unknown", 3, "heatlh", "health"),
    Case("unknown pack key", P, "knockdowns:", "knockdown:", "key-unknown", 13, "knockdown", "knockdowns"),
    Case("key twice", C, "active: 3", "active: 3, active: 4", "key-duplicate", SWEEP, ""),
    Case("missing in a parry", C, "frames: [2, 10], ", "", "key-missing", WARD, "moves[3].parry[0]"),
    Case("missing format", P, "format: 1\n", "", "key-missing", 1, ""),
    Case("missing levels", P, "levels:\n  high", "levles:\n  high", "key-missing", 1, ""),
    Case("missing moves", C, "moves:\n", "movse:\n", "key-missing", 1, ""),
    Case("wrong format", P, "format: 1", "format: 2", "type-wrong", 1, "format"),
    Case("text for a number", C, "startup: 10", "startup: ten", "type-wrong", TAP, "moves[0].startup"),
    Case(
        "number as text", C, "startup: 10", "startup: '10'", "type-wrong", TAP, "moves[0].startup", "quotes"
    ),
    Case("fraction", C, "active: 3", "active: 2.5", "type-wrong", SWEEP, "moves[1].active"),
    Case("truth for a number", C, "active: 3", "active: true", "type-wrong", SWEEP, "moves[1].active"),
    Case("number for text", P, 'version: "1.0"', "version: 1.0", "type-wrong", 4, "version", "quotes"),
    Case("list for a number", C, "health: 180", "health: [180]", "type-wrong", 3, "health"),
    Case(
        "text for a list", C, "tags: [hand], f", "tags: hand, f", "type-wrong", TAP, "moves[0].tags", "list"
    ),
    Case(
        "text for a block",
        C,
        "leaves: {hit: {knockdown: face_up, distance: 1.0}}",
        "leaves: face_up",
        "type-wrong",
        SWEEP,
        "moves[1].leaves",
    ),
    Case("misspelt word", C, "total: 30", "total: hedl", "type-wrong", WARD, "moves[3].total", "held"),
    Case("empty file", C, CHARACTER, "", "type-wrong", 1, ""),
    Case("a list as file", C, CHARACTER, "- 1\n", "type-wrong", 1, ""),
    Case("active below 1", C, "active: 3", "active: 0", "out-of-range", SWEEP, "moves[1].active"),
    Case("huge number", C, "active: 3", "active: 123456789012", "out-of-range", SWEEP, "moves[1].active"),
    Case(
        "far too huge number", C, "active: 3", f"active: {'9' * 400}", "type-wrong", SWEEP, "moves[1].active"
    ),
    Case("negative reach", C, "reach: close", "reach: -1", "out-of-range", SWEEP, "moves[1].reach"),
    Case("no frame rate", P, "format: 1", "format: 1\nframe_rate: 0", "out-of-range", 2, "frame_rate"),
    Case("not a number", C, "reach: close", "reach: .nan", "not-finite", SWEEP, ""),
    Case("long name", C, "name: Grip", f"name: {LONG}", "text-too-long", GRIP, "moves[2].name"),
    Case("empty name", C, "name: Grip", "name: ''", "text-empty", GRIP, "moves[2].name"),
    Case("blank name", C, "name: Grip", "name: '  '", "text-empty", GRIP, "moves[2].name"),
    Case(
        "control character in a name",
        C,
        "name: Grip",
        r'name: "Gr\x07ip"',
        "name-control-character",
        GRIP,
        "moves[2].name",
    ),
    Case("control character in the file", C, "name: Grip", "name: Gr\x07ip", "control-character", GRIP, ""),
    Case("turned text in a name", C, "name: Ash", r'name: "A\u202Esh"', "name-control-character", 2, "name"),
    Case(
        "control character in the pack's name",
        P,
        "name: Kiln Yard",
        r'name: "Kiln\tYard"',
        "name-control-character",
        3,
        "name",
    ),
    # Ids.
    Case("id not a slug", C, "id: grip", "id: Grip!", "id-not-slug", GRIP, "moves[2].id", "grip"),
    Case("id too long", C, "id: grip", f"id: {LONG}", "id-not-slug", GRIP, "moves[2].id"),
    Case("id reserved", C, "id: ash", "id: unknown", "id-reserved", 1, "id"),
    Case("level not a slug", P, "  low:", "  Low:", "id-not-slug", 8, "levels.Low", "low"),
    Case("tag not a slug", P, "tool: with", "2ool: with", "id-not-slug", 12, "tags.2ool"),
    Case("named distance not a slug", P, "far: 3.0", "Far: 3.0", "id-not-slug", 5, "distance.named.Far"),
    Case("no id", C, "id: grip, name: Grip, ", "", "id-missing", GRIP, "moves[2]"),
    Case(
        "no id from the name", C, "id: grip, name: Grip", "name: '404'", "id-missing", GRIP, "moves[2].name"
    ),
    Case("move twice", C, "id: grip", "id: sweep", "id-duplicate", GRIP, "moves[2].id"),
    Case(
        "move twice by name", C, "id: grip, name: Grip", "name: Sweep", "id-duplicate", GRIP, "moves[2].name"
    ),
    Case("system option twice", P, "id: backstep", "id: guard", "id-duplicate", 17, "system[1].id"),
    Case("a system option's id", C, "id: grip", "id: guard", "id-duplicate", GRIP, "moves[2].id"),
    Case("key move twice", C, "[tap]", "[tap, tap]", "id-duplicate", 4, "key_moves[1]"),
    Case("folder is not the id", P, "id: kiln", "id: kilm", "id-not-place", 2, "id", "kiln"),
    Case("file is not the id", C, "id: ash", "id: ahs", "id-not-place", 1, "id", "ash"),
    # Words that the pack does not have.
    Case(
        "unknown level",
        C,
        "level: low, startup: 16",
        "level: lwo, startup: 16",
        "level-unknown",
        SWEEP,
        "moves[1].level",
        "low",
    ),
    Case(
        "unknown level of a hit",
        C,
        "{level: low, startup: 20",
        "{level: lo, startup: 20",
        "level-unknown",
        FLURRY,
        "moves[4].hits[1].level",
        "low",
    ),
    Case(
        "unknown level of armour",
        C,
        "levels: [high]",
        "levels: [hihg]",
        "level-unknown",
        GRIP,
        "moves[2].armour[0].levels[0]",
        "high",
    ),
    Case(
        "unknown level excepted",
        C,
        "except: {levels: [low]}",
        "except: {levels: [mid]}",
        "level-unknown",
        WARD,
        "moves[3].parry[0].except.levels[0]",
    ),
    Case(
        "unknown level in blockstun",
        P,
        "immune_to: {levels: [throw]}",
        "immune_to: {levels: [thorw]}",
        "level-unknown",
        11,
        "blockstun.immune_to.levels[0]",
        "throw",
    ),
    Case(
        "unknown tag", C, "tags: [hand], f", "tags: [hadn], f", "tag-unknown", TAP, "moves[0].tags[0]", "hand"
    ),
    Case(
        "unknown tag of a hit",
        C,
        "startup: 20, active: 2",
        "startup: 20, active: 2, tags: [hand, toll]",
        "tag-unknown",
        FLURRY,
        "moves[4].hits[1].tags[1]",
        "tool",
    ),
    Case(
        "unknown tag caught",
        C,
        "catches: {tags: [hand]}",
        "catches: {tags: [hand, toll]}",
        "tag-unknown",
        WARD,
        "moves[3].parry[0].catches.tags[1]",
        "tool",
    ),
    Case(
        "unknown tag of an outcome",
        C,
        "of: {tags: [hand]}",
        "of: {tags: [hnad]}",
        "tag-unknown",
        WARD,
        "moves[3].parry[0].outcomes[0].of.tags[0]",
        "hand",
    ),
    Case(
        "unknown knockdown",
        C,
        "face_up, d",
        "face_pu, d",
        "knockdown-unknown",
        SWEEP,
        "moves[1].leaves.hit.knockdown",
        "face_up",
    ),
    Case(
        "unknown guard of a level",
        P,
        "blocked_by: [crouching]",
        "blocked_by: [crouch]",
        "guard-unknown",
        8,
        "levels.low.blocked_by[0]",
        "crouching",
    ),
    Case(
        "unknown guard of an option",
        P,
        "with: [standing, crouching]",
        "with: [standing, kneeling]",
        "guard-unknown",
        16,
        "system[0].guard[0].with[1]",
    ),
    Case(
        "unknown throw break",
        C,
        "breaks: [left]",
        "breaks: [lfet]",
        "break-unknown",
        GRIP,
        "moves[2].breaks[0]",
        "left",
    ),
    Case(
        "unknown distance",
        C,
        "reach: close",
        "reach: closer",
        "distance-unknown",
        SWEEP,
        "moves[1].reach",
        "close",
    ),
    Case(
        "unknown distance left",
        C,
        "distance: 1.0",
        "distance: fra",
        "distance-unknown",
        SWEEP,
        "moves[1].leaves.hit.distance",
        "far",
    ),
    Case(
        "unknown follow-up",
        C,
        "move: sweep",
        "move: swep",
        "move-unknown",
        TAP,
        "moves[0].follow_ups[0].move",
        "sweep",
    ),
    Case("unknown key move", C, "[tap]", "[tapp]", "move-unknown", 4, "key_moves[0]", "tap"),
    # Windows and durations.
    Case(
        "window reversed",
        C,
        "airborne: [3, 5]",
        "airborne: [5, 3]",
        "window-reversed",
        GRIP,
        "moves[2].airborne",
        "[3, 5]",
    ),
    Case(
        "one of several windows reversed",
        C,
        "airborne: [3, 5]",
        "airborne: [[1, 2], [5, 3]]",
        "window-reversed",
        GRIP,
        "moves[2].airborne[1]",
    ),
    Case(
        "window before frame 1",
        C,
        "frames: [2, 10]",
        "frames: [0, 10]",
        "out-of-range",
        WARD,
        "moves[3].parry[0].frames[0]",
    ),
    Case(
        "window past the total",
        C,
        "frames: [2, 10]",
        "frames: [2, 31]",
        "window-past-total",
        WARD,
        "moves[3].parry[0].frames",
    ),
    Case(
        "window past a derived total",
        C,
        "airborne: [3, 5]",
        "airborne: [3, 36]",
        "window-past-total",
        GRIP,
        "moves[2].airborne",
    ),
    Case(
        "armour past the total",
        C,
        "frames: [2, 9]",
        "frames: [2, 99]",
        "window-past-total",
        GRIP,
        "moves[2].armour[0].frames",
    ),
    Case(
        "movement past the total",
        P,
        "frames: [1, 14]",
        "frames: [1, 25]",
        "window-past-total",
        17,
        "system[1].displacement[0].frames",
    ),
    Case(
        "active past the total",
        C,
        "active: 3, recovery: 20",
        "active: 3, total: 17",
        "window-past-total",
        SWEEP,
        "moves[1].startup",
    ),
    Case(
        "a hit past the total",
        C,
        "recovery: 18",
        "total: 20",
        "window-past-total",
        FLURRY,
        "moves[4].hits[1].startup",
    ),
    Case(
        "a follow-up past the total",
        C,
        "arrives: 17",
        "begins: [20, 28]",
        "window-past-total",
        TAP,
        "moves[0].follow_ups[0].begins",
    ),
    Case(
        "three frames in a window",
        C,
        "airborne: [3, 5]",
        "airborne: [3, 5, 7]",
        "window-malformed",
        GRIP,
        "moves[2].airborne",
    ),
    Case(
        "window that begins held",
        C,
        "airborne: [3, 5]",
        "airborne: [held, 5]",
        "window-malformed",
        GRIP,
        "moves[2].airborne",
    ),
    Case(
        "a loose frame among windows",
        C,
        "airborne: [3, 5]",
        "airborne: [[3, 5], 7]",
        "window-malformed",
        GRIP,
        "moves[2].airborne",
    ),
    Case(
        "one frame as window",
        C,
        "frames: [2, 10]",
        "frames: [2]",
        "type-wrong",
        WARD,
        "moves[3].parry[0].frames",
    ),
    Case(
        "range reversed",
        C,
        "arrives: 17",
        "arrives: [20, 17]",
        "window-reversed",
        TAP,
        "moves[0].follow_ups[0].arrives",
        "[17, 20]",
    ),
    Case("hits overlap", C, "startup: 20", "startup: 13", "hits-overlap", FLURRY, "moves[4].hits[1].startup"),
    Case(
        "hits out of order",
        C,
        "startup: 20",
        "startup: 5",
        "hits-overlap",
        FLURRY,
        "moves[4].hits[1].startup",
    ),
    Case(
        "startup 0 counted with the first active frame",
        C,
        "startup: 16",
        "startup: 0",
        "startup-impossible",
        SWEEP,
        "moves[1].startup",
    ),
    Case(
        "total and recovery disagree",
        C,
        "recovery: 20",
        "recovery: 20, total: 40",
        "total-disagrees",
        SWEEP,
        "moves[1].total",
    ),
    Case(
        "held and recovery disagree",
        C,
        "recovery: 20",
        "recovery: 20, total: held",
        "total-disagrees",
        SWEEP,
        "moves[1].total",
    ),
    Case(
        "a parry's total and recovery disagree",
        C,
        "total: 30",
        "total: 30, recovery: 12",
        "total-disagrees",
        WARD,
        "moves[3].total",
    ),
    Case(
        "movement both ways",
        P,
        "back: 1.4",
        "back: 1.4, forward: 1",
        "displacement-clash",
        17,
        "system[1].displacement[0]",
    ),
    Case(
        "movement no way",
        P,
        "[1, 14], back: 1.4",
        "[1, 14]",
        "displacement-clash",
        17,
        "system[1].displacement[0]",
    ),
    Case(
        "movement without an end",
        P,
        "total: 24, displacement: [{frames: [1, 14]",
        "displacement: [{frames: [1, held]",
        "window-malformed",
        17,
        "system[1].displacement[0].frames",
    ),
    # Structure.
    Case(
        "hit keys beside hits",
        C,
        "recovery: 18",
        "recovery: 18, damage: 5",
        "hit-key-misplaced",
        FLURRY,
        "moves[4].damage",
    ),
    Case(
        "a movement that hits",
        C,
        "id: grip",
        "id: grip, kind: movement",
        "kind-clash",
        GRIP,
        "moves[2].level",
    ),
    Case(
        "guard stated twice",
        P,
        "kind: guard, guard",
        "kind: guard, cannot_block: [1, 2], guard",
        "guard-clash",
        16,
        "system[0].cannot_block",
    ),
    Case(
        "follow-up without time", C, ", arrives: 17", "", "follow-up-untimed", TAP, "moves[0].follow_ups[0]"
    ),
    Case(
        "follow-ups in a circle",
        C,
        "reach: close",
        "reach: close, follow_ups: [{move: tap, begins: 20}]",
        "follow-up-circle",
        SWEEP,
        "moves[1].follow_ups[0].move",
    ),
    Case(
        "a move that follows itself",
        C,
        "move: sweep",
        "move: tap",
        "follow-up-circle",
        TAP,
        "moves[0].follow_ups[0].move",
    ),
    Case(
        "no hits",
        C,
        "hits: [{level: high, startup: 12, active: 2}, {level: low, startup: 20, active: 2}]",
        "hits: []",
        "list-too-short",
        FLURRY,
        "moves[4].hits",
    ),
    Case(
        "no levels",
        P,
        PACK[PACK.index("levels:") : PACK.index("throws:")],
        "levels: {}\n",
        "list-too-short",
        6,
        "levels",
    ),
    Case(
        "13 hits",
        C,
        "{level: low, startup: 20, active: 2}",
        ", ".join(f"{{startup: {at}, active: 1}}" for at in range(20, 32)),
        "list-too-long",
        FLURRY,
        "moves[4].hits[12]",
    ),
    Case(
        "33 windows",
        C,
        "airborne: [3, 5]",
        f"airborne: [{', '.join(['[3, 5]'] * 33)}]",
        "list-too-long",
        GRIP,
        "moves[2].airborne[32]",
    ),
    # The YAML itself.
    Case("anchor", C, "active: 3", "active: &a 3", "anchor-refused", SWEEP, ""),
    Case("tag of the language", C, "active: 3", "active: !frames 3", "tag-refused", SWEEP, ""),
    Case("broken YAML", C, "active: 3", "active: [3", "not-yaml", SWEEP, ""),
    Case("too deep", C, "active: 3", f"active: {'[' * 40}{']' * 40}", "too-deep", SWEEP, ""),
    Case("a second document", C, "health: 180", "health: 180\n---\n", "several-documents", 4, ""),
]


def findings_of(folder: Path) -> tuple[Finding, ...]:
    with pytest.raises(DataError) as caught:
        load_pack(folder)
    return caught.value.findings


def spoil(case: Case) -> tuple[str, str]:
    pack = spoiled(PACK, case.old, case.new) if case.file == P else PACK
    return pack, spoiled(CHARACTER, case.old, case.new) if case.file == C else CHARACTER


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_each_fault_is_told_with_its_place(case: Case, tmp_path: Path) -> None:
    pack, character = spoil(case)
    folder = write_pack(tmp_path, pack, {"ash": character})
    found = [one for one in findings_of(folder) if one.severity == "error"]
    place = [(one.code, one.line, one.path) for one in found]
    assert (case.code, case.line, case.path) in place
    match = found[place.index((case.code, case.line, case.path))]
    assert match.file == str(folder / case.file)
    assert match.column >= 1
    assert case.help in match.help
    for one in found:
        assert not FOREIGN.search(f"{one.message} {one.help}"), one.shown()
        assert "\n" not in one.message
        assert len(one.message) < 400


SINGLE = {"missing levels", "missing moves", "unknown pack key", "file is not the id"}


@pytest.mark.parametrize("case", [one for one in CASES if one.name not in SINGLE], ids=lambda case: case.name)
def test_one_fault_is_not_told_twice(case: Case, tmp_path: Path) -> None:
    pack, character = spoil(case)
    found = findings_of(write_pack(tmp_path, pack, {"ash": character}))
    places = [(one.file, one.path, one.code) for one in found if one.severity == "error"]
    assert len(set(places)) == len(places)


def test_the_spoiled_texts_are_good_before(tmp_path: Path) -> None:
    assert load_pack(write_pack(tmp_path)).warnings == ()


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    character = CHARACTER
    chosen = [
        case
        for case in CASES
        if case.file == C
        and case.name
        in {
            "unknown key", "text for a number", "active below 1", "unknown distance", "unknown throw break",
            "window past the total", "hits overlap", "unknown key move", "window reversed", "text for a list",
            "unknown follow-up",
        }
    ]  # fmt: skip
    for case in chosen:
        character = spoiled(character, case.old, case.new)
    pack = spoiled(PACK, "format: 1\n", "")
    pack = spoiled(pack, "blocked_by: [crouching]", "blocked_by: [crouching, 5]")
    folder = write_pack(tmp_path, pack, {"ash": character, "bo": "id: bo\nmoves: [", "cy": "id: cy\n"})
    found = {(Path(one.file).name, one.code, one.path) for one in findings_of(folder)}
    expected = {("ash.yaml", case.code, case.path) for case in chosen}
    expected |= {
        ("pack.yaml", "key-missing", ""),
        ("pack.yaml", "type-wrong", "levels.low.blocked_by[1]"),
        ("bo.yaml", "not-yaml", ""),
        ("cy.yaml", "key-missing", ""),
    }
    assert found == expected


def test_more_faults_than_are_printed_are_still_carried(tmp_path: Path) -> None:
    moves = "".join(f"  - {{name: Move {at}, active: 0}}\n" for at in range(300))
    folder = write_pack(tmp_path, characters={"ash": f"id: ash\nmoves:\n{moves}"})
    assert len(findings_of(folder)) == 300


def test_a_fault_in_one_move_does_not_make_faults_in_others(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "{id: sweep, name: Low Sweep", "{id: sweep, name: 5")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert (only.code, only.path) == ("type-wrong", "moves[1].name")


def test_a_broken_pack_file_makes_no_faults_about_its_words(tmp_path: Path) -> None:
    (only,) = findings_of(write_pack(tmp_path, "format: ["))
    assert (only.code, Path(only.file).name) == ("not-yaml", "pack.yaml")


def test_the_circle_is_named(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "reach: close", "reach: close, follow_ups: [{move: tap, begins: 20}]")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert only.message == "follow-ups run in a circle: `tap`, `sweep`, `tap`"


def test_disagreeing_totals_name_every_number(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "recovery: 20", "recovery: 20, total: 40")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert re.findall(r"\d+", only.message) == ["40", "16", "3", "20", "38"]
