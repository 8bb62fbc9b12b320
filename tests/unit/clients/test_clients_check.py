"""``advisor check`` and the folders of the user's own."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from command_line import Run

from advisor.library import bundled_rules, load_shelf

RULE = """\
id: house/anything
title: Says that it was read
scope: exchange
status: stable
why: To see that the user's rules are read.
when:
  - {fact: exchange.by, is: me}
conclude: {tags: [seen]}
because: "seen"
"""


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    folder = tmp_path / "cold_frame"
    shutil.copytree(bundled_rules() / "packs" / "cold_frame", folder)
    return folder


def edit(path: Path, old: str, new: str) -> int:
    """Put ``new`` in the place of the first ``old``; the line it is on."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def test_a_good_pack(run: Run, pack: Path) -> None:
    result = run("check", str(pack), "--engine", "plain")
    shelf = load_shelf(pack, engine="plain")
    moves = sum(len(c.moves) for c in shelf.pack.characters.values())
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines()[-1] == (
        f"cold_frame 1.0: 4 characters, {moves} moves, {len(shelf.rules.rules)} rules, "
        f"{len(shelf.warnings)} warning(s), no fault"
    )


def test_every_fault_at_once_with_file_line_and_remedy(run: Run, pack: Path) -> None:
    wenna, marl = pack / "characters" / "wenna.yaml", pack / "characters" / "marl.yaml"
    lines = {
        wenna: edit(wenna, "level: high", "level: hihg"),
        marl: edit(marl, "tags: [hand]", "tags: [hnad]"),
    }
    result = run("check", str(pack), "--engine", "plain")
    assert (result.exit_code, result.stdout) == (2, "")
    said = result.stderr.splitlines()
    for path, word in ((wenna, "high"), (marl, "hand")):
        at = next(i for i, line in enumerate(said) if line.startswith(f"{path}:{lines[path]}:"))
        assert "error[" in said[at]
        assert said[at + 1] == f"    help: did you mean `{word}`?"
    assert said[-1] == "2 fault(s)"


def test_a_broken_file_is_told_by_its_line(run: Run, pack: Path) -> None:
    line = edit(pack / "pack.yaml", "frame_rate: 60", "frame_rate: [60")
    result = run("check", str(pack), "--engine", "plain")
    assert result.exit_code == 2
    assert f"{pack / 'pack.yaml'}:" in result.stderr
    assert any(f"pack.yaml:{n}:" in result.stderr for n in range(line, line + 3))
    assert "Traceback" not in result.stderr


def test_a_doubt_is_shown_and_is_no_fault(run: Run, pack: Path) -> None:
    wenna = pack / "characters" / "wenna.yaml"
    line = edit(wenna, "blockstun: 16", "blockstun: 17")
    result = run("check", str(pack), "--engine", "plain")
    assert (result.exit_code, result.stderr) == (0, "")
    assert f"{wenna}:{line}:" in result.stdout
    assert "warning[" in result.stdout
    assert result.stdout.splitlines()[-1].endswith("warning(s), no fault")


def test_rules_of_ones_own_are_checked_and_used(run: Run, pack: Path, tmp_path: Path) -> None:
    rules = tmp_path / "mine"
    (rules / "house").mkdir(parents=True)
    rule = rules / "house" / "anything.yaml"
    rule.write_text(RULE, encoding="utf-8")
    before = run("check", str(pack), "--engine", "plain").stdout.splitlines()[-1]
    after = run("check", str(pack), "--engine", "plain", "--rules", str(rules)).stdout.splitlines()[-1]
    count = load_shelf(pack, engine="plain").rules.rules
    assert f" {len(count)} rules" in before
    assert f" {len(count) + 1} rules" in after

    asked = ("ask", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--engine", "plain", "--json")
    assert "seen" in json.loads(run(*asked, "--rules", str(rules)).stdout)["responses"][0]["against"][0]["tags"]
    assert "seen" not in json.loads(run(*asked).stdout)["responses"][0]["against"][0]["tags"]
    by_environment = run(*asked, environ={"ADVISOR_RULES": str(rules)})
    assert json.loads(by_environment.stdout)["responses"][0]["against"][0]["tags"][-1] == "seen"

    rule.write_text(RULE.replace("exchange.by", "exchange.bye"), encoding="utf-8")
    result = run("check", str(pack), "--engine", "plain", "--rules", str(rules))
    assert result.exit_code == 2
    assert f"{rule}:7:" in result.stderr
    assert "did you mean `exchange.by`" in result.stderr


def test_a_pack_of_ones_own_can_be_asked_and_shown(run: Run, pack: Path) -> None:
    edit(pack / "pack.yaml", "id: cold_frame", "id: second")
    second = pack.rename(pack.parent / "second")
    packs = ("--packs", str(second), "--engine", "plain")
    listed = json.loads(run("show", "--json", *packs).stdout)
    assert [(p["id"], p["default"]) for p in listed] == [("cold_frame", True), ("second", False)]
    asked = run("ask", "wenna", "marl", "--neutral", "--pack", "second", "--json", *packs)
    assert json.loads(asked.stdout)["pack"]["id"] == "second"
    default = run("show", "--json", *packs, environ={"ADVISOR_DEFAULT_PACK": "second"})
    assert [p["default"] for p in json.loads(default.stdout)] == [False, True]


def test_faults_of_data_as_json_are_a_problem(run: Run, pack: Path) -> None:
    line = edit(pack / "characters" / "wenna.yaml", "level: high", "level: hihg")
    result = run("show", "--json", "--packs", str(pack))
    assert (result.exit_code, result.stdout) == (2, "")
    problem = json.loads(result.stderr)
    assert (problem["code"], problem["status"]) == ("data-faulty", 500)
    assert f"wenna.yaml:{line}:" in problem["detail"]


@pytest.mark.parametrize(
    ("environ", "said"),
    [
        ({"ADVISOR_PROT": "1"}, "error[value-invalid]: no setting is called `ADVISOR_PROT`"),
        ({"ADVISOR_ENGINE": "fast"}, "error[value-invalid]: `ADVISOR_ENGINE` is `fast`"),
        ({"ADVISOR_DEFAULT_PACK": "zz"}, "error[pack-unknown]: no pack `zz` is loaded"),
    ],
)
def test_settings_that_are_wrong(run: Run, environ: dict[str, str], said: str) -> None:
    result = run("show", environ=environ)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(said)
