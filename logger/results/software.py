"""What measured a run: the version, and letters made from the very code, as code may change between two versions."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from logger import __version__

_MEASURES = ("calibration", "logger/recording", "logger/results", "logger/vision")
"""Folders of code that a result may hang on."""


@cache
def software() -> str:
    """Name, version and code: two that say the same give the same results."""
    top = Path(__file__).parents[2]
    files = sorted(
        file.relative_to(top).as_posix()
        for folder in _MEASURES
        for file in (top / folder).rglob("*.py")
    )  # fmt: skip
    made = hashlib.sha256()
    for name in files:
        made.update(name.encode() + b"\0" + (top / name).read_bytes() + b"\0")
    return f"boatrun {__version__} ({made.hexdigest()[:8]})"
