"""The command ``advisor``: ask, look up, check a pack, serve."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
import msgspec
from rich.console import Console

from advisor.clients import table
from advisor.errors import AdvisorError, DataError, QuestionError
from advisor.facts.question import Question
from advisor.library import Library, load_shelf
from advisor.service.moves import SORTABLE, Filter, pick
from advisor.service.problems import problem_of
from advisor.service.settings import Settings, read_settings
from advisor.service.wire import character_info, move_info, pack_info
from advisor.service.work import load_settings

__all__ = ["main"]

F = TypeVar("F", bound=Callable[..., Any])

_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


def _settings(packs: tuple[Path, ...], rules: tuple[Path, ...], engine: str | None) -> Settings:
    settings = read_settings()
    return msgspec.structs.replace(
        settings,
        packs=(*settings.packs, *packs),
        rules=(*settings.rules, *rules),
        engine=engine or settings.engine,
    )


def _data_options(command: F) -> F:
    for option in (
        click.option("--packs", multiple=True, type=_FOLDER, help="Folder of a pack of your own; may be repeated."),
        click.option("--rules", multiple=True, type=_FOLDER, help="Folder of rules of your own; may be repeated."),
        click.option("--engine", type=click.Choice(["auto", "durable", "plain"]), help="What runs the rules."),
    ):
        command = option(command)
    return command


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="situation-advisor")
def main() -> None:
    """Situation advisor for fighting games: what to do here, ranked, and why.

    Hints are for study, replays, casting and practice; rules on live help in competition are the organiser's and the
    game's, and come first.
    """


def _guarded(as_json: bool, run: Callable[[], None]) -> None:
    """Run a command; an error of ours goes to standard error and ends with 2."""
    try:
        run()
    except AdvisorError as error:
        if as_json and not isinstance(error, DataError):
            click.echo(msgspec.json.encode(problem_of(error)).decode(), err=True)
        else:
            table.print_error(Console(stderr=True, soft_wrap=True), error)
        sys.exit(2)


MOMENTS = {
    "i_blocked": ("blocked", "them", "I blocked this move of theirs."),
    "they_blocked": ("blocked", "me", "They blocked this move of mine."),
    "i_was_hit": ("hit", "them", "This move of theirs hit me."),
    "they_were_hit": ("hit", "me", "This move of mine hit them."),
    "i_was_counter_hit": ("counter_hit", "them", "This move of theirs counter-hit me."),
    "they_were_counter_hit": ("counter_hit", "me", "This move of mine counter-hit them."),
    "i_whiffed": ("whiffed", "me", "This move of mine missed."),
    "they_whiffed": ("whiffed", "them", "This move of theirs missed."),
}


def _moment_options(command: F) -> F:
    for name, (_, _, said) in reversed(MOMENTS.items()):
        command = click.option(f"--{name.replace('_', '-')}", name, metavar="MOVE", help=said)(command)
    command = click.option("--advantage", type=click.IntRange(-200, 200), help="Raw frame advantage of mine.")(command)
    return click.option("--neutral", is_flag=True, help="Both are free.")(command)


@main.command()
@click.argument("me")
@click.argument("them")
@_moment_options
@click.option("--held", type=click.Choice(["recovery", "blockstun", "hitstun"]), help="With --advantage: what holds the later side (recovery).")
@click.option("--at", "distance", help="Distance at contact: a number or a named distance; unknown when left out.")
@click.option("--pack", help="Pack id.")
@click.option("--replies", help="Their options to weigh against: ids with commas, `key` or `all`.")
@click.option("--responses", help="Weigh only these options of mine: ids with commas.")
@click.option("--my-health", type=float, help="Health I have left.")
@click.option("--their-health", type=float, help="Health they have left.")
@click.option("--my-meter", type=int, help="Meter I have.")
@click.option("--my-stance", help="Stance I am in.")
@click.option("--near-wall/--no-wall", default=None, help="They are (not) near a wall.")
@click.option("--limit", type=click.IntRange(1, 400), default=8, show_default=True, help="How many responses to list.")
@click.option("--why", is_flag=True, help="Show the rules and facts behind each response.")
@click.option("--sources", is_flag=True, help="With --why: the properties behind every fact.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
@_data_options
def ask(
    me: str, them: str, as_json: bool, why: bool, packs: tuple[Path, ...], rules: tuple[Path, ...],
    engine: str | None, **given: Any,
) -> None:
    """What should ME do against THEM now? Both are character ids.

    \b
    advisor ask wenna marl --i-blocked cinder_knee --at touching
    advisor ask wenna marl --they-blocked ladder_hop --at touching --why
    """

    def run() -> None:
        question = _question(me, them, given)
        library = load_settings(_settings(packs, rules, engine))
        advice = library.ask(question)
        if as_json:
            click.echo(msgspec.json.format(msgspec.json.encode(advice), indent=2).decode())
        else:
            Console().print(table.advice_view(advice, why=why))

    _guarded(as_json, run)


def _question(me: str, them: str, given: dict[str, Any]) -> Question:
    """The question that the options spell. Errors: ``QuestionError``."""
    fighter: dict[str, Any] = {
        "character": me, "health": given["my_health"], "meter": given["my_meter"], "stance": given["my_stance"],
        "near_wall": given["near_wall"],
    }
    body: dict[str, Any] = {
        "me": fighter,
        "them": {"character": them, "health": given["their_health"]},
        "moment": _moment(given),
        "pack": given["pack"],
        "distance": _distance(given["distance"]),
        "limit": given["limit"],
        "sources": given["sources"],
    }
    if given["replies"]:
        words = _ids(given["replies"])
        body["replies"] = words[0] if words in (["key"], ["all"]) else words
    if given["responses"]:
        body["responses"] = _ids(given["responses"])
    try:
        return msgspec.convert(body, Question)
    except msgspec.ValidationError as error:
        raise QuestionError("value-invalid", str(error)) from None


def _ids(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _distance(text: str | None) -> float | str | None:
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return text


def _moment(given: dict[str, Any]) -> dict[str, Any]:
    chosen = [name for name in MOMENTS if given[name]]
    raw = given["advantage"] is not None
    if len(chosen) + raw + given["neutral"] != 1:
        raise QuestionError(
            "question-ambiguous" if len(chosen) + raw + given["neutral"] else "value-invalid",
            "name exactly one moment",
            help="one of " + ", ".join(f"--{n.replace('_', '-')}" for n in (*MOMENTS, "advantage", "neutral")),
        )
    if given["neutral"]:
        return {"kind": "neutral"}
    if raw:
        return {"kind": "advantage", "frames": given["advantage"], "held": given["held"] or "recovery"}
    kind, attacker, _ = MOMENTS[chosen[0]]
    return {"kind": kind, "attacker": attacker, "move": given[chosen[0]]}


@main.command()
@click.argument("pack", required=False)
@click.argument("character", required=False)
@click.option("--sort", type=str, help=f"Property to sort by, `-` in front for largest first: {', '.join(SORTABLE)}.")
@click.option("--level", help="Only moves of this hit level.")
@click.option("--tag", help="Only moves with this tag.")
@click.option("--unknown", help="Only moves of which this property is not recorded.")
@click.option("--first-active-max", type=int, help="Only moves that touch on this frame or before.")
@click.option("--on-block-max", type=int, help="Only moves with this advantage on block or less.")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
@_data_options
def show(
    pack: str | None, character: str | None, as_json: bool, packs: tuple[Path, ...], rules: tuple[Path, ...],
    engine: str | None, **bounds: Any,
) -> None:
    """List packs, the characters of a PACK, or the moves of its CHARACTER."""

    def run() -> None:
        library = load_settings(_settings(packs, rules, engine))
        rows, view = _listing(library, pack, character, bounds)
        if as_json:
            click.echo(json.dumps(msgspec.to_builtins(rows), indent=2))
        else:
            Console().print(view(rows))

    _guarded(as_json, run)


def _listing(
    library: Library, pack: str | None, character: str | None, bounds: dict[str, Any]
) -> tuple[list[Any], Callable[[Any], Any]]:
    if pack is None:
        return [pack_info(s.pack, k == library.default) for k, s in library.shelves.items()], table.packs_view
    found = library.shelf(pack, "").pack
    if character is None:
        return [character_info(c) for c in found.characters.values()], table.characters_view
    from advisor.service.app import the_character

    fighter = the_character(library, pack, character)
    moves = [move_info(m) for m in fighter.moves.values()]
    return pick(found, moves, Filter(**bounds)), table.moves_view


@main.command()
@click.argument("folder", type=_FOLDER)
@_data_options
def check(folder: Path, packs: tuple[Path, ...], rules: tuple[Path, ...], engine: str | None) -> None:  # noqa: ARG001
    """Check the pack in FOLDER: every fault and doubt at once, with file, line and what would be right."""

    def run() -> None:
        console = Console(soft_wrap=True)
        shelf = load_shelf(folder, rules=rules, engine=engine or "auto")
        console.print(table.findings_view(shelf.warnings))
        moves = sum(len(c.moves) for c in shelf.pack.characters.values())
        console.print(
            f"{shelf.pack.id} {shelf.pack.version}: {len(shelf.pack.characters)} characters, {moves} moves, "
            f"{len(shelf.rules.rules)} rules, {len(shelf.warnings)} warning(s), no fault",
            highlight=False,
            markup=False,
        )

    _guarded(False, run)


@main.command()
@click.option("--host", help="Address to listen on (127.0.0.1).")
@click.option("--port", type=click.IntRange(0, 65535), help="Port (8345).")
@click.option("--workers", type=click.IntRange(0, 64), help="Processes that weigh questions (2).")
@_data_options
def serve(
    host: str | None, port: int | None, workers: int | None, packs: tuple[Path, ...], rules: tuple[Path, ...],
    engine: str | None,
) -> None:
    """Serve the REST interface."""

    def run() -> None:
        import uvicorn

        from advisor.service.app import create_app

        settings = _settings(packs, rules, engine)
        settings = msgspec.structs.replace(
            settings,
            host=host or settings.host,
            port=settings.port if port is None else port,
            workers=settings.workers if workers is None else workers,
        )
        app = create_app(settings, load_settings(settings))
        uvicorn.run(app, host=settings.host, port=settings.port, log_level="info")

    _guarded(False, run)


if __name__ == "__main__":
    main()
