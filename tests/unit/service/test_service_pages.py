"""The pages as files: what may load, what is inline (nothing), tags, sizes, and what the desk lays out first."""

from __future__ import annotations

import gzip
import json
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import pytest
from litestar.testing import TestClient

from advisor.library import Library
from advisor.service.app import Service
from advisor.service.pages import PAGES, page_files
from advisor.service.pages.board import opening

Client = TestClient[Service]
DIRECTIVES = {
    "default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "img-src": "'self' data: blob:",
    "connect-src": "'self'", "base-uri": "'none'", "form-action": "'none'", "frame-ancestors": "'none'",
}  # fmt: skip


class Inline(HTMLParser):
    """Everything in a page that a strict policy refuses, and everything that it loads."""

    def __init__(self) -> None:
        super().__init__()
        self.refused: list[str] = []
        self.loads: list[str] = []
        self._in = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self._in = tag if tag in ("script", "style") else self._in
        self.refused += [f"{tag} {name}" for name in given if name.startswith("on") or name == "style"]
        self.loads += [value for name, value in given.items() if name in ("src", "href", "srcset", "action") and value]

    def handle_endtag(self, tag: str) -> None:
        self._in = "" if tag == self._in else self._in

    def handle_data(self, data: str) -> None:
        if self._in and data.strip():
            self.refused.append(f"{self._in}: {data.strip()[:40]}")


def inline(text: str) -> Inline:
    parser = Inline()
    parser.feed(text)
    return parser


def policy(client: Client, path: str) -> dict[str, str]:
    said = client.get(path).headers["content-security-policy"]
    return {name: rest for name, _, rest in (part.strip().partition(" ") for part in said.split(";"))}


def test_a_page_may_load_nothing_inline_and_nothing_from_afar(client: Client) -> None:
    assert policy(client, "/desk") == DIRECTIVES
    assert policy(client, "/pages/mark.svg") == DIRECTIVES
    if "overlay.html" in page_files():
        assert policy(client, "/overlay") == {**DIRECTIVES, "frame-ancestors": "*"}


def test_pages_hold_no_script_and_load_what_is_there() -> None:
    for name, file in page_files().items():
        if not name.endswith(".html"):
            continue
        found = inline(file.body.decode("utf-8"))
        assert found.refused == [], name
        own = [place for place in found.loads if not place.startswith("#")]
        assert own
        assert [place for place in own if place.removeprefix("pages/") not in {*page_files(), "said.json"}] == []


def test_the_desk_asks_for_its_modules_at_once() -> None:
    """A chain of imports would cost a journey for each link of it."""
    loads = inline(page_files()["desk.html"].body.decode("utf-8")).loads
    modules = {name for name in page_files() if name.endswith(".js") and not name.startswith("overlay")}
    assert modules == {place.removeprefix("pages/") for place in loads if place.endswith(".js")}


def test_what_counts_as_inline_is_seen() -> None:
    bad = inline('<p style="a" onclick="b">x</p><script>c()</script><style>d {}</style><script src="/e"></script>')
    assert bad.refused == ["p style", "p onclick", "script: c()", "style: d {}"]
    assert bad.loads == ["/e"]


def test_scripts_read_no_markup_and_are_light() -> None:
    scripts = {name: file.body.decode("utf-8") for name, file in page_files().items() if name.endswith(".js")}
    assert len(scripts) > 10
    for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function", "http://",
                 "https://", "DOMParser"):  # fmt: skip
        assert [name for name, text in scripts.items() if word in text.replace("http://www.w3.org/2000/svg", "")] == []
    assert sum(len(file.body) for file in page_files().values()) < 300_000
    assert sum(len(gzip.compress(file.body)) for file in page_files().values()) < 100_000


def test_a_file_is_sent_once(client: Client) -> None:
    first = client.get("/pages/desk.js", headers={"accept": "text/javascript"})
    assert (first.status_code, first.headers["content-type"]) == (200, "text/javascript; charset=utf-8")
    assert first.headers["x-content-type-options"] == "nosniff"
    tag = first.headers["etag"]
    for given in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = client.get("/pages/desk.js", headers={"if-none-match": given})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert client.get("/pages/desk.js", headers={"if-none-match": '"other"'}).content == first.content
    assert client.head("/desk").headers["content-length"] == str(len(client.get("/desk").content))


