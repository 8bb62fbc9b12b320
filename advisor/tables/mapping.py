"""The mapping file: which column of a table says what, and in which forms.

Nothing about a table is guessed: a cell is taken only in a form that its column declares, a column
is either mapped or ignored, and what a blank means is declared (a blank is refused until it is).
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from advisor.documents import Path_, read_document
from advisor.errors import DataError
from advisor.pack.check import Report, quoted, read_form
from advisor.pack.written_move import Written
from advisor.tables.properties import NUMERIC, PROPERTIES, Property

__all__ = ["DECIDE", "Column", "Encoding", "Mapping", "TableFile", "Who", "check_mapping", "forms_of", "read_mapping"]

DECIDE = "decide"
"""What a first mapping has where its user must decide; refused until it is replaced."""

Encoding: TypeAlias = Literal["utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252", "shift_jis"]
Form: TypeAlias = Literal["number", "signed", "range", "span", "prefixed", "suffixed", "plus_range", "word"]
Missing: TypeAlias = Literal["unknown", "none", "absent", "keep", "refuse"]
Name: TypeAlias = Annotated[
    Literal[
        "id",
        "name",
        "input",
        "kind",
        "level",
        "startup",
        "active",
        "recovery",
        "total",
        "damage",
        "chip",
        "on_block",
        "on_hit",
        "on_counter_hit",
        "blockstun",
        "hitstun",
        "reach",
        "pushback",
        "pushback_block",
        "pushback_hit",
        "tracking",
        "breaks",
        "tags",
        "cost",
        "note",
        "source",
    ],
    Meta(description="Property of a move, a key of the written form."),
]
Heading: TypeAlias = Annotated[str, Meta(min_length=1, max_length=200)]


class TableFile(Written, frozen=True):
    """What kind of file the table is."""

    form: Annotated[Literal["csv", "xlsx"], Meta(description="Kind of file.")]
    delimiter: Annotated[
        Literal[",", ";", "tab", "|", "decide"] | None, Meta(description="CSV: what stands between cells; required.")
    ] = None
    encoding: Annotated[
        Encoding | Literal["decide"] | None, Meta(description="CSV: encoding of the text; required.")
    ] = None
    sheet: Annotated[
        Heading | None, Meta(description="XLSX: name of the sheet; may be left out when there is only one.")
    ] = None
    formulas: Annotated[
        Literal["refuse", "values"],
        Meta(description="XLSX: cells with a formula are refused, or give the value stored with them."),
    ] = "refuse"
    header_row: Annotated[
        int, Meta(ge=1, le=1000, description="Row with the headings; rows above it are not read.")
    ] = 1
    spaces: Annotated[
        Literal["trimmed", "kept"], Meta(description="What becomes of spaces at both ends of a cell.")
    ] = "trimmed"
    leading_apostrophe: Annotated[
        Literal["kept", "removed"],
        Meta(description="`removed`: one `'` in front of a cell marks it as text and is no part of it."),
    ] = "kept"


class Who(Written, frozen=True):
    """The column that says whose move a row is, in a table of several characters."""

    column: Annotated[Heading, Meta(description="Heading of the column.")]
    words: Annotated[
        dict[str, str], Meta(description="Cell text to character id; other cells are ids themselves.")
    ] = {}


class Column(Written, frozen=True):
    """One column: the property it carries, and the forms in which its cells are written."""

    column: Annotated[Heading, Meta(description="Heading of the column, as the table has it.")]
    property: Name
    forms: Annotated[
        list[Form],
        Meta(
            description="How numbers are written, tried in this order. `number`: 12. `signed`: +3, -8, 0. "
            "`range`: 13-14. `span`: active frames as first-last, 13-15 is 3. `prefixed`: i13. `suffixed`: "
            "-8 (jump). `plus_range`: +3~+5. `word`: held, or the name of a distance of the pack."
        ),
    ] = []
    prefixes: Annotated[list[Heading], Meta(description="With `prefixed`: what may stand in front.")] = []
    suffix: Annotated[
        Literal["note", "tag", "drop", "refuse"] | None,
        Meta(description="With `suffixed`: what stands behind becomes a note or a tag, is dropped, or is refused."),
    ] = None
    suffix_tags: Annotated[dict[str, str], Meta(description="With `suffix: tag`: what stands behind, to tag.")] = {}
    range: Annotated[
        Literal["first", "last", "unknown", "refuse"] | None, Meta(description="With `range`: which end is taken.")
    ] = None
    plus_range: Annotated[
        Literal["lowest", "highest", "unknown"] | None, Meta(description="With `plus_range`: which end is taken.")
    ] = None
    blank: Annotated[
        Missing,
        Meta(
            description="What a blank cell means: `unknown`; it has `none`; the key is left out (`absent`), which "
            "means what the pack says; what the character's file has stays (`keep`); or `refuse`."
        ),
    ] = "refuse"
    not_available: Annotated[list[str], Meta(description="Cell texts that mean that there is no value.")] = []
    not_available_means: Annotated[
        Literal["unknown", "none", "absent", "keep"] | None, Meta(description="With `not_available`: what they mean.")
    ] = None
    words: Annotated[dict[str, str], Meta(description="Cell text to word, for words, lists and `word`.")] = {}
    separator: Annotated[
        Annotated[str, Meta(min_length=1, max_length=5)], Meta(description="What stands between the words of a list.")
    ] = " "


class Mapping(Written, frozen=True):
    """How one table is read."""

    format: Annotated[Literal[1], Meta(description="Version of this file format.")]
    file: Annotated[TableFile, Meta(description="The kind of file.")]
    startup_counts: Annotated[
        Literal["first_active", "before_active", "decide"],
        Meta(description="Whether the table's startup includes the first active frame. Never assumed."),
    ]
    columns: Annotated[list[Column], Meta(min_length=1, max_length=256, description="The columns that are read.")]
    decimal: Annotated[Literal["point", "comma"], Meta(description="What stands in front of decimals.")] = "point"
    distance_factor: Annotated[
        Annotated[float, Meta(gt=0, le=100_000)],
        Meta(description="Distances of the table times this are in the pack's unit."),
    ] = 1.0
    character: Annotated[Who | None, Meta(description="Whose move a row is; all rows when left out.")] = None
    ignore: Annotated[
        list[Heading] | Literal["others"],
        Meta(description="Headings that are not read, or `others`: all unmapped ones."),
    ] = []


def read_mapping(path: Path) -> Mapping:
    """The mapping in a YAML file. Errors: ``DataError`` with every fault, placed on its line."""
    report = Report(read_document(path))
    mapping = read_form(report, Mapping)
    if mapping is not None:
        check_mapping(report, mapping)
    if mapping is None or report.findings:
        raise DataError(report.findings)
    return mapping


def check_mapping(report: Report, mapping: Mapping) -> None:
    """Faults of meaning in a mapping whose form is right."""
    if mapping.startup_counts == DECIDE:
        report.fault(
            "mapping-undecided",
            "`startup_counts` is still to be decided",
            ("startup_counts",),
            help="`first_active` when the table's number includes the first active frame (a move of 10 touches on "
            "frame 10), `before_active` when it counts only the frames before (that move touches on frame 11)",
        )
    _check_file(report, mapping.file)
    headings: dict[str, str] = {}
    carried: dict[str, str] = {}
    for number, column in enumerate(mapping.columns):
        at: Path_ = ("columns", number)
        for key, seen, word in (("column", headings, column.column), ("property", carried, column.property)):
            if word in seen:
                report.fault("mapping-twice", f"{key} `{word}` stands twice", (*at, key), help="keep one of them")
            seen[word] = word
        _check_column(report, column, at)
    if not carried.keys() & {"id", "name"} and mapping.columns:
        report.fault(
            "mapping-no-id", "no column carries `id` or `name`", ("columns",), help="a move needs one of them"
        )
    for number, heading in enumerate(mapping.ignore if isinstance(mapping.ignore, list) else []):
        if heading in headings:
            report.fault("mapping-twice", f"column `{heading}` is both read and ignored", ("ignore", number))


def _check_file(report: Report, file: TableFile) -> None:
    for key in ("delimiter", "encoding"):
        value = getattr(file, key)
        if file.form == "xlsx" and value is not None:
            report.fault("mapping-idle", f"`{key}` is for csv files", ("file", key), help="take it out", key=True)
        elif file.form == "csv" and value in (None, DECIDE):
            known = "`,`, `;`, `tab` or `|`" if key == "delimiter" else "`utf-8`, `utf-16`, `latin-1`, `cp1252` ..."
            path = ("file", key) if value else ("file",)
            report.fault("mapping-undecided", f"a csv file needs its `{key}`", path, help=f"state it: {known}")
    if file.form == "csv" and file.sheet is not None:
        report.fault("mapping-idle", "`sheet` is for xlsx files", ("file", "sheet"), help="take it out", key=True)


# Which forms the numbers of each sort can have.
_FORMS = {
    "count": {"number", "range", "prefixed", "suffixed"},
    "signed": {"number", "signed", "plus_range", "prefixed", "suffixed"},
    "amount": {"number", "signed", "prefixed", "suffixed"},
}
_NEEDS = {"prefixed": "prefixes", "suffixed": "suffix", "range": "range", "plus_range": "plus_range"}


def forms_of(name: str, about: Property) -> set[str]:
    """The forms that cells of a property can have."""
    forms = set(_FORMS.get(about.sort, ()))
    if name == "active":
        forms.add("span")
    if forms and (about.words or about.declared or about.may_be_none):
        forms.add("word")
    return forms


def _check_column(report: Report, column: Column, at: Path_) -> None:
    about = PROPERTIES[column.property]
    possible = forms_of(column.property, about)
    listed = ", ".join(f"`{form}`" for form in sorted(possible))
    for number, form in enumerate(column.forms):
        if form not in possible:
            help = f"it can have {listed}" if possible else "leave `forms` out"
            report.fault(
                "form-misplaced", f"`{column.property}` has no form `{form}`", (*at, "forms", number), help=help
            )
    if about.sort in NUMERIC and not column.forms:
        report.fault("forms-missing", f"`{column.property}` needs `forms`", at, help=f"one or more of {listed}")
    for needing, key in _NEEDS.items():
        stated = bool(getattr(column, key))
        if needing in column.forms and not stated:
            report.fault("mapping-undecided", f"form `{needing}` needs the key `{key}`", at)
        elif stated and needing not in column.forms:
            report.fault("mapping-idle", f"`{key}` goes with the form `{needing}`", (*at, key), key=True)
    if column.suffix == "tag" and not column.suffix_tags:
        report.fault("mapping-undecided", "`suffix: tag` needs `suffix_tags`", (*at, "suffix"))
    if column.words and about.sort not in ("word", "list") and "word" not in column.forms:
        report.fault("mapping-idle", f"`words` says nothing for `{column.property}`", (*at, "words"), key=True)
    if bool(column.not_available) != bool(column.not_available_means):
        report.fault("mapping-undecided", "`not_available` and `not_available_means` go together", at)
    for key in ("blank", "not_available_means"):
        if getattr(column, key) == "none" and not about.may_be_none:
            report.fault(
                "mapping-no-none",
                f"{quoted(column.property)} cannot be `none`",
                (*at, key),
                help="`unknown`, `absent` or `keep`",
            )
