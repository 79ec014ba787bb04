"""How much of a tag each picture shows: what sail, mast, hands and straws leave of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.simulator.scene import Scene
from logger.simulator.sight import Sight
from logger.simulator.tag import Tag
from logger.simulator.visitors import Patch
from logger.simulator.window import Window

Floats = NDArray[np.float64]
COLUMNS = ("frame", "u_px", "v_px", "seen_share")


def seen(scene: Scene, tag: Tag) -> Floats:
    """(N, 3) per frame: where the tag's middle is seen, column and row, and the share of the black square that shows.

    Taken in the middle of each exposure, every point as its own row sees it. The square about a disc counts for it.
    Not a number and 0 as long as the boat is out of sight. Glare and blur hide nothing here.
    """
    sight = Sight(scene)
    firsts = scene.shutter.begins_ns / 1e9 + scene.shutter.exposure_ns / 2e9
    return np.array([_one(scene, tag, sight, float(first_s)) for first_s in firsts])


def seen_text(scene: Scene, tag: Tag) -> str:
    """truth_tag.csv."""
    rows = [f"{number},{u:.4f},{v:.4f},{share:.4f}" for number, (u, v, share) in enumerate(seen(scene, tag))]
    return "\n".join([",".join(COLUMNS), *rows]) + "\n"


def _one(scene: Scene, tag: Tag, sight: Sight, first_s: float) -> tuple[float, float, float]:
    if scene.entry is not None and not scene.entry.in_sight(first_s):
        return float("nan"), float("nan"), 0.0
    middle = tag.in_boat(np.zeros((1, 2)))
    points = sight.project(np.vstack([tag.corners_mm(), middle]), first_s)
    window = Window(points[:4], margin_px=2, limit=(scene.eye.height_px, scene.eye.width_px))
    whole = window.cover(points[:4])
    left = whole.copy()
    for outline in _before(scene, sight, first_s):
        np.minimum(left, 1.0 - window.hull(outline), out=left)
    inside = left[window.inner].sum() if window.seen else 0.0
    u, v = points[4]
    return float(u), float(v), float(inside / max(float(whole.sum()), 1e-9))


def _before(scene: Scene, sight: Sight, first_s: float) -> list[Floats]:
    """Outlines in the picture of everything that is drawn over the deck."""
    found = []
    if scene.sail is not None:
        found.append(sight.project(scene.sail.cloth(first_s), first_s))
        found.append(sight.project(scene.sail.mast(scene.hull.freeboard_mm), first_s))
    middle_s = first_s + scene.shutter.line_ns / 1e9 * scene.eye.height_px / 2
    for visitor in scene.visitors:
        found.extend(_flat(scene, patch) for patch in visitor.patches(middle_s) if visitor.above)
    return found


def _flat(scene: Scene, patch: Patch) -> Floats:
    return scene.eye.see(np.column_stack([patch.outline_mm, np.full(len(patch.outline_mm), patch.z_mm)]))
