"""Completion in the shell: ``advisor completion bash``, and the ids of packs, characters and options where they go."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem, get_completion_class
from click.types import StringParamType

from advisor.clients.asking import MOMENTS
from advisor.errors import AdvisorError
from advisor.library import DEFAULT_PACK, bundled_rules
from advisor.pack.load import load_pack
from advisor.pack.model import Move, Pack
from advisor.service.settings import read_settings
from advisor.studies import STUDIES

__all__ = ["COMMANDS", "completion", "with_ids"]

SHELLS = ("bash", "zsh", "fish")
Words = Mapping[str, str]
"""What may stand in a place, each with what it is called."""
Given = Mapping[str, Any]
"""The values of the parameters that stand before the one that is completed."""


@click.command("completion")
@click.argument("shell", type=click.Choice(SHELLS))
@click.pass_context
def completion(ctx: click.Context, shell: str) -> None:
    """Print the script that completes ``advisor`` in SHELL.

    \b
    bash: eval "$(advisor completion bash)"       in ~/.bashrc
    zsh:  eval "$(advisor completion zsh)"        in ~/.zshrc
    fish: advisor completion fish | source        in ~/.config/fish/completions/advisor.fish
    """
    kind = get_completion_class(shell)
    assert kind is not None, "the choices are the shells there are"
    root = ctx.find_root().command
    click.echo(kind(root, {}, "advisor", "_ADVISOR_COMPLETE").source())
    sys.exit(0)


class _Ids(StringParamType):
    """Text that is completed to the words of a pack; with ``several``, to a list of them with commas."""

    def __init__(self, words: Callable[[Given], Words], *, several: bool) -> None:
        self.words, self.several = words, several

    def shell_complete(self, ctx: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """The words that begin as what is there."""
        before, comma, begun = incomplete.rpartition(",") if self.several else ("", "", incomplete)
        try:
            words = self.words(_given(ctx))
        except (AdvisorError, OSError):
            # A pack with a fault completes to nothing; the command itself says what the fault is.
            return []
        chosen = before.split(",")
        return [
            CompletionItem(before + comma + word, help=said or None)
            for word, said in words.items()
            if word.startswith(begun) and word not in chosen
        ]


def _given(ctx: click.Context) -> Given:
    """The values that stand before; those of arguments, too, when the option that is completed has no value yet.

    Then the words were not dealt out to the arguments, and are left over in ``ctx.args``.
    """
    given, left = dict(ctx.params), iter(ctx.args)
    for param in ctx.command.params:
        if isinstance(param, click.Argument) and param.name and given.get(param.name) is None:
            given[param.name] = next(left, None)
    return given


def _folders(given: Given) -> dict[str, Path]:
    """The folder of every pack by its id; no file is read."""
    bundled = (path for path in (bundled_rules() / "packs").iterdir() if (path / "pack.yaml").is_file())
    own = (*read_settings().packs, *(given.get("packs") or ()))
    # The name of a pack's folder is its id.
    return {Path(path).resolve().name: Path(path) for path in (*sorted(bundled), *own)}


def _pack(given: Given) -> Pack | None:
    wanted = given.get("pack") or read_settings().default_pack or DEFAULT_PACK
    folder = _folders(given).get(wanted)
    return None if folder is None else load_pack(folder).pack


def _packs(given: Given) -> Words:
    return dict.fromkeys(_folders(given), "")


def _characters(given: Given) -> Words:
    pack = _pack(given)
    return {} if pack is None else {one.id: one.name for one in pack.characters.values()}


def _distances(given: Given) -> Words:
    pack = _pack(given)
    return {} if pack is None else dict.fromkeys(pack.conventions.distances, "")


def _knockdowns(given: Given) -> Words:
    pack = _pack(given)
    return {} if pack is None else {one.id: one.meaning for one in pack.conventions.knockdowns.values()}


def _studies(_: Given) -> Words:
    return {study.name: study.summary for study in STUDIES.values()}


def _of(whose: str, *, shared: bool = True, more: Iterable[str] = ()) -> Callable[[Given], Words]:
    """The moves of the character that the parameter ``whose`` names; with those that all have when ``shared``."""

    def words(given: Given) -> Words:
        pack = _pack(given)
        fighter = None if pack is None else pack.characters.get(given.get(whose) or "")
        if pack is None or fighter is None:
            return {}
        known: dict[str, Move] = {**fighter.moves, **(pack.system | pack.wake_ups if shared else {})}
        return {**{key: move.name for key, move in known.items()}, **dict.fromkeys(more, "")}

    return words


_MINE, _THEIRS = _of("me"), _of("them")
_WORDS: dict[str, Callable[[Given], Words]] = {
    "me": _characters, "them": _characters, "character": _characters, "by": _characters, "pack": _packs,
    "distance": _distances, "knockdown": _knockdowns, "study": _studies,
    **{name: _of(whose, shared=False) for name, (_, whose, _) in MOMENTS.items()},
    "responses": _MINE, "response": _MINE, "moves": _MINE, "answers": _MINE, "option": _MINE, "parry": _MINE,
    "actions": _MINE, "last": _MINE, "guards": _MINE,
    "replies": _of("them", more=("key", "all")), "reply": _THEIRS, "cover": _THEIRS,
    "move": _of("character"), "starter": _of("character", shared=False),
}  # fmt: skip
"""What completes a parameter, by its name."""
_ELSEWHERE: dict[tuple[str, str], Callable[[Given], Words]] = {
    ("beats", "moves"): _THEIRS, ("exposed", "option"): _THEIRS, ("baits", "replies"): _THEIRS,
}  # fmt: skip
"""The same by command and name, where it is another's or has other words."""
_SEVERAL = frozenset({"responses", "replies", "moves", "answers", "cover", "actions", "last", "guards"})
"""Parameters that take ids with commas."""


def with_ids(command: click.Command) -> click.Command:
    """The command, its parameters completed to ids; a group with all its commands."""
    for param in command.params:
        words = _ELSEWHERE.get((command.name or "", param.name or ""), _WORDS.get(param.name or ""))
        # Other types (files, choices) complete to their own.
        if words is not None and isinstance(param.type, StringParamType):
            param.type = _Ids(words, several=param.name in _SEVERAL)
    if isinstance(command, click.Group):
        for inner in command.commands.values():
            with_ids(inner)
    return command


COMMANDS = {"completion": completion}
"""Name of each command to the command, for the group ``advisor``."""
