"""Pictures on the command line: the files, their themes, and that nobody else waits for the drawing library."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from command_line import Run
from litestar.testing import TestClient

from advisor.pictures.look import THEMES
from advisor.pictures.offers import PNG, SVG
from advisor.service.app import Service
from advisor.service.weighing.tasks import TASKS

SIGNATURE = b"\x89PNG\r\n\x1a\n"
"""First bytes of a PNG (ISO/IEC 15948, 5.2)."""
COVERAGE = ("coverage", "marl", "wenna", "--knockdown", "face_up", "--frames", "20", "--at", "close")
ASKED = {
    "coverage": (*COVERAGE, "--limit", "3"),
    "replay": (
        "replay", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--option", "putty_jab",
        "--reply", "guard",
    ),
    "guess": ("guess", "marl", "wenna", "--advantage", "4", "--held", "blockstun", "--at", "close", "--limit", "4"),
    "round": ("round", "marl", "wenna", "--at", "close", "--steps", "6", "--options", "3"),
}  # fmt: skip
HEAVY = ("numpy", "scipy", "matplotlib", "highspy")


def words(path: Path) -> str:
    """All that an SVG says, its description too."""
    return " ".join(ElementTree.parse(path).getroot().itertext())


@pytest.mark.parametrize("study", ASKED)
def test_both_files_are_written_and_the_answer_is_still_printed(run: Run, tmp_path: Path, study: str) -> None:
    svg, png = tmp_path / "a.svg", tmp_path / "a.png"
    said = run(*ASKED[study], "--svg", str(svg), "--png", str(png))
    assert (said.exit_code, said.stdout) == (0, run(*ASKED[study]).stdout)
    assert ElementTree.parse(svg).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert png.read_bytes().startswith(SIGNATURE)


@pytest.mark.full
@pytest.mark.parametrize("study", ASKED)
def test_the_dark_theme_has_dark_paper(run: Run, tmp_path: Path, study: str) -> None:
    drawn = {}
    for theme in THEMES:
        path = tmp_path / f"{theme}.svg"
        assert run(*ASKED[study], "--svg", str(path), "--theme", theme).exit_code == 0
        drawn[theme] = path.read_text("utf-8")
    assert THEMES["dark"].paper in drawn["dark"] and THEMES["dark"].paper not in drawn["light"]
    assert THEMES["dark"].ink in drawn["dark"] and THEMES["light"].ink not in drawn["dark"]


def test_a_theme_that_is_none_is_refused(run: Run, tmp_path: Path) -> None:
    said = run(*ASKED["replay"], "--svg", str(tmp_path / "a.svg"), "--theme", "dusk")
    assert said.exit_code == 2 and "--theme" in said.stderr and not (tmp_path / "a.svg").exists()


@pytest.mark.parametrize(("form", "media_type"), [("svg", SVG), ("png", PNG)])
def test_the_file_is_what_the_service_sends(
    run: Run, client: TestClient[Service], tmp_path: Path, form: str, media_type: str
) -> None:
    path = tmp_path / "a"
    assert run(*ASKED["coverage"], f"--{form}", str(path)).exit_code == 0
    body = {k: v for k, v in TASKS["coverage"].example.items() if k != "spread"}
    sent = client.post("/v1/coverage", json=body, headers={"accept": media_type})
    assert path.read_bytes() == sent.content


def test_timing_shows_the_row_that_is_named(run: Run, tmp_path: Path) -> None:
    rows = json.loads(run(*ASKED["coverage"], "--json").stdout)["rows"]
    for row, more in ((rows[0], ()), (rows[2], ("--row", rows[2]["option"]))):
        path = tmp_path / f"{row['option']}.svg"
        assert run(*ASKED["coverage"], "--picture", "timing", *more, "--svg", str(path)).exit_code == 0
        said = words(path)
        assert row["name"] in said and "my delay, frames" in said
        assert not any(other["name"] in said for other in rows if other is not row)


def test_a_row_that_is_none_is_an_error_of_the_question(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    said = run(*ASKED["coverage"], "--picture", "timing", "--row", "ash_sweeb", "--svg", str(path), "--json")
    problem = json.loads(said.stderr)
    assert (said.exit_code, problem["code"], problem["pointer"]) == (2, "option-unknown", "/row")
    assert "ash_sweep" in problem["help"] and not path.exists()


@pytest.mark.parametrize("study", ASKED)
def test_a_file_that_cannot_be_written_is_said(run: Run, tmp_path: Path, study: str) -> None:
    said = run(*ASKED[study], "--png", str(tmp_path / "none" / "a.png"))
    assert said.exit_code == 2
    assert "`--png`" in said.stderr and "cannot be written" in said.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("ask", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching"),
        ("replay", "wenna", "marl", "--neutral", "--at", "mid", "--option", "putty_jab", "--reply", "jump"),
    ],
)
def test_what_needs_no_numbers_loads_no_library_for_them(words: tuple[str, ...]) -> None:
    script = (
        "import sys\nfrom click.testing import CliRunner\nfrom advisor.clients.cli import main\n"
        f"said = CliRunner().invoke(main, {list(words)!r})\n"
        f"print(said.exit_code, *(name for name in {HEAVY!r} if name in sys.modules))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0"]
