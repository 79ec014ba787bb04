"""All files of hardware/ that are made by code: what they hold, and whether they are as they should be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import cv2
import numpy as np

from hardware.draw.drawings import every_drawing
from hardware.draw.gate_mounts import beam_at_mm
from hardware.draw.markdown import filled
from hardware.draw.mesh_files import stl, threemf
from hardware.draw.mounts import MOUNTS
from hardware.draw.parts import parts_blocks
from hardware.draw.picture import Image, Seen, picture
from hardware.draw.scenes import PLASTIC, SCENES
from hardware.draw.tables import mounts, wiring_blocks

HARDWARE = Path(__file__).resolve().parents[1]
HEAD_MIDDLE_MM = 13.0
"""The middle of a head, across the beam, from its rod's axis."""
TURNED_DEG = {"board_corner": 215.0, "rim_clamp": 60.0}
"""Mounts that show more from another side."""
CLOSE_LEVELS = 2.0
"""Two pictures are one if they differ by no more than this on average: computers round differently."""


def texts() -> Mapping[Path, bytes]:
    """Drawings and pages: path -> what stands in it when made anew."""
    files = {HARDWARE / "drawings" / name: svg.encode() for name, svg in every_drawing().items()}
    blocks = {"wiring.md": wiring_blocks(), "mechanics.md": {"mounts": mounts()}, "parts.md": parts_blocks()}
    for page, made in blocks.items():
        files[HARDWARE / page] = filled((HARDWARE / page).read_text("utf-8"), made).encode()
    return files


def mount_picture(name: str) -> Image:
    """One mount as it is printed; heads are cut open along the beam, to show what they hold."""
    solid = MOUNTS[name].make()
    if name.startswith("head_") and name != "head_lid":
        across = beam_at_mm()[1]
        solid = solid.trim_by_plane([0, 1, 0], across - HEAD_MIDDLE_MM)
        return picture([Seen(solid, PLASTIC)], turn_deg=-25, rise_deg=15)
    return picture([Seen(solid, PLASTIC)], turn_deg=TURNED_DEG.get(name, 35.0))


def pictures() -> Iterator[tuple[Path, Image]]:
    """Every picture by its path; takes a while."""
    for name in MOUNTS:
        yield HARDWARE / "pictures" / f"{name}.png", mount_picture(name)
    for name, draw in SCENES.items():
        yield HARDWARE / "pictures" / f"{name}.png", draw()


def models(folder: Path) -> Mapping[Path, bytes]:
    """STL and 3MF of every mount, for a folder of one's own."""
    made = {name: mount.make() for name, mount in MOUNTS.items()}
    files = {folder / f"{name}.stl": stl(solid) for name, solid in made.items()}
    return files | {folder / f"{name}.3mf": threemf(solid, name=name) for name, solid in made.items()}


def stale(files: Mapping[Path, bytes]) -> list[Path]:
    """Those of `files` that are missing or hold something else."""
    return sorted(path for path, content in files.items() if not path.is_file() or path.read_bytes() != content)


def shows(path: Path, image: Image) -> bool:
    """Whether the picture at `path` is there and shows the same."""
    kept = cv2.imread(str(path)) if path.is_file() else None
    if kept is None or kept.shape != image.shape:
        return False
    return float(np.abs(kept.astype(float) - image).mean()) <= CLOSE_LEVELS


def write(files: Mapping[Path, bytes]) -> None:
    """Write what is stale."""
    for path in stale(files):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(files[path])


def write_picture(path: Path, image: Image) -> None:
    """Write it as PNG. OSError if that cannot be."""
    path.parent.mkdir(parents=True, exist_ok=True)
    good, png = cv2.imencode(".png", image, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    if not good:
        raise OSError(f"{path}: the picture could not be coded")
    path.write_bytes(png.tobytes())
