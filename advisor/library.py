"""The packs and rules at hand: those that come with the product, and the user's own by path."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from advisor.advice import Advice, Evaluator, Tried, advise
from advisor.errors import AdvisorError, DataError, Finding, Unanswerable, did_you_mean
from advisor.facts import Question
from advisor.pack.load import Loaded, load_pack, load_pack_files
from advisor.pack.model import Pack
from advisor.rules import make_evaluator
from advisor.rules.load import load_rules
from advisor.rules.model import RuleSet
from advisor.rules.vocabulary import load_vocabulary
from advisor.studies import STUDIES

__all__ = ["Library", "Shelf", "bundled_rules", "load_library", "load_shelf", "load_shelf_files"]

DEFAULT_PACK = "cold_frame"


def bundled_rules() -> Path:
    """The ``rules`` folder: inside the installed package, or beside it in a checkout.

    Errors: ``AdvisorError`` when neither is there.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "data" / "rules", here.parent / "rules"):
        if (folder / "vocabulary.yaml").is_file():
            return folder
    raise AdvisorError("fault", f"no rules folder in `{here}`", help="install the package again")


class Shelf(Struct, kw_only=True):
    """One pack with the rules that hold for it and what runs them."""

    pack: Pack
    rules: RuleSet
    evaluator: Evaluator
    warnings: tuple[Finding, ...]

    def ask(self, question: Question, tried: Tried | None = None) -> Advice:
        """The advice for a question about this pack; ``tried`` are the lab trials of its situation."""
        return advise(self.pack, self.rules, self.evaluator, question, tried)

    def study(self, name: str, request: Struct) -> Any:
        """The answer of the study ``name`` (a key of ``advisor.studies.STUDIES``) to its request.

        Errors: ``QuestionError`` and ``Unanswerable``; ``KeyError`` for a name that is none.
        """
        return STUDIES[name].run(self.pack, self.rules, self.evaluator, request)


class Library(Struct, kw_only=True):
    """All loaded packs by id; ``default`` is the one meant when a question names none."""

    shelves: dict[str, Shelf]
    default: str

    def shelf(self, pack: str | None, pointer: str = "/pack") -> Shelf:
        """The shelf of a pack id. Errors: ``Unanswerable`` for an id that is not loaded."""
        wanted = pack or self.default
        found = self.shelves.get(wanted)
        if found is None:
            raise Unanswerable(
                "pack-unknown",
                f"no pack `{wanted}` is loaded",
                help=did_you_mean(wanted, self.shelves) or f"loaded: {', '.join(sorted(self.shelves))}",
                pointer=pointer,
            )
        return found

    def ask(self, question: Question, tried: Tried | None = None) -> Advice:
        """The advice for a question about the pack that it names; ``tried`` are the lab trials of its situation."""
        return self.shelf(question.pack).ask(question, tried)

    def study(self, name: str, request: Struct) -> Any:
        """The answer of the study ``name`` about the pack that the request names; see ``Shelf.study``."""
        return self.shelf(getattr(request, "pack", None)).study(name, request)

    def with_engine(self, engine: str) -> Library:
        """The same packs and rules, run by another evaluator (``durable`` or ``plain``)."""
        shelves = {
            key: msgspec.structs.replace(shelf, evaluator=make_evaluator(shelf.rules, engine))
            for key, shelf in self.shelves.items()
        }
        return Library(shelves=shelves, default=self.default)


def load_shelf(folder: Path, *, rules: Sequence[Path] = (), engine: str = "auto") -> Shelf:
    """One pack folder with core rules, its own rules and ``rules`` on top.

    Errors: ``DataError`` with every finding of the pack, or else of the rules.
    """
    loaded = load_pack(folder)
    own = folder / "rules"
    return _shelf(loaded, [*([own] if own.is_dir() else []), *rules], engine)


def _shelf(loaded: Loaded, rules: Sequence[Path], engine: str) -> Shelf:
    """The shelf of a loaded pack, with ``rules`` on top of the core."""
    bundled = bundled_rules()
    vocabulary = load_vocabulary(bundled / "vocabulary.yaml")
    pack = loaded.pack
    words = {
        "level": frozenset(pack.conventions.levels),
        "tag": frozenset(pack.conventions.tags),
        "knockdown": frozenset(pack.conventions.knockdowns),
    }
    ruleset = load_rules([bundled / "core", *rules], vocabulary, words=words)
    return Shelf(
        pack=pack, rules=ruleset, evaluator=make_evaluator(ruleset, engine), warnings=loaded.warnings
    )


def load_library(
    *,
    packs: Sequence[Path] = (),
    rules: Sequence[Path] = (),
    engine: str = "auto",
    default: str | None = None,
) -> Library:
    """The bundled packs and those of ``packs`` (folders of one pack each), with user ``rules`` on top.

    A user's pack with the id of a bundled one takes its place. Errors: ``DataError`` with the
    findings of all packs.
    """
    bundled = sorted(p for p in (bundled_rules() / "packs").iterdir() if (p / "pack.yaml").is_file())
    shelves: dict[str, Shelf] = {}
    findings: list[Finding] = []
    for folder in [*bundled, *packs]:
        try:
            shelf = load_shelf(folder, rules=rules, engine=engine)
        except DataError as error:
            findings.extend(error.findings)
        else:
            shelves[shelf.pack.id] = shelf
    if findings:
        raise DataError(findings)
    chosen = default or (DEFAULT_PACK if DEFAULT_PACK in shelves else next(iter(shelves)))
    library = Library(shelves=shelves, default=chosen)
    library.shelf(chosen)
    return library


def load_shelf_files(
    files: Mapping[str, str], *, rules: Sequence[Path] = (), engine: str = "auto", label: str | None = None
) -> Shelf:
    """The same of a pack whose files are given as text by relative path, ``rules/<family>/<name>.yaml`` among them.

    ``label``: see ``load_pack_files``. Errors: as ``load_shelf``; a finding's file is the relative path.
    """
    loaded = load_pack_files(files, label=label)
    # By now every path is known to lead nowhere else. Rules are read from folders only.
    with tempfile.TemporaryDirectory() as scratch:
        own = Path(scratch) / "rules"
        for name, text in files.items():
            if name.startswith("rules/"):
                path = Path(scratch) / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(text.encode("utf-8", "surrogatepass"))
        try:
            return _shelf(loaded, [*([own] if own.is_dir() else []), *rules], engine)
        except DataError as error:
            raise DataError(_without(f"{scratch}/", one) for one in error.findings) from None


def _without(folder: str, finding: Finding) -> Finding:
    file, message = (text.replace(folder, "") for text in (finding.file, finding.message))
    return msgspec.structs.replace(finding, file=file, message=message)
