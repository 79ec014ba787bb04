"""Do the views of a board say enough of the lens? What is there, and what to add, in words.

Corners must lie all over the picture (a lens bends most where it is farthest from the middle), the board must have been
tilted to all four sides (head-on pictures fit any focal length) and at least once have filled much of the picture.
"Left", "right", "top", "bottom" are those of the picture.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.lens import Floats, Lens
from calibration.lens_views import normal, rough_lens

REGIONS = (
    ("top left", "top middle", "top right"),
    ("middle left", "middle", "middle right"),
    ("bottom left", "bottom middle", "bottom right"),
)
SIDES = ("left", "right", "top", "bottom")
WANTED_VIEWS_COUNT = 12
WANTED_TILT_DEG = 15.0
WANTED_NEAR_SHARE = 0.2
WANTED_GAP_SHARE = 0.1
_LEAST_CORNERS_COUNT = 4
_FEWEST_REGIONS_COUNT = 5


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a set of views shows."""

    views_count: int
    corners_count: tuple[tuple[int, int, int], tuple[int, int, int], tuple[int, int, int]]
    """Corners in each ninth of the picture, rows from the top."""
    tilt_deg: Mapping[str, float]
    """For each side the largest tilt with that side of the board away from the camera; 0 if there is none."""
    near_share: float
    """Part of the picture that the nearest board fills."""
    gap_share: Mapping[str, float]
    """For each side of the picture how much of it, from there inwards, no corner reaches."""

    @property
    def bare(self) -> tuple[str, ...]:
        """Ninths of the picture with fewer than four corners."""
        return tuple(
            REGIONS[row][column]
            for row in range(3)
            for column in range(3)
            if self.corners_count[row][column] < _LEAST_CORNERS_COUNT
        )

    @property
    def advice(self) -> tuple[str, ...]:
        """What to add, one sentence each; empty if nothing is missing."""
        said = []
        if self.bare:
            said.append(f"show the board in the {_listed(self.bare)} of the picture")
        gaps = [side for side in SIDES if self.gap_share[side] > WANTED_GAP_SHARE]
        if gaps and not self.bare:
            said.append(f"let the board reach the {_listed(gaps)} edge of the picture; it may be cut off there")
        flat = [side for side in SIDES if self.tilt_deg[side] < WANTED_TILT_DEG]
        if flat:
            said.append(f"tilt the board by 30 degrees with its {_listed(flat)} away from the camera, one at a time")
        if self.near_share < WANTED_NEAR_SHARE:
            said.append(f"bring it nearer: it fills {self.near_share:.0%} of the picture at most, a quarter is wanted")
        if self.views_count < WANTED_VIEWS_COUNT:
            more = WANTED_VIEWS_COUNT - self.views_count
            said.append(f"show it from {more} more sides" if more > 1 else "show it from one more side")
        return tuple(said)

    @property
    def mistakes(self) -> tuple[str, ...]:
        """Why nothing can be made of these views, one sentence each."""
        covered = 9 - len(self.bare)
        if covered >= _FEWEST_REGIONS_COUNT:
            return ()
        return (
            f"boards are in one spot: only {covered} of the nine parts of the picture have corners; what lies outside "
            f"would be a guess; show the board in the {_listed(self.bare)}, too",
        )


def coverage(views: Mapping[str, BoardSeen], lens: Lens | None = None) -> Coverage:
    """What `views` show; their tilts as the `lens` has them, or a usual one where it is not known yet."""
    if not views:
        nothing = ((0, 0, 0),) * 3
        return Coverage(
            0, (nothing[0], nothing[1], nothing[2]), dict.fromkeys(SIDES, 0.0), 0.0, dict.fromkeys(SIDES, 1.0)
        )
    first = next(iter(views.values()))
    size = np.array([first.width_px, first.height_px])
    every = np.concatenate([view.pixels for view in views.values()])
    ninth = np.clip(((every + 0.5) / size * 3).astype(int), 0, 2)
    counts = np.zeros((3, 3), int)
    np.add.at(counts, (ninth[:, 1], ninth[:, 0]), 1)
    rows = [(int(row[0]), int(row[1]), int(row[2])) for row in counts]
    near = max(float(cv2.contourArea(cv2.convexHull(view.pixels.astype(np.float32)))) for view in views.values())
    share = (every + 0.5) / size
    (left, top), (right, bottom) = share.min(0).tolist(), (1 - share.max(0)).tolist()
    return Coverage(
        views_count=len(views),
        corners_count=(rows[0], rows[1], rows[2]),
        tilt_deg=_tilts([normal(lens or rough_lens(view.width_px, view.height_px), view) for view in views.values()]),
        near_share=near / float(size.prod()),
        gap_share={"left": left, "right": right, "top": top, "bottom": bottom},
    )


def _tilts(normals: Sequence[Floats]) -> dict[str, float]:
    # a board whose right side is away faces to the right: its upright has x > 0
    right = [math.degrees(math.atan2(n[0], -n[2])) for n in normals]
    bottom = [math.degrees(math.atan2(n[1], -n[2])) for n in normals]
    return {
        "left": max(0.0, -min(right)),
        "right": max(0.0, max(right)),
        "top": max(0.0, -min(bottom)),
        "bottom": max(0.0, max(bottom)),
    }


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
