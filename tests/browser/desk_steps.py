"""What the browser tests say of the desk: questions, addresses, and what to wait for."""

from __future__ import annotations

import json
import time
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

from playwright.sync_api import Page

PUNISH: dict[str, Any] = {
    "me": {"character": "wenna"}, "them": {"character": "marl"},
    "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}, "distance": "touching",
}  # fmt: skip
LYING: dict[str, Any] = {
    **PUNISH, "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 20},
}  # fmt: skip
AHEAD: dict[str, Any] = {
    **PUNISH, "moment": {"kind": "advantage", "frames": 4, "held": "blockstun"}, "distance": "close",
}  # fmt: skip


def address(url: str, question: dict[str, Any], tab: str = "answers") -> str:
    """The shareable address of a question."""
    return f"{url}/desk?q={quote(json.dumps(question))}&tab={tab}"


def asked(page: Page) -> dict[str, Any]:
    """The question in the page's address."""
    found: dict[str, Any] = json.loads(parse_qs(urlsplit(page.url).query)["q"][0])
    return found


def settled(page: Page, tab: str = "answers") -> None:
    """Wait until the panel shows what it was asked for."""
    page.wait_for_selector(f"#panel-{tab}:not([hidden]):not([aria-busy]) > *")


def until(page: Page, expression: str, seconds: float = 10) -> None:
    """Wait until a JavaScript expression holds; the page's policy forbids the library's own way of waiting."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, expression
        page.wait_for_timeout(20)


def overflow(page: Page) -> int:
    """Pixels by which the page is wider than its window."""
    wide: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return wide
