"""The command ``advisor``: ask, look up, check a pack, serve."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import click
from rich.console import Console, RenderableType

from advisor.clients import table
from advisor.clients.advice_view import advice_view
from advisor.clients.asking import question_of, question_options, trials_options
from advisor.clients.lab import tried_in_lab
from advisor.clients.later import Later
from advisor.clients.running import (
    FOLDER,
    data_options,
    engine_option,
    guarded,
    library_of,
    print_json,
    rules_option,
    run_options,
    settings_of,
)
from advisor.clients.studies.registry import COMMANDS
from advisor.library import Library, load_shelf
from advisor.sentences import languages, speaking
from advisor.sentences.catalogue import ENGLISH
from advisor.service.listing.move_form import move_form
from advisor.service.listing.moves import SORTABLE, Filter, Kind, pick, read_filter
from advisor.service.listing.named import the_character, the_move, the_pack
from advisor.service.wire import character_info, move_info, pack_info

__all__ = ["main"]


@click.group(cls=Later, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="situation-advisor")
@click.option("--language", envvar="ADVISOR_LANGUAGE", metavar="TAG", help="Language of sentences (en), as `de`.")
@click.pass_context
def main(ctx: click.Context, language: str | None) -> None:
    """Situation advisor for fighting games: what to do here, ranked, and why.

    Hints are for study, replays, casting and practice; rules on live help in competition are the organiser's and the
    game's, and come first.
    """
    if language is not None and language not in languages():
        said = f"no sentences in `{language}`; there are {', '.join(languages())}"
        raise click.BadParameter(said, ctx, param_hint="--language")
    ctx.with_resource(speaking(language or ENGLISH))


@main.command()
@click.argument("me")
@click.argument("them")
@question_options
@trials_options
@click.option("--why", is_flag=True, help="Show the rules and facts behind each response.")
@click.option("--sources", is_flag=True, help="With --why or --json: the properties behind the facts.")
@run_options
def ask(me: str, them: str, why: bool, sources: bool, **given: Any) -> None:
    """What should ME do against THEM now? Both are character ids.

    \b
    advisor ask wenna marl --i-blocked cinder_knee --at touching
    advisor ask wenna marl --they-blocked ladder_hop --at touching --why
    advisor ask marl wenna --knockdown face_up --frames 20 --at close
    """

    def run() -> None:
        question = question_of(me, them, sources, given)
        shelf = library_of(given).shelf(question.pack)
        settings = settings_of(given["packs"], given["rules"], given["engine"])
        advice = shelf.ask(question, tried_in_lab(question, shelf, settings))
        if given["as_json"]:
            print_json(advice)
        else:
            console = Console()
            console.print(advice_view(advice, why=why, width=console.width))

    guarded(run, as_json=given["as_json"])


@main.command()
@click.argument("pack", required=False)
@click.argument("character", required=False)
@click.argument("move", required=False)
@click.option("--q", help="Only moves with this text in id, name or input.")
@click.option("--kind", type=click.Choice(get_args(Kind)), help="Only moves of this kind.")
@click.option("--level", help="Only moves of this hit level.")
@click.option("--tag", help="Only moves with this tag.")
@click.option("--first-active-max", metavar="FRAME", help="Only moves that touch on this frame or before.")
@click.option("--on-block-min", metavar="FRAMES", help="Only moves with this advantage on block or more.")
@click.option("--on-block-max", metavar="FRAMES", help="Only moves with this advantage on block or less.")
@click.option("--damage-min", metavar="POINTS", help="Only moves of this damage or more.")
@click.option("--reach-min", metavar="DISTANCE", help="Only moves of this reach or more.")
@click.option("--unknown", metavar="PROPERTY", help="Only moves of which this property is not recorded.")
@click.option(
    "--sort", metavar="PROPERTY", help=f"Property to sort by, `-` in front for largest first: {', '.join(SORTABLE)}."
)
@run_options
def show(
    pack: str | None, character: str | None, move: str | None, as_json: bool, packs: tuple[Path, ...],
    rules: tuple[Path, ...], engine: str | None, **bounds: str | None,
) -> None:
    """List packs, the characters of a PACK, the moves of its CHARACTER, or one MOVE in full."""

    def run() -> None:
        wanted = read_filter((name, text) for name, text in bounds.items() if text is not None)
        library = library_of({"packs": packs, "rules": rules, "engine": engine})
        rows, view = _listing(library, pack, character, move, wanted)
        if as_json:
            print_json(rows)
        else:
            console = Console()
            console.print(table.moves_view(rows, width=console.width) if view is table.moves_view else view(rows))

    guarded(run, as_json=as_json)


def _listing(
    library: Library, pack: str | None, character: str | None, move: str | None, wanted: Filter
) -> tuple[Any, Callable[[Any], RenderableType]]:
    """What is listed, and how it is laid out. Errors: ``ParameterError`` for what is not there."""
    if pack is None:
        return [pack_info(s.pack, k == library.default) for k, s in library.shelves.items()], table.packs_view
    found = the_pack(library, pack)
    if character is None:
        return [character_info(c) for c in found.characters.values()], table.characters_view
    fighter = the_character(found, character)
    if move is None:
        return pick(found, [move_info(m) for m in fighter.moves.values()], wanted), table.moves_view
    one = the_move(found, fighter, move)
    system = move not in fighter.moves
    return move_form(one, pack=found.id, character=fighter.id, system=system), table.move_view


@main.command()
@click.argument("folder", type=FOLDER)
@engine_option
@rules_option
def check(folder: Path, rules: tuple[Path, ...], engine: str | None) -> None:
    """Check the pack in FOLDER: every fault and doubt at once, with file, line and what would be right."""

    def run() -> None:
        settings = settings_of((), rules, engine)
        shelf = load_shelf(folder, rules=settings.rules, engine=settings.engine)
        Console(soft_wrap=True).print(table.findings_view(shelf.warnings))
        moves = sum(len(c.moves) for c in shelf.pack.characters.values())
        click.echo(
            f"{shelf.pack.id} {shelf.pack.version}: {len(shelf.pack.characters)} characters, {moves} moves, "
            f"{len(shelf.rules.rules)} rules, {len(shelf.warnings)} warning(s), no fault"
        )

    guarded(run)


@main.command()
@click.option("--host", help="Address to listen on (127.0.0.1).")
@click.option("--port", type=click.IntRange(0, 65535), help="Port (8345); 0 takes a free one.")
@click.option("--servers", type=click.IntRange(1, 64), help="Processes that speak HTTP (1).")
@click.option(
    "--workers", type=click.IntRange(0, 64), help="Processes that weigh questions, for each server (2); 0: its own."
)
@click.option("--grace", type=click.IntRange(0, 600), help="Seconds that requests have when it is told to stop (5).")
@click.option("--access", type=click.Choice(["auto", "keys", "open"]), help="Whether keys are needed (auto).")
@click.option("--notebook", help="Address of the store; a file of the data folder.")
@click.option("--redis", help="Address of a Redis server, for live channels over several servers.")
@click.option("--log", type=click.Choice(["text", "json", "off"]), help="Form of the log (text).")
@click.option("--log-level", type=click.Choice(["debug", "info", "warning", "error"]), help="Least level (info).")
@data_options
def serve(packs: tuple[Path, ...], rules: tuple[Path, ...], engine: str | None, **more: Any) -> None:
    """Serve the REST interface until SIGTERM or Ctrl-C; SIGHUP reads packs and rules again.

    The other settings come from the environment or a file: `advisor settings` lists them.
    """

    def run() -> None:
        from advisor.service.running import server

        server.run(settings_of(packs, rules, engine, **more), say=click.echo)

    guarded(run)


for _name, _command in COMMANDS.items():
    main.add_command(_command, _name)


if __name__ == "__main__":
    main()