@pytest.mark.parametrize("name", ["nothing.js", "..%2Ffiles.py", "%2e%2e", "routes.py", "desk.html%00"])
def test_only_files_of_the_pages_are_given(client: Client, name: str) -> None:
    answer = client.get(f"/pages/{name}")
    assert (answer.status_code, answer.json()["code"]) == (404, "not-found")


def test_the_root_leads_to_the_desk(client: Client) -> None:
    answer = client.get("/", follow_redirects=False, headers={"accept": "text/html"})
    assert (answer.status_code, answer.headers["location"]) == (307, "desk")
    assert client.get("/", headers={"accept": "text/html"}).text.startswith("<!doctype html>")


def test_the_board_opens_with_a_question_that_is_answered(client: Client, library: Library) -> None:
    board = client.get("/desk/board").json()
    assert board["default"] == "cold_frame"
    (pack,) = board["packs"]
    known = library.shelves["cold_frame"].pack
    assert [one["id"] for one in pack["characters"]] == list(known.characters)
    assert [one["id"] for one in pack["knockdowns"]] == list(known.conventions.knockdowns)
    assert pack["distances"]["touching"] == 0.4
    assert pack["stances"]["wenna"] == ["kneel", "steps"]
    answer = client.post("/v1/advice", json=pack["opening"])
    assert answer.status_code == 200, answer.text
    assert answer.json()["responses"][0]["verdict"] == "guaranteed"


def test_a_pack_without_moves_that_can_be_blocked_opens_in_neutral(library: Library) -> None:
    pack = library.shelves["cold_frame"].pack
    bare = {name: msgspec.structs.replace(c, moves={}, key_moves=()) for name, c in pack.characters.items()}
    found = opening(msgspec.structs.replace(pack, characters=bare))
    assert found is not None
    assert found.moment.__struct_config__.tag == "neutral"
    assert opening(msgspec.structs.replace(pack, characters={})) is None


def test_pages_are_no_part_of_the_contract() -> None:
    document = json.loads((Path(__file__).parents[3] / "openapi" / "openapi.json").read_text("utf-8"))
    assert "/v1/packs" in document["paths"]
    assert [path for path in document["paths"] if not path.startswith(("/v1/", "/metrics"))] == []
    assert [route.path for route in PAGES if route.include_in_schema] == []


GERMAN = {"accept-language": "de-CH, en;q=0.5"}


def test_scripts_get_their_words_in_the_callers_language(client: Client) -> None:
    told = client.get("/pages/said.json", headers=GERMAN)
    assert (told.headers["content-type"], told.headers["content-language"]) == ("application/json", "de")
    assert "Accept-Language" in told.headers["vary"]
    table = told.json()
    assert table["language"] == "de"
    assert table["words"]["Against each reply"] == "Gegen jede Reaktion"
    assert table["words"]["{count} fact"] == ["{count} Fakt", "{count} Fakten"]
    assert "Change seats" not in table["words"], "a word of HTML alone, which is said before it is sent"
    assert [table["forms"][count] for count in (0, 1, 2, 101)] == ["1", "0", "1", "1"]
    tag = {"if-none-match": told.headers["etag"]}
    again = client.get("/pages/said.json", headers={**GERMAN, **tag})
    assert (again.status_code, again.content, again.headers["vary"]) == (304, b"", "Accept-Language")
    english = client.get("/pages/said.json", headers={"accept-language": "fr", **tag})
    assert (english.status_code, english.json()) == (200, {"language": "en", "words": {}, "forms": ""})


def test_pages_come_in_the_callers_language(client: Client) -> None:
    english, german = (client.get("/desk", headers=of) for of in ({}, GERMAN))
    assert english.content == page_files()["desk.html"].body
    assert english.headers["etag"] != german.headers["etag"]
    assert '<html lang="de"' in german.text and "Seiten tauschen" in german.text and 'placeholder="main"' in german.text
    assert german.text.count("<") == english.text.count("<")
    assert client.get("/overlay", headers=GERMAN).text.count("<title>Overlay mit Hinweis</title>") == 1
    assert client.get("/pages/desk.js", headers=GERMAN).headers["etag"] == client.get("/pages/desk.js").headers["etag"]
