"""Where the browser is that pages are looked at with."""

from __future__ import annotations

import shutil
from typing import Any

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
"""None: there is none here."""


def axe_found(page: Any) -> dict[str, Any]:
    """What axe-core finds on a page that is open."""
    from axe_playwright_python.sync_playwright import Axe  # an extra, which not everybody has

    found: dict[str, Any] = Axe().run(page).response
    return found
