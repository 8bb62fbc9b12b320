"""How the desk looks and how safe it is: widths, themes, hostile names, accessibility rules, the policy at work."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_core_python.sync_playwright import Axe
from desk_steps import AHEAD, LYING, PUNISH, address, overflow, settled, until
from hostile_names import HOSTILE, LONG, RIGHT_TO_LEFT
from playwright.sync_api import Browser, Page, Route, expect

pytestmark = pytest.mark.full
Pages = Callable[..., Page]
TABS: dict[str, dict[str, Any]] = {"answers": PUNISH, "coverage": LYING, "guess": AHEAD, "lab": PUNISH}
WINDOWS = {"cold_frame": ((360, 740), (1920, 1080), (3840, 2160)), "hostile": ((320, 640), (768, 1024), (1100, 800))}


def opened(page: Page, tab: str) -> None:
    """Open the first thing of a panel that opens."""
    settled(page, tab)
    first = page.locator("tr.answer, .heat-cell, .worth").first
    if first.count():
        first.click()


@pytest.mark.parametrize("pack", list(WINDOWS))
def test_nothing_is_wider_than_the_window(url: str, new_page: Pages, shots: Path, pack: str) -> None:
    for width, height in WINDOWS[pack]:
        page = new_page(viewport={"width": width, "height": height}, color_scheme="dark" if width == 1920 else "light")
        for tab, question in TABS.items():
            page.goto(address(url, {**question, "pack": pack}, tab))
            opened(page, tab)
            page.screenshot(path=shots / f"{pack}-{tab}-{width}.png", full_page=width < 700)
            assert overflow(page) == 0, (width, tab)
            sheet = page.locator("#answers").bounding_box()
            assert sheet is not None
            table = page.locator("table.answers")
            if table.count():
                box = table.bounding_box()
                assert box is not None and box["x"] + box["width"] <= sheet["x"] + sheet["width"], (width, tab)


def test_hostile_names_stay_text_everywhere(url: str, new_page: Pages) -> None:
    page = new_page()
    for tab, question in TABS.items():
        page.goto(address(url, {**question, "pack": "hostile"}, tab))
        opened(page, tab)
    page.goto(address(url, {**PUNISH, "pack": "hostile"}))
    opened(page, "answers")
    expect(page.locator("#setting")).to_contain_text(HOSTILE)
    expect(page.locator("tr.answer").first).to_contain_text(HOSTILE)
    expect(page.locator("#move")).to_have_value(HOSTILE)
    page.click("#move")
    expect(page.locator("#move-list")).to_contain_text(HOSTILE)
    page.keyboard.press("Escape")
    page.locator("tr.opened button.small").first.click()
    page.wait_for_selector("#replay .strip")
    page.click("#replay summary:has-text('As a picture')")
    until(page, "document.querySelector('#replay img')?.naturalWidth > 100")
    assert page.locator("img:not([src^='blob:'])").count() == 0
    assert page.evaluate("document.querySelectorAll('body script, img[onerror]').length") == 0
    assert [LONG in text for text in page.locator("#them option").all_text_contents()].count(True) == 1
    assert RIGHT_TO_LEFT in page.locator("#me option").all_text_contents()
    way = "one => getComputedStyle(one).direction"
    assert page.locator(f"#me option:text-is('{RIGHT_TO_LEFT}')").evaluate(way) == "rtl"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(url: str, new_page: Pages, scheme: str) -> None:
    page = new_page(color_scheme=scheme)
    seen = 0
    for tab, question in TABS.items():
        page.goto(address(url, question, tab))
        opened(page, tab)
        found = Axe().run(page)
        seen += len(found["passes"])
        grave = [one for one in found["violations"] if one["impact"] in ("serious", "critical")]
        assert [(one["id"], [node["html"][:200] for node in one["nodes"][:3]]) for one in grave] == [], tab
    page.keyboard.press("?")
    page.goto(address(url, PUNISH))
    opened(page, "answers")
    page.locator("tr.opened button.small").first.click()
    page.wait_for_selector("#replay .strip")
    found = Axe().run(page)
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
    assert seen > 60


def test_axe_would_find_something(url: str, new_page: Pages) -> None:
    page = new_page()
    page.goto(address(url, PUNISH))
    settled(page)
    page.evaluate("document.querySelector('label[for=me]').remove()")
    assert "select-name" in [one["id"] for one in Axe().run(page)["violations"]]


def test_the_theme_is_that_of_the_system_or_the_chosen_one(url: str, new_page: Pages) -> None:
    light = "rgb(245, 246, 243)"
    page = new_page(color_scheme="dark")
    ground = "getComputedStyle(document.body).backgroundColor"
    page.goto(address(url, PUNISH))
    settled(page)
    dark = page.evaluate(ground)
    assert dark != light
    page.keyboard.press("d")
    assert page.evaluate(ground) == light
    page.reload()
    settled(page)
    assert page.evaluate(ground) == light
    page.click("#theme")
    assert page.evaluate(ground) == dark
    page.emulate_media(color_scheme="light")
    page.click("#theme")
    assert page.evaluate(ground) == light


def test_nothing_moves_by_itself(url: str, new_page: Pages) -> None:
    page = new_page(reduced_motion="reduce")
    page.goto(address(url, PUNISH))
    settled(page)
    assert page.evaluate("document.getAnimations().length") == 0
    lasting = "parseFloat(getComputedStyle(one).transitionDuration) > 0"
    assert page.evaluate(f"[...document.querySelectorAll('*')].filter(one => {lasting}).length") == 0


def test_the_policy_refuses_what_is_inline(url: str, chromium: Browser) -> None:
    page = chromium.new_page()
    refused: list[str] = []
    page.on("console", lambda said: refused.append(said.text) if "Content Security Policy" in said.text else None)
    page.goto(address(url, PUNISH))
    settled(page)
    page.evaluate(
        "() => { const run = document.createElement('script'); run.textContent = 'window.ran = 1';"
        " document.body.append(run); const paint = document.createElement('style'); document.head.append(paint);"
        " paint.textContent = 'body { color: red }'; new Image().src = 'http://127.0.0.1:9/x.png'; }"
    )
    page.wait_for_timeout(200)
    assert page.evaluate("window.ran") is None
    assert len(refused) >= 3
    page.close()


def test_a_key_stays_in_the_session_and_goes_along(url: str, new_page: Pages) -> None:
    page = new_page()
    sent: list[str] = []

    def pass_on(route: Route) -> None:
        """Note the key and leave it out: this service knows none, and refuses one that it does not know."""
        headers = dict(route.request.headers)
        sent.append(headers.pop("authorization", ""))
        route.continue_(headers=headers)

    page.route("**/v1/**", pass_on)
    page.route("**/desk/board", pass_on)
    page.goto(f"{url}/desk")
    settled(page)
    page.click("#access")
    page.fill("#key", "sak_one_two")
    page.keyboard.press("Enter")
    page.wait_for_timeout(500)
    assert len(sent) == 5  # the moves are known already
    assert set(sent[:3]) == {""} and set(sent[3:]) == {"Bearer sak_one_two"}
    assert page.evaluate("Object.values(localStorage).join() + document.cookie + location.href").count("sak_") == 0
    assert "sak_one_two" not in page.content()
