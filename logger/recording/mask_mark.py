"""masked.txt: the mark of a film of which all beside the water was blacked out (masking.py)."""

from __future__ import annotations

from pathlib import Path

MARK = "masked.txt"
SAID = "the film shows nothing but the water any more: whether the camera was moved cannot be seen in it"


def is_masked(folder: Path) -> bool:
    """Whether the film of the recording in `folder` was treated so."""
    return (folder / MARK).exists()
