"""The overlay in Chromium, against the real service."""

from __future__ import annotations

import io
import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image
from playwright.sync_api import Page

pytestmark = pytest.mark.full

KNEE: dict[str, Any] = {
    "me": {"character": "wenna"}, "them": {"character": "marl"},
    "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}, "distance": "touching",
}  # fmt: skip
SHOVEL: dict[str, Any] = {
    "me": {"character": "ketterby"}, "them": {"character": "marl"},
    "moment": {"kind": "blocked", "attacker": "them", "move": "round_shovel"}, "distance": "touching",
}  # fmt: skip
Make = Callable[..., Page]


def push(url: str, channel: str, question: dict[str, Any], **more: Any) -> None:
    response = httpx.post(f"{url}/v1/live/{channel}", json={"question": question, **more}, timeout=20)
    assert response.is_success, response.text


def shows(page: Page, text: str, within: float = 5_000) -> None:
    page.wait_for_function(
        "text => document.querySelector('#hint').dataset.shown === 'yes'"
        " && document.querySelector('#summary').textContent.includes(text)", arg=text, timeout=within,
    )  # fmt: skip


def hidden(page: Page, within: float = 6_000) -> None:
    page.wait_for_function("() => document.querySelector('#hint').dataset.shown === 'no'", timeout=within)


def kept(page: Page, name: str, tmp_path: Path) -> Image.Image:
    folder = Path(os.environ.get("SCREENSHOTS", tmp_path))
    folder.mkdir(parents=True, exist_ok=True)
    page.wait_for_timeout(400)
    data = page.screenshot(path=folder / f"overlay_{name}.png", omit_background=True)
    return Image.open(io.BytesIO(data))


def test_two_overlays_a_late_one_and_the_end(url: str, new_page: Make) -> None:
    first = new_page()
    first.goto(f"{url}/overlay?channel=both")
    first.wait_for_timeout(300)
    assert first.locator("#hint").get_attribute("data-shown") == "no"
    push(url, "both", KNEE, note="round two")
    shows(first, "Putty Jab")
    late = new_page()
    late.goto(f"{url}/overlay?channel=both&corner=top-right&theme=light")
    shows(late, "Putty Jab")
    assert late.locator("#verdict").inner_text() == "guaranteed"
    assert late.locator("#success").inner_text() == "just frame"
    assert "cannot act" in late.locator("#reason").inner_text()
    assert late.locator("#note").inner_text() == "round two"
    push(url, "both", SHOVEL)
    for page in (first, late):
        shows(page, "Shears Hold")
        assert page.locator("#note").inner_text() == ""
    assert httpx.delete(f"{url}/v1/live/both").is_success
    for page in (first, late):
        hidden(page)


def test_a_hint_is_held_as_long_as_is_said_and_no_longer(url: str, new_page: Make) -> None:
    page = new_page()
    page.goto(f"{url}/overlay?channel=held&hold=1")
    push(url, "held", KNEE)
    shows(page, "Putty Jab")
    hidden(page, 2_500)
    late = new_page()
    late.goto(f"{url}/overlay?channel=held&hold=1")
    late.wait_for_timeout(800)
    assert late.locator("#hint").get_attribute("data-shown") == "no", "what is over is not shown to who comes late"


def test_another_language_is_asked_for(url: str, new_page: Make) -> None:
    page = new_page()
    page.goto(f"{url}/overlay?channel=deutsch&language=de")
    push(url, "deutsch", KNEE)
    shows(page, "Putty Jab")
    assert page.locator("#verdict").inner_text() == "garantiert"
    assert "cannot act" not in page.locator("#reason").inner_text()
    assert page.evaluate("document.documentElement.lang") == "de"


@pytest.mark.parametrize(("width", "height"), [(360, 640), (1920, 1080)])
def test_it_stands_in_its_corner_over_nothing(
    url: str, new_page: Make, tmp_path: Path, width: int, height: int
) -> None:
    push(url, "looks", KNEE)
    page = new_page(viewport={"width": width, "height": height})
    page.goto(f"{url}/overlay?channel=looks&corner=bottom-right&scale=1.5")
    shows(page, "Putty Jab")
    image = kept(page, f"{width}", tmp_path).convert("RGBA")
    assert image.getpixel((2, 2))[3] == 0 and image.getpixel((width - 2, height - 2))[3] == 0, "the page is clear"
    box = page.locator("#hint").bounding_box()
    assert box is not None
    assert box["x"] + box["width"] <= width * 0.95 + 1 and box["y"] + box["height"] <= height * 0.95 + 1
    assert box["x"] >= width * 0.05 - 1 and box["y"] >= 0
    inside = image.getpixel((int(box["x"] + box["width"] - 4), int(box["y"] + box["height"] / 2)))
    assert inside[3] > 200, "the plate covers what is under it"


