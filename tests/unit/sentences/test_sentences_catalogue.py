"""Catalogues as they are committed: of the sources, whole, with the places of the English sentences."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import advisor.sentences.template as template_module
from advisor.documents import read_document
from advisor.rules.wording import word_said
from advisor.sentences import speaking
from advisor.sentences.catalogue import catalogue, folder, languages
from advisor.sentences.template import KEYWORDS, template, written
from tests.unit.sentences.catalogue_faults import faults, read

RULES = folder().parent
every_language = pytest.mark.parametrize("language", [one for one in languages() if one != "en"])


@pytest.fixture(scope="module")
def english() -> str:
    return written(template())


def test_the_committed_template_is_the_one_of_the_sources(english: str) -> None:
    """When it is not: python -m advisor.sentences.template, then translate what is new."""
    assert (folder() / "sentences.pot").read_text("utf-8") == english


@every_language
def test_a_catalogue_is_whole(language: str, english: str) -> None:
    text = (folder() / f"{language}.po").read_text("utf-8")
    assert faults(read(text, language), read(english, language)) == []


@every_language
def test_updating_leaves_a_catalogue_as_it_is(
    language: str, english: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (folder() / f"{language}.po").read_bytes()
    (tmp_path / f"{language}.po").write_bytes(before)
    fresh = read(english, language)
    monkeypatch.setattr(template_module, "folder", lambda: tmp_path)
    monkeypatch.setattr(template_module, "template", lambda: fresh)
    template_module.main()
    assert (tmp_path / f"{language}.po").read_bytes() == before


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("{damage:g} Schaden", "{damage} Schaden", "other places"),
        ("{names} und {count} weitere", "{names} und weitere", "other places"),
        ('", nicht {missed}."', '"nicht {missed}."', "other edges"),
        ('msgstr " und "', 'msgstr " und"', "other edges"),
        ('msgstr "gleichauf"', 'msgstr ""', "not translated"),
        ('msgid "even"', '#, fuzzy\nmsgid "even"', "fuzzy"),
        ('msgid "even"', 'msgid "level"', "not there"),
        ('msgstr[1] "{count} Stellen weichen ab"', 'msgstr[1] ""', "not translated"),
    ],
)
def test_a_broken_catalogue_is_caught(old: str, new: str, fault: str, english: str) -> None:
    text = (folder() / "de.po").read_text("utf-8")
    broken = text.replace(old, new, 1)
    assert broken != text
    assert any(one.startswith(fault) for one in faults(read(broken), read(english)))


def test_words_of_the_vocabulary_that_sentences_say_are_translated() -> None:
    """Verdicts, moments, and each value of a fact that a rule's sentence names and whose values are a closed list."""
    vocabulary = read_document(RULES / "vocabulary.yaml").value
    words = {*vocabulary["verdicts"], *vocabulary["facts"]["situation.moment"]["values"]}
    for rule in [*RULES.glob("core/**/*.yaml"), *RULES.glob("packs/*/rules/**/*.yaml")]:
        for slot in re.findall(r"\{([a-z_.]+)\}", rule.read_text("utf-8")):
            words.update(vocabulary["facts"].get(slot, {}).get("values", ()))
    assert {"risky", "counter_hit", "airborne"} <= words
    known = catalogue("de")
    assert known is not None
    assert sorted(words - known.plain.keys()) == []
    with speaking("de"):
        assert not any("_" in word_said(word) for word in words)


def test_what_is_said_stands_where_the_template_finds_it(english: str) -> None:
    """A sentence inside an f-string is not found by the extraction, so it would never be translated."""
    ids = [message.id for message in read(english)]
    found = {part for one in ids for part in ([one] if isinstance(one, str) else one)}
    lost = []
    for path in (RULES.parent / "advisor").rglob("*.py"):
        code = path.read_text("utf-8")
        if "from advisor.sentences import" not in code:
            continue
        for call in (node for node in ast.walk(ast.parse(code)) if isinstance(node, ast.Call)):
            name = call.func.id if isinstance(call.func, ast.Name) else ""
            texts = call.args[: 2 if name == "many" else 1] if name in KEYWORDS else []
            lost += [a.value for a in texts if isinstance(a, ast.Constant) and a.value not in found]
    assert lost == []
