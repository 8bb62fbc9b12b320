"""Completion: the script of each shell, and the ids that stand in each place."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from advisor.clients.cli import main
from advisor.clients.completion import SHELLS, completion, with_ids
from advisor.library import bundled_rules
from advisor.pack.load import load_pack
from advisor.service.settings import Settings
from advisor.studies import STUDIES

FOLDER = bundled_rules() / "packs" / "cold_frame"
PACK = load_pack(FOLDER).pack
MARL, WENNA = PACK.characters["marl"], PACK.characters["wenna"]
SHARED = {*PACK.system, *PACK.wake_ups}


class Root(click.Group):
    """The command with all its parameters completed."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        found = main.get_command(ctx, cmd_name)
        return None if found is None else with_ids(found)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return main.list_commands(ctx)


@pytest.fixture
def complete(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], set[str]]:
    for name in Settings.__struct_fields__:
        monkeypatch.delenv(f"ADVISOR_{name.upper()}", raising=False)

    def completed(line: str) -> set[str]:
        *words, begun = line.split(" ")
        return {item.value for item in ShellComplete(Root("advisor"), {}, "advisor", "").get_completions(words, begun)}

    return completed


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("ask ", set(PACK.characters)), ("ask w", {"wenna"}), ("ask wenna ma", {"marl"}), ("ask zz", set()),
        ("ask wenna marl --i-blocked ", set(MARL.moves)), ("ask wenna marl --they-blocked ", set(WENNA.moves)),
        ("ask wenna marl --i-blocked cinder", {m for m in MARL.moves if m.startswith("cinder")}),
        ("ask wenna marl --i-was-hit nobody", set()), ("ask wenna nobody --they-whiffed ", set()),
        ("ask wenna marl --responses ", {*WENNA.moves, *SHARED}),
        ("ask wenna marl --responses putty_jab,putty", {f"putty_jab,{m}" for m in WENNA.moves
                                                       if m.startswith("putty") and m != "putty_jab"}),
        ("ask wenna marl --replies ", {*MARL.moves, *SHARED, "key", "all"}),
        ("ask wenna marl --at ", set(PACK.conventions.distances)),
        ("ask wenna marl --knockdown ", set(PACK.conventions.knockdowns)), ("ask wenna marl --pack ", {"cold_frame"}),
        ("ask wenna marl --pack none --i-blocked ", set()),
        ("ask wenna marl --held ", {"recovery", "blockstun", "hitstun"}),
        ("beats marl ", {*MARL.moves, *SHARED}), ("beats marl x --by ", set(PACK.characters)),
        ("baits wenna marl --moves ", {*WENNA.moves, *SHARED}), ("baits wenna marl --replies ", {*MARL.moves, *SHARED}),
        ("exposed wenna --them marl --option ", {*MARL.moves, *SHARED}),
        ("replay wenna marl --option ", {*WENNA.moves, *SHARED}),
        ("replay wenna marl --reply ", {*MARL.moves, *SHARED}),
        ("strings wenna --starter ", set(WENNA.moves)), ("show ", {"cold_frame"}), ("show cold_frame m", {"marl"}),
        ("show cold_frame marl ", {*MARL.moves, *SHARED}), ("export cold_frame ", set(PACK.characters)),
        ("trial wenna marl --option ", {*WENNA.moves, *SHARED}), ("sets add a b --study ", set(STUDIES)),
        ("sets add a b wenna marl --i-blocked ", set(MARL.moves)),
    ],
)  # fmt: skip
def test_ids_stand_where_they_go(complete: Callable[[str], set[str]], line: str, words: set[str]) -> None:
    assert complete(line) == words


def test_a_pack_of_the_users_own_is_completed_and_a_faulty_one_to_nothing(
    complete: Callable[[str], set[str]], tmp_path: Path
) -> None:
    own = tmp_path / "second"
    shutil.copytree(FOLDER, own)
    text = (own / "pack.yaml").read_text("utf-8").replace("id: cold_frame", "id: second", 1)
    (own / "pack.yaml").write_text(text, encoding="utf-8")
    (own / "characters" / "marl.yaml").unlink()
    assert complete(f"ask --packs {own} --pack ") == {"cold_frame", "second"}
    assert complete(f"ask --packs {own} --pack second ") == set(PACK.characters) - {"marl"}
    (own / "pack.yaml").write_text("id: [", encoding="utf-8")
    assert complete(f"ask --packs {own} --pack second ") == set()


def test_words_come_with_their_names() -> None:
    items = ShellComplete(Root("advisor"), {}, "advisor", "").get_completions(["ask", "wenna"], "mar")
    assert [(item.value, item.help) for item in items] == [("marl", MARL.name)]


def test_a_command_still_takes_any_word() -> None:
    command = main.get_command(click.Context(main), "ask")
    assert command is not None
    said = CliRunner().invoke(with_ids(command), ["wena", "marl", "--neutral", "--engine", "plain"])
    assert said.exit_code == 2 and "did you mean `wenna`?" in said.stderr


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_of_a_shell_asks_the_command(shell: str) -> None:
    said = CliRunner().invoke(completion, [shell])
    assert said.exit_code == 0
    assert f"_ADVISOR_COMPLETE={shell}_complete" in said.stdout


def test_an_unknown_shell_is_refused() -> None:
    said = CliRunner().invoke(completion, ["dos"])
    assert said.exit_code == 2 and "bash" in said.stderr


def test_completion_reads_no_rules_and_loads_no_solver() -> None:
    script = (
        "import sys\nfrom click.shell_completion import ShellComplete\n"
        "from advisor.clients.cli import main\nfrom advisor.clients.completion import with_ids\n"
        "import advisor.rules.load as rules\n"
        "def refuse(*_, **__): raise AssertionError('rules are read')\n"
        "rules.load_rules = refuse\nimport advisor.library as library\nlibrary.load_rules = refuse\n"
        "items = ShellComplete(with_ids(main), {}, 'advisor', '').get_completions(['ask'], 'mar')\n"
        "print([i.value for i in items], 'numpy' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "['marl'] False\n"
