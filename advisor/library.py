"""The packs and rules at hand: those that come with the product, and the user's own by path."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from advisor.advice import Advice, Evaluator, advise
from advisor.errors import AdvisorError, DataError, Finding, Unanswerable, did_you_mean
from advisor.facts import Question
from advisor.pack.load import load_pack
from advisor.pack.model import Pack
from advisor.rules import make_evaluator
from advisor.rules.load import load_rules
from advisor.rules.model import RuleSet
from advisor.rules.vocabulary import load_vocabulary
from advisor.studies import STUDIES

__all__ = ["Library", "Shelf", "bundled_rules", "load_library", "load_shelf"]

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

    def ask(self, question: Question) -> Advice:
        """The advice for a question about this pack."""
        return advise(self.pack, self.rules, self.evaluator, question)

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

    def ask(self, question: Question) -> Advice:
        """The advice for a question about the pack that it names."""
        return self.shelf(question.pack).ask(question)

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
    bundled = bundled_rules()
    vocabulary = load_vocabulary(bundled / "vocabulary.yaml")
    loaded = load_pack(folder)
    pack = loaded.pack
    words = {
        "level": frozenset(pack.conventions.levels),
        "tag": frozenset(pack.conventions.tags),
        "knockdown": frozenset(pack.conventions.knockdowns),
    }
    own = folder / "rules"
    roots = [bundled / "core", *([own] if own.is_dir() else []), *rules]
    ruleset = load_rules(roots, vocabulary, words=words)
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
