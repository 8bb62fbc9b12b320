"""The desk in the reader's language: every label, on every panel, in its table; and in English as it is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from desk_steps import AHEAD, LYING, PUNISH, address, overflow, settled
from playwright.sync_api import Page, expect

from tests.unit.sentences.pseudo_language import pack_words

pytestmark = pytest.mark.full
Pages = Callable[..., Page]
GERMAN = {"locale": "de-DE"}
TABS: dict[str, dict[str, Any]] = {
    "answers": PUNISH, "coverage": LYING, "guess": AHEAD, "trials": PUNISH, "lab": PUNISH,
}  # fmt: skip
CATALOGUE = Path(__file__).parents[2] / "rules" / "sentences" / "sentences.pot"
LABELS = """() => {
  const own = ".name, code, kbd, #setting, #said, #data, #me, #them, #pack, #state, #move-list, .drawn";
  const found = [document.title];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) if (!walk.currentNode.parentElement.closest(own)) found.push(walk.currentNode.data);
  for (const name of ["aria-label", "title", "placeholder", "data-label", "aria-valuetext"])
    for (const one of document.querySelectorAll(`[${name}]`))
      if (!one.closest("[translate=no]")) found.push(one.getAttribute(name));
  return [...new Set(found.map((text) => text.replace(/\\s+/g, " ").trim()).filter((text) => /\\p{L}{2}/u.test(text)))];
}"""
"""Texts of a page that the pack and its sentences have no part in."""
PLACE = re.compile(r"\{\w+\}")
ENGLISH = re.compile(
    r"\b(the|of|and|with|at|against|from|late|begun|best|mine|theirs|they|their|my|frames|covered|delays?|deals|takes|"
    r"costs|worth|between|hangs?|leaves|known|unknown|none|yes|window|meter|tries|trials?|facts?)\b"
)


def words() -> Iterator[str]:
    """The words of the pages that a template has, by the place that it says they stand in."""
    from babel.messages.pofile import read_po

    with CATALOGUE.open("rb") as file:
        for message in read_po(file):
            if any("service/pages/" in str(place) for place, _ in message.locations):
                yield from [message.id] if isinstance(message.id, str) else message.id


def pattern(text: str) -> re.Pattern[str]:
    return re.compile(".+".join(map(re.escape, PLACE.split(text))))


def shown(page: Page) -> list[str]:
    texts: list[str] = page.evaluate(LABELS)
    return texts


def opened(page: Page, tab: str) -> None:
    """Everything of a panel that unfolds."""
    settled(page, tab)
    first = page.locator("tr.answer, .heat-cell, .worth").first
    if first.count():
        first.click()
    page.evaluate("document.querySelectorAll('#answers details, #surroundings').forEach((one) => { one.open = true; })")


def walked(page: Page, url: str, shots: Path, name: str) -> dict[str, list[str]]:
    """The texts of each panel, of the replay and of the dialogs."""
    found = {}
    for tab, question in TABS.items():
        page.goto(address(url, question, tab))
        opened(page, tab)
        found[tab] = shown(page)
        page.screenshot(path=shots / f"{name}-{tab}.png", full_page=True)
        assert overflow(page) == 0, tab
    page.goto(address(url, PUNISH))
    opened(page, "answers")
    page.locator("tr.opened button.small").first.click()
    page.wait_for_selector("#replay .strip")
    page.screenshot(path=shots / f"{name}-replay.png")
    found["replay"] = shown(page)
    page.keyboard.press("Escape")
    page.click("#help")
    page.screenshot(path=shots / f"{name}-keys.png")
    page.keyboard.press("Escape")
    page.click("#access")
    page.screenshot(path=shots / f"{name}-key.png")
    return found


@pytest.mark.parametrize("width", [360, 1360])
def test_a_german_desk_has_no_english_label(url: str, new_page: Pages, shots: Path, width: int) -> None:
    page = new_page(viewport={"width": width, "height": 900}, **GERMAN)
    told = httpx.get(f"{url}/pages/said.json", headers={"accept-language": "de"}).json()["words"]
    # Words that are the same in both, as `Frame`, and those of the page's own text, which the table does not have.
    same = {text for text, german in told.items() if german == text}
    known = [pattern(text) for text in words() if text not in same and re.search(r"[a-z]{2}", PLACE.sub("", text))]
    assert len(known) > 200
    found = walked(page, url, shots, f"german-{width}")
    assert page.evaluate("document.documentElement.lang") == "de"
    texts = {text for each in found.values() for text in each}
    assert {"Urteil", "Antwort", "Meine / Gegner", "Seiten tauschen", "Wand hinter mir", "Regeln"} <= texts
    german = {text for text in texts if any(one.fullmatch(text) for one in known) and text not in told.values()}
    # Those that the table lacks as they are no word of a script; an id of the pack, and a property.
    also = {"Startup", "Move", "Overlay", "Pack", "Stance", "Moment", "Situation", "Moves"} | {"guard", "reach"}
    assert sorted(german - also) == []
    assert sorted(text for text in texts if ENGLISH.search(pack_words().sub("", text))) == []


def test_an_english_desk_is_as_it_is_written(url: str, new_page: Pages) -> None:
    page = new_page(locale="en-GB")
    asked_for: list[str] = []
    page.on("request", lambda request: asked_for.append(request.url.rpartition("/")[2]))
    page.goto(address(url, PUNISH))
    settled(page)
    assert page.evaluate("document.documentElement.lang") == "en"
    assert {"Verdict", "Response", "Change seats", "1 f (just)", "Theme: auto"} <= set(shown(page))
    assert asked_for.count("said.json") == 1, "what was loaded ahead is used"
    expect(page.locator("#answers")).to_contain_text("Out of the question here: ")


def test_a_german_desk_pushes_and_says_so_in_german(url: str, new_page: Pages) -> None:
    page = new_page(**GERMAN)
    asked_for: list[str] = []
    page.on("request", lambda request: asked_for.append(request.url.rpartition("/")[2]))
    page.goto(address(url, PUNISH))
    settled(page)
    assert asked_for.count("said.json") == 1
    page.fill("#channel", "pult")
    page.click("#push")
    expect(page.locator("#pushed")).to_contain_text("Auf pult gezeigt")
    page.click("#theme")
    expect(page.locator("#theme")).to_have_text("Design: hell")
    # A situation of its own: what is tried here would change what others see.
    page.goto(address(url, {**LYING, "distance": "far"}, "trials"))
    settled(page, "trials")
    page.fill("#trial-successes", "1")
    page.click("form.adding button")
    expect(page.locator("#said")).to_contain_text("Versuch notiert. 1 Versuch zu dieser Situation.")
    page.click("form.adding button")
    expect(page.locator("#said")).to_contain_text("2 Versuche")


def test_an_overlay_speaks_as_its_page_or_as_it_is_told(url: str, new_page: Pages, shots: Path) -> None:
    sent = httpx.post(f"{url}/v1/live/zunge", json={"question": PUNISH, "note": "Runde zwei"}, timeout=20)
    assert sent.is_success, sent.text
    for name, of, more, verdict, just in (
        ("german", GERMAN, "", "garantiert", "Just Frame"), ("told", {}, "&language=de-AT", "garantiert", "Just Frame"),
        ("english", GERMAN, "&language=en", "guaranteed", "just frame"),
    ):  # fmt: skip
        page = new_page(viewport={"width": 640, "height": 360}, **of)
        page.goto(f"{url}/overlay?channel=zunge{more}")
        expect(page.locator("#verdict")).to_have_text(verdict)
        expect(page.locator("#success")).to_have_text(just)
        page.wait_for_timeout(400)
        page.screenshot(path=shots / f"overlay-{name}.png")
    page = new_page(**GERMAN)
    page.goto(f"{url}/overlay")
    expect(page.locator("#usage")).to_contain_text("Es fehlt der Kanal: overlay?channel=NAME")
    page.screenshot(path=shots / "overlay-usage.png")
