"""Where the browser is that pages are looked at with."""

from __future__ import annotations

import shutil

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
"""None: there is none here."""
