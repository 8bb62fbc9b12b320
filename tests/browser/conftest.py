"""A service process with the demo pack and one of hostile names, and a browser that tells of every fault on a page."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hostile_names import hostile_pack
from playwright.sync_api import Browser, Page, sync_playwright

COMMAND = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", "0", "--workers", "1", "--engine", "plain"]


@pytest.fixture(scope="session")
def url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the service listens; its notebook is a new one."""
    folder = tmp_path_factory.mktemp("served")
    environ = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}
    environ["ADVISOR_NOTEBOOK"] = f"sqlite:///{folder / 'notebook.db'}"
    command = [*COMMAND, "--packs", str(hostile_pack(folder))]
    told = folder / "told"
    # A file, not a pipe: a full pipe would hold up a server that logs.
    with told.open("w", encoding="utf-8") as out, subprocess.Popen(
        command, stdout=out, stderr=subprocess.STDOUT, env=environ, start_new_session=True
    ) as process:  # fmt: skip
        try:
            until = time.monotonic() + 30
            while not (found := re.search(r"^listening on (\S+)$", told.read_text("utf-8"), re.MULTILINE)):
                assert process.poll() is None and time.monotonic() < until, told.read_text("utf-8")
                time.sleep(0.05)
            yield found[1]
        finally:
            process.terminate()
            try:
                process.wait(10)
            finally:
                process.kill()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    found = shutil.which("chromium")
    assert found, "the browser tests need chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Makes pages; a fault on any of them (script error, console error, dialog, refused load) fails the test."""
    faults: list[str] = []
    contexts = []

    def make(**of: object) -> Page:
        context = chromium.new_context(**{"viewport": {"width": 1280, "height": 900}, **of})  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("pageerror", lambda error: faults.append(f"script: {error}"))
        page.on("console", lambda said: faults.append(f"console: {said.text}") if said.type == "error" else None)
        page.on("dialog", lambda dialog: (faults.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        return page

    yield make
    for context in contexts:
        context.close()
    assert faults == []


@pytest.fixture
def bare_page(chromium: Browser) -> Iterator[Page]:
    """A page for what the service refuses: the browser logs that as an error, so faults of scripts alone count."""
    faults: list[str] = []
    page = chromium.new_page()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda said: faults.append(said.text) if "Error:" in said.text else None)
    yield page
    page.close()
    assert faults == []


@pytest.fixture(scope="session")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of screenshots: the one that ``SCREENSHOTS`` names."""
    named = os.environ.get("SCREENSHOTS")
    folder = Path(named) if named else tmp_path_factory.mktemp("screenshots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder
