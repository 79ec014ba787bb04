"""A real browser, and windows of it that note what goes wrong in them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from typing import Any

import pytest

from tests.browser.chromium import BROWSER


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skips what opens a browser where none can be had, before anything is set up for it."""
    reason = ""
    if find_spec("playwright") is None or find_spec("axe_playwright_python") is None:
        reason = "the extra `browser` is not installed"
    elif BROWSER is None:
        reason = "there is no Chromium here: install it to open the pages (apt-get install chromium)"
    for item in items:
        if reason and "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.skip(reason=reason))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright  # an extra, which not everybody has

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


def slowed(page: Any, by_ms: float) -> None:
    """Every answer comes that much later, as over a poor Wi-Fi: a test that is faster than its page shows it."""
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    slow = {"offline": False, "latency": by_ms, "downloadThroughput": -1, "uploadThroughput": -1}
    wire.send("Network.emulateNetworkConditions", slow)


@contextmanager
def window(browser: Any) -> Iterator[Any]:
    """A window, of which every complaint and every address that it asks for is noted."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    slowed(page, float(os.environ.get("BOATRUN_SLOW_MS", "0")))
    page.complaints, page.asked = [], []
    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    yield page
    context.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    with window(browser) as opened:
        yield opened
