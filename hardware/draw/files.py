"""All files of hardware/ that are made by code: what they hold, and whether they are as they should be."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from hardware.draw.drawings import every_drawing
from hardware.draw.tables import filled, wiring_blocks

HARDWARE = Path(__file__).resolve().parents[1]


def made() -> Mapping[Path, bytes]:
    """Path -> what stands in it when made anew."""
    files = {HARDWARE / "drawings" / name: svg.encode() for name, svg in every_drawing().items()}
    files[HARDWARE / "wiring.md"] = filled((HARDWARE / "wiring.md").read_text("utf-8"), wiring_blocks()).encode()
    return files


def stale(files: Mapping[Path, bytes]) -> list[Path]:
    """Those of `files` that are missing or hold something else."""
    return sorted(path for path, content in files.items() if not path.is_file() or path.read_bytes() != content)


def write(files: Mapping[Path, bytes]) -> None:
    """Write what is stale."""
    for path in stale(files):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(files[path])
