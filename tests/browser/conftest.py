"""A real browser, and windows of it that note what goes wrong in them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.chromium import BROWSER


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="the extra `browser` is not installed")
    if BROWSER is None:
        pytest.skip("there is no Chromium here: install it to open the pages (apt-get install chromium)")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A window, of which every complaint and every address that it asks for is noted."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.complaints, page.asked = [], []
    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    yield page
    context.close()