def test_every_theme_keeps_text_legible(url: str, new_page: Make, tmp_path: Path) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1, here against the plate over the worst ground; bare text has an outline instead."""
    push(url, "themes", KNEE)
    for theme in ("dark", "light", "bare"):
        page = new_page()
        page.goto(f"{url}/overlay?channel=themes&theme={theme}")
        shows(page, "Putty Jab")
        kept(page, theme, tmp_path)
        style = page.evaluate(
            "() => { const s = getComputedStyle(document.querySelector('#hint'));"
            " return [s.color, s.backgroundColor, s.textShadow]; }"
        )
        if theme == "bare":
            assert "rgb(0, 0, 0)" in style[2]
            continue
        ink, plate = (tuple(float(x) for x in re.findall(r"[\d.]+", one)) for one in style[:2])
        alpha = plate[3]
        for ground in (0.0, 255.0):
            under = tuple(alpha * p + (1 - alpha) * ground for p in plate[:3])
            assert _contrast(ink[:3], under) >= 4.5, (theme, ground)


def _contrast(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    def light(rgb: tuple[float, ...]) -> float:
        parts = [c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in rgb]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    high, low = sorted((light(a), light(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_motion_is_left_out_where_it_is_not_wanted_and_changes_are_calm(url: str, new_page: Make) -> None:
    page = new_page(reduced_motion="reduce")
    page.goto(f"{url}/overlay?channel=calm")
    page.wait_for_timeout(300)
    page.evaluate(
        "() => { window.changes = []; new MutationObserver(() => window.changes.push(performance.now()))"
        ".observe(document.querySelector('#summary'), { childList: true }); }"
    )
    for question in (KNEE, SHOVEL) * 4:
        push(url, "calm", question)
    shows(page, "Shears Hold")
    page.wait_for_timeout(900)
    changes = page.evaluate("window.changes")
    gaps = [b - a for a, b in pairwise(changes)]
    assert len(changes) >= 2 and min(gaps) > 334, "no more than three changes a second (WCAG 2.2, 2.3.1)"
    assert page.evaluate("getComputedStyle(document.querySelector('#hint')).transitionDuration") == "0s"


def test_hostile_names_stay_text(url: str, new_page: Make, tmp_path: Path) -> None:
    pack = httpx.get(f"{url}/v1/packs").json()["packs"]
    other = next(one["id"] for one in pack if one["id"] != "cold_frame")
    characters = httpx.get(f"{url}/v1/packs/{other}/characters").json()["characters"]
    page = new_page(viewport={"width": 360, "height": 640})
    page.goto(f"{url}/overlay?channel=hostile&scale=0.8")
    question = {
        "pack": other, "me": {"character": characters[0]["id"]}, "them": {"character": characters[-1]["id"]},
        "moment": {"kind": "neutral"}, "distance": 1,
    }  # fmt: skip
    push(url, "hostile", question, note="<img src=x onerror=alert(1)> \u202e")
    page.wait_for_function("() => document.querySelector('#hint').dataset.shown === 'yes'")
    kept(page, "hostile", tmp_path)
    assert page.locator("#hint img, #hint script, #hint b").count() == 0
    assert page.locator("#note").inner_text().startswith("<img")
    assert page.evaluate("document.documentElement.scrollWidth <= 360")


def test_without_a_channel_it_says_how(url: str, new_page: Make) -> None:
    page = new_page()
    page.goto(f"{url}/overlay")
    assert "channel=NAME" in page.locator("#usage").inner_text()
    assert "organiser" in page.locator("#usage").inner_text()


@contextmanager
def serving(port: int) -> Iterator[None]:
    environ = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}
    environ["ADVISOR_LOG"] = "off"
    command = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", str(port), "--workers", "1"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environ) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline().startswith("listening")
            yield
        finally:
            process.terminate()
            process.wait(10)


def test_it_comes_back_after_the_service_and_shows_nothing_stale(bare_page: Page) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    with serving(port):
        bare_page.goto(f"{url}/overlay?channel=back")
        bare_page.wait_for_timeout(300)
        push(url, "back", KNEE)
        shows(bare_page, "Putty Jab")
    hidden(bare_page, 8_000)
    with serving(port):
        bare_page.wait_for_timeout(3_500)
        assert bare_page.locator("#hint").get_attribute("data-shown") == "no", "what was shown before is gone"
        push(url, "back", SHOVEL)
        shows(bare_page, "Shears Hold", 15_000)


def test_the_browser_is_there() -> None:
    assert shutil.which("chromium")
