"""How long the pages take in Chromium: from a state's submission to the painted hint, and the desk's first answer.

Needs the development dependencies and Chromium. Beside each time stands that of the bare request in the same run.
"""

from __future__ import annotations

import re
import shutil
import statistics
import subprocess
import sys
import time
from typing import Any

import httpx

from advisor.errors import AdvisorError

__all__ = ["run"]

STATES = 40
OPENINGS = 10
KNEE = {
    "me": {"character": "wenna"}, "them": {"character": "marl"},
    "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}, "distance": "touching",
}  # fmt: skip
SHOVEL = {**KNEE, "moment": {"kind": "blocked", "attacker": "them", "move": "round_shovel"}}
WATCH = (
    "() => { window.painted = []; new MutationObserver(() => requestAnimationFrame(() => "
    "window.painted.push(Date.now()))).observe(document.querySelector('#summary'), { childList: true }); }"
)


def run() -> None:
    """Print median and p95 of both, in milliseconds. Errors: ``AdvisorError`` without Chromium or playwright."""
    found = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        found = None
    if found is None:
        raise AdvisorError("fault", "this needs chromium and playwright", help="install them, see DEVELOPERS.md")
    command = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        try:
            assert server.stdout is not None
            while not (told := re.match(r"listening on (\S+)", server.stdout.readline())):
                pass
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
                _overlay(browser.new_page(), told[1])
                _desk(browser, told[1])
                browser.close()
        finally:
            server.terminate()


def _overlay(page: Any, url: str) -> None:
    page.goto(f"{url}/overlay?channel=speed")
    page.wait_for_timeout(800)
    painted, bare = [], []
    page.evaluate(WATCH)
    with httpx.Client(timeout=20) as client:
        for turn in range(STATES):
            began = time.time() * 1000
            client.post(f"{url}/v1/live/speed", json={"question": (KNEE, SHOVEL)[turn % 2]}).raise_for_status()
            bare.append(time.time() * 1000 - began)
            page.wait_for_function("n => window.painted.length > n", arg=turn)
            painted.append(page.evaluate("n => window.painted[n]", turn) - began)
            page.wait_for_timeout(450)
    _tell("state submitted to hint painted", painted, bare)


def _desk(browser: Any, url: str) -> None:
    opened, bare = [], []
    client = httpx.Client(timeout=20)
    for _ in range(OPENINGS):
        page = browser.new_context().new_page()
        began = time.monotonic()
        page.goto(f"{url}/desk")
        page.wait_for_selector("#panel-answers:not([hidden]):not([aria-busy]) > *")
        opened.append((time.monotonic() - began) * 1000)
        page.context.close()
        began = time.monotonic()
        client.post(f"{url}/v1/advice", json=KNEE).raise_for_status()
        bare.append((time.monotonic() - began) * 1000)
    client.close()
    _tell("desk opened to first answer", opened, bare)


def _tell(what: str, times: list[float], bare: list[float]) -> None:
    middle, high = statistics.median(times), sorted(times)[int(len(times) * 0.95) - 1]
    print(
        f"{what}: median {middle:.0f} ms, p95 {high:.0f} ms; the bare request {statistics.median(bare):.0f} ms "
        f"({middle / statistics.median(bare):.1f} times)"
    )
