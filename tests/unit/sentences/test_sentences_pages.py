"""The words of pages and scripts: found, said, and none left beside them."""

from __future__ import annotations

import json
import re

import pytest

from advisor.sentences import speaking
from advisor.sentences.pages import html_said, html_words, script_words
from advisor.service.pages.files import page_files

PAGE = """<!doctype html>
<html lang="en">
<body><!-- a note -->
  <p title="unknown" data-x="none">  yes
    <b>4</b> A &amp; B</p>
  <input placeholder="none" translate="no"> no
  <div translate="no"><p>me</p><br><a title="them">both</a></div> both <img alt="unknown" src="a">
</body>
</html>
"""


def test_the_words_of_a_page_are_what_people_read() -> None:
    assert list(html_words(PAGE)) == ["unknown", "yes", "A & B", "no", "both", "unknown"]
    assert html_said(PAGE) == PAGE
    with speaking("de"):
        said = html_said(PAGE)
    wanted = [
        ('lang="en"', 'lang="de"'), ('title="unknown"', 'title="unbekannt"'), ("  yes\n", "  ja\n"),
        ("> no\n", "> nein\n"), (" both <", " beide <"), ('alt="unknown"', 'alt="unbekannt"'),
    ]  # fmt: skip
    text = PAGE
    for old, new in wanted:
        assert text.count(old) == 1
        text = text.replace(old, new)
    assert said == text


def test_the_words_of_a_script_are_those_of_its_calls() -> None:
    script = """import { say } from "./say.js";
      say("a \\"b\\" \\u2013", { a: say( "inside {x}") }); x.say("not"); essay("not");
      many("{count} x", "{count} xs", 2); woven("{a} b", {}); mark("c"); function many(one, more) {}"""
    assert list(script_words(script)) == ['a "b" \u2013', "inside {x}", ("{count} x", "{count} xs"), "{a} b", "c"]
    assert list(script_words('const mark = (at) => at; mark(1); say("x");')) == [], "words of its own"


@pytest.mark.parametrize("call", ["say(`a ${b}`)", "say(text)", 'say("a" + b)', 'many("one", count)', "mark('a')"])
def test_words_that_cannot_be_found_are_refused(call: str) -> None:
    with pytest.raises(ValueError, match=r"line 2: .* one text in double quotes"):
        list(script_words(f'import {{ say }} from "./say.js";\n{call};'))


ERRORS = {
    "the service cannot be reached", "see whether it runs, then try again", "no pack with characters is loaded",
    "the service answered ${status}",
    "the address holds no question: what follows `q=` is not JSON",
    "the address holds no question: `me`, `them` and `moment` have to be objects",
}  # fmt: skip
"""Errors are in English, as those of the service are."""
CODE = {"Enter", "Escape", "Home", "End", "use strict", "field wide"}
STRING = r'"(?:[^"\\\n]|\\.)*"'
NO_TEXT = re.compile(
    r"^import .*|^\s*//.*|/\*\*.*|class: (?:\"[^\"]*\"|`[^`]*`)|matchMedia\(.*?\)|querySelector\w*\(.*?\)|TYPED = .*",
    re.MULTILINE,
)
"""Comments, classes, what selects: no text that anybody reads."""


def beside(script: str) -> list[str]:
    """Texts of a script that people read, as far as can be told, and that no table has."""
    said = set()
    for word in script_words(f'"./say.js"\n{script}'):
        said |= {word} if isinstance(word, str) else set(word)
    bare = NO_TEXT.sub("", script)
    texts = [json.loads(text) for text in re.findall(STRING, bare)]
    prose = re.compile(r"[A-Z][a-z]+(?:$| [a-z])|.*[a-z]{2}[:,.]? (?:.* )?[a-z]{2}")
    found = [text for text in texts if prose.match(text)]
    filled = re.compile(r"\$\{(?:[^{}]|\{[^{}]*\})*\}")
    found += [text for text in re.findall(r"`([^`]*)`", re.sub(STRING, "", bare))
              if re.search(r"(?:^| )[a-z]{2,}(?:[ .,;:]|$)", filled.sub("", text))]  # fmt: skip
    return [text for text in found if text not in said | ERRORS | CODE]


def test_no_word_of_a_script_stands_beside_the_table() -> None:
    found = {name: beside(file.body.decode()) for name, file in page_files().items() if name.endswith(".js")}
    assert {name: texts for name, texts in found.items() if texts} == {}
    assert beside('el("p", {}, "Not in it", `${n} to go yet`, say("In it"));') == ["Not in it", "${n} to go yet"]
