"""The template of catalogues: every sentence of the code, of the pages and of the rules, with where it stands.

``python -m advisor.sentences.template`` writes ``rules/sentences/sentences.pot`` and brings the catalogues beside it up
to date: new sentences come in without a translation, those that are gone go.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

from advisor.documents import read_document
from advisor.sentences.catalogue import folder
from advisor.sentences.pages import Word, html_words, script_words

__all__ = ["main", "template", "written"]

KEYWORDS: dict[str, Any] = {"say": None, "in_words": None, "mark": None, "many": (1, 2)}
SPOKEN = ("because", "caution")
"""Keys of a rule file whose texts are sentences."""
CONCLUDED = "tags"
"""The key of a rule's conclusion whose texts are words that people read."""


def template() -> Catalog:
    """Every sentence there is, in the order of files and lines; no dates, so that it only changes when they do."""
    found = Catalog(project="situation-advisor", fuzzy=False, header_comment="# Sentences of the situation advisor.")
    package = Path(__file__).resolve().parents[1]
    for path in sorted(package.rglob("*.py")):
        code = path.read_bytes()
        # Others may have a word `say` of their own.
        if b"from advisor.sentences import" in code:
            for _, message, comments, _ in extract("python", io.BytesIO(code), KEYWORDS):
                found.add(message, locations=[(f"advisor/{path.relative_to(package)}", None)], auto_comments=comments)  # type: ignore[list-item]
    for path in sorted(package.rglob("*.html")) + sorted(package.rglob("*.js")):
        for word in _of_page(path):
            found.add(word, locations=[(f"advisor/{path.relative_to(package)}", None)])  # type: ignore[list-item]
    rules = folder().parent
    for path in sorted([*rules.glob("core/**/*.yaml"), *rules.glob("packs/*/rules/**/*.yaml")]):
        for text in _spoken(read_document(path).value):
            found.add(text, locations=[(f"rules/{path.relative_to(rules)}", None)])  # type: ignore[list-item]
    return found


def _of_page(path: Path) -> Iterator[Word]:
    """The words of a page or of a script. Errors: ``ValueError`` as of ``script_words``, with the file."""
    text = path.read_text("utf-8")
    if path.suffix == ".html":
        yield from html_words(text)
        return
    try:
        yield from script_words(text)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None


def _spoken(value: Any) -> Iterator[str]:
    """The sentences and tags of a rule, at whatever depth they stand."""
    if isinstance(value, dict):
        for key, part in value.items():
            if key in SPOKEN and isinstance(part, str):
                yield part
            elif key == CONCLUDED and isinstance(part, list):
                yield from part
            else:
                yield from _spoken(part)


def written(catalogue: Catalog) -> str:
    """A catalogue as it is committed."""
    out = io.BytesIO()
    write_po(out, catalogue, width=110, omit_header=False, sort_output=False, include_lineno=False)
    lines = out.getvalue().decode().splitlines(keepends=True)
    dated = ('"POT-Creation-Date', '"PO-Revision-Date', '"Generated-By', '"Last-Translator', '"Language-Team')
    return "".join(line for line in lines if not line.startswith(dated))


def main() -> None:
    """Write the template, and bring every catalogue up to date."""
    fresh = template()
    (folder() / "sentences.pot").write_text(written(fresh), "utf-8")
    for path in sorted(folder().glob("*.po")):
        with path.open("rb") as file:
            old = read_po(file, locale=path.stem)
        old.update(fresh, no_fuzzy_matching=True)
        old.obsolete.clear()
        path.write_text(written(old), "utf-8")


if __name__ == "__main__":
    main()
