"""The commands ``import``, ``export`` and ``mapping``: move tables of spreadsheets and back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import msgspec
from rich.console import Console, Group, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from advisor.clients import table as tables_of
from advisor.clients.running import FOLDER, guarded, json_option, print_json, settings_of
from advisor.errors import QuestionError, did_you_mean
from advisor.library import bundled_rules
from advisor.tables.export import export_character
from advisor.tables.importing import ImportReport, import_table
from advisor.tables.start import FirstMapping, first_mapping

__all__ = ["COMMANDS", "export", "import_", "mapping"]

SHOWN_ROWS = 60
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
OUT = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("file", type=FILE)
@click.option("--mapping", "mapped", required=True, type=FILE, help="Mapping file; `advisor mapping` starts one.")
@click.option(
    "--pack-folder", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder of the pack."
)
@click.option("--character", required=True, help="Id of the character whose moves the table has.")
@click.option("--new", is_flag=True, help="Start the character's file, and the pack, when they are not there.")
@click.option("--dry-run", is_flag=True, help="Only report what would happen.")
@json_option
def import_(
    file: Path, mapped: Path, pack_folder: Path, character: str, new: bool, dry_run: bool, as_json: bool
) -> None:
    """Import the move table FILE (CSV or XLSX) into a character's file of a pack.

    All or nothing: when one cell is refused, or the pack would not load, no file is touched and the
    command ends with 2.
    """

    def run() -> None:
        report = _imported(file, mapped, pack_folder, character, new, dry_run, quiet=as_json)
        if as_json:
            print_json(report)
        else:
            Console(soft_wrap=True).print(_report_view(report, dry_run))
        if report.refused_in_all:
            raise SystemExit(2)

    guarded(run, as_json=as_json)


def _imported(
    file: Path, mapped: Path, folder: Path, character: str, new: bool, dry_run: bool, *, quiet: bool
) -> ImportReport:
    console = Console(stderr=True)
    columns = (TextColumn("reading"), BarColumn(), TextColumn("{task.completed} rows"), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("rows", total=None)
        return import_table(
            file,
            mapped,
            folder,
            character,
            new=new,
            dry_run=dry_run,
            progress=lambda rows: bar.update(task, completed=rows),
        )


def _report_view(report: ImportReport, dry_run: bool) -> RenderableType:
    parts: list[RenderableType] = [tables_of.findings_view(report.refused)]
    more = report.refused_in_all - len(report.refused)
    if more > 0:
        parts.append(Text(f"... and {more} more refused"))
    shown = [one for one in report.taken if one.state != "same" or one.dropped]
    if shown:
        rows = Table("row", "move", "what", "changes", box=None, pad_edge=False)
        for one in shown[:SHOWN_ROWS]:
            changes = [f"{c.property}: {_value(c.old)} -> {_value(c.new)}" for c in one.changes]
            changes += [f"dropped {text}" for text in one.dropped]
            rows.add_row(str(one.row), Text(one.move), one.state, Text(", ".join(changes)))
        parts.append(rows)
        if len(shown) > SHOWN_ROWS:
            parts.append(Text(f"... and {len(shown) - SHOWN_ROWS} more rows"))
    parts.append(tables_of.findings_view(report.warnings))
    if report.only_in_file:
        parts.append(Text(f"only in the file, kept: {', '.join(report.only_in_file)}"))
    counted = ", ".join(f"{report.count(state)} {state}" for state in ("new", "changed", "same"))
    aside = f", {report.other_rows} of other characters, {report.blank_rows} blank"
    parts.append(Text(f"{report.rows} rows: {counted}, {report.refused_in_all} refused{aside}"))
    parts.append(Text(_outcome(report, dry_run)))
    return Group(*parts)


def _outcome(report: ImportReport, dry_run: bool) -> str:
    if report.refused_in_all:
        return f"nothing is written: {report.file} is as it was"
    if report.written:
        return f"written: {report.file}"
    return f"would be written: {report.file}" if dry_run and report.count("same") < len(report.taken) else "no change"


def _value(value: Any) -> str:
    if value is None:
        return "nothing"
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()


@click.command()
@click.argument("pack")
@click.argument("character")
@click.option("--to", "target", required=True, type=OUT, help="CSV file to write.")
@click.option("--mapping", "mapped", type=OUT, help="Where the mapping goes; beside the table when left out.")
@click.option("--packs", multiple=True, type=FOLDER, help="Folder of a pack of your own; may be repeated.")
def export(pack: str, character: str, target: Path, mapped: Path | None, packs: tuple[Path, ...]) -> None:
    """Write the moves of CHARACTER of PACK (an id or a folder) as a CSV table, and the mapping that reads it back."""

    def run() -> None:
        made = export_character(_pack_folder(pack, packs), character)
        beside = mapped or target.with_suffix(".mapping.yaml")
        _write(target, made.table)
        _write(beside, made.mapping)
        by_key: dict[str, list[str]] = {}
        for move, key in made.left_out:
            by_key.setdefault(key, []).append(move)
        for key, moves in sorted(by_key.items()):
            click.echo(f"not in the table: {key} of {', '.join(moves)}")
        click.echo(f"{made.moves} moves in {target}, mapping in {beside}")

    guarded(run)


def _pack_folder(pack: str, packs: tuple[Path, ...]) -> Path:
    """The folder of a pack. Errors: ``QuestionError`` when there is none of that name."""
    if Path(pack).is_dir():
        return Path(pack)
    bundled = sorted(path for path in (bundled_rules() / "packs").iterdir() if path.is_dir())
    folders = {path.resolve().name: path for path in (*bundled, *settings_of(packs, (), None).packs)}
    if pack not in folders:
        help = did_you_mean(pack, folders) or f"there are {', '.join(sorted(folders))}"
        raise QuestionError("pack-unknown", f"there is no pack `{pack}`", help=help, pointer="/pack")
    return folders[pack]


@click.command()
@click.argument("file", type=FILE)
@click.option("--out", required=True, type=OUT, help="Mapping file to write; it must not be there yet.")
@click.option("--sheet", help="XLSX: the sheet with the moves.")
@click.option("--header-row", type=click.IntRange(1, 1000), default=1, help="Row with the headings (1).")
def mapping(file: Path, out: Path, sheet: str | None, header_row: int) -> None:
    """Start a mapping for the move table FILE (CSV or XLSX) from its headings; what is unsure is asked in it."""

    def run() -> None:
        if out.exists():
            raise QuestionError(
                "question-impossible", f"`{out}` is there already", help="name another file", pointer="/out"
            )
        made = first_mapping(file, sheet=sheet, header_row=header_row)
        _write(out, made.text)
        _say_first(made, out)

    guarded(run)


def _say_first(made: FirstMapping, out: Path) -> None:
    for heading, name in made.matched:
        click.echo(f"`{heading}` is `{name}`: the heading is in the word list")
    for question in made.questions:
        click.echo(f"to decide: {question}")
    click.echo(f"written: {out}")


def _write(path: Path, text: str) -> None:
    try:
        path.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise QuestionError(
            "value-invalid", f"`{path}` cannot be written: {error.strerror}", pointer="/out"
        ) from None


COMMANDS = {"import": import_, "export": export, "mapping": mapping}
"""Name of each command to the command, for the group ``advisor``."""
