"""Which pictures of a board are worth something, and which of many to take.

A picture is left out when its edges are smeared over more than a few pixels, when its white is cut off (light that is
cut off moves edges outwards), or when black and white are hardly apart. Of what is left as few as needed are taken,
each as unlike those taken before as can be: in place, size, turn and tilt of the board. Ten pictures that are all alike
say no more than one, and their common error would be believed ten times.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.board import BoardSeen, Picture, grey
from calibration.lens import Floats, Lens
from calibration.lens_solve import board_pose

MOST_VIEWS_COUNT = 24
SAME_SHARE = 0.04
"""Two views less unlike than this are near duplicates: corners apart by that part of the picture's diagonal, or the
board tilted by five degrees."""

_MOST_EDGE_PX, _MOST_EDGE_SHARE = 5.0, 0.1
_MOST_CLIPPED_SHARE, _CUT_OFF_LEVEL = 0.2, 253
_LEAST_CONTRAST_LEVELS = 40.0
_TILT_WEIGHT = 0.5
_ROUGH_FOCAL_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Quality:
    """How well a board shows in one picture."""

    edge_px: float
    """Width of its edges, contrast over steepest slope: about 2 is sharp."""
    square_px: float
    """Shortest distance between two corners."""
    clipped_share: float
    """Part of the board that is cut off to white."""
    contrast_levels: float
    """Between its white and its black, of 255."""

    @property
    def trouble(self) -> str:
        """Why the picture is of no use; empty if it is."""
        allowed_px = max(_MOST_EDGE_PX, _MOST_EDGE_SHARE * self.square_px)
        if self.clipped_share > _MOST_CLIPPED_SHARE:
            return f"overexposed: {self.clipped_share:.0%} of the board is cut off to white; expose less"
        if self.contrast_levels < _LEAST_CONTRAST_LEVELS:
            return f"too pale or too dark: black and white are {self.contrast_levels:.0f} of 255 apart; give more light"
        if self.edge_px > allowed_px:
            return (
                f"blurred: its edges are {self.edge_px:.1f} pixels wide; hold the board still, focus, give more light"
            )
        return ""


def quality(picture: Picture, seen: BoardSeen) -> Quality:
    """How well the board `seen` in a grey (H, W) or colour (H, W, 3) picture shows there."""
    image = grey(picture)
    inside = _inside(image, seen)
    dark, white = np.percentile(inside, (5, 95))
    contrast = float(white - dark)
    pairs = _neighbours(seen)
    widths = []
    smooth = image.astype(np.float32)
    slope = np.hypot(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)) / 8
    steepest = cv2.dilate(slope, np.ones((5, 5), np.uint8))
    for middles in pairs.values():
        at = np.clip(middles.round().astype(int), 0, (image.shape[1] - 1, image.shape[0] - 1))
        widths.append(contrast / max(float(np.median(steepest[at[:, 1], at[:, 0]])), 1e-3))
    apart = np.linalg.norm(seen.pixels[:, None] - seen.pixels[None], axis=-1)
    np.fill_diagonal(apart, np.inf)
    return Quality(
        edge_px=max(widths, default=np.inf),
        square_px=float(apart.min()),
        clipped_share=float(np.mean(inside >= _CUT_OFF_LEVEL)),
        contrast_levels=contrast,
    )


def _inside(image: Picture, seen: BoardSeen) -> Picture:
    hull = cv2.convexHull(seen.pixels.astype(np.float32)).round().astype(np.int32)
    mask = np.zeros(image.shape, np.uint8)
    cv2.fillConvexPoly(mask, hull, 1)
    return image[mask > 0]


def _neighbours(seen: BoardSeen) -> dict[str, Floats]:
    """Middles (N, 2) px between corners that are next to each other along the rows and along the columns.

    There black meets white. Motion smears the edges of one direction only, so the two are kept apart.
    """
    places = seen.points_mm[:, :2]
    step = min(np.diff(np.unique(places[:, axis].round(3))).min() for axis in (0, 1))
    index = {tuple(key): at for at, key in enumerate((places / step).round().astype(int))}
    found = {}
    for name, (dx, dy) in {"rows": (1, 0), "columns": (0, 1)}.items():
        pairs = [(at, index[x + dx, y + dy]) for (x, y), at in index.items() if (x + dx, y + dy) in index]
        if pairs:
            found[name] = np.array([(seen.pixels[one] + seen.pixels[other]) / 2 for one, other in pairs])
    return found


def rough_lens(width_px: int, height_px: int) -> Lens:
    """A lens of the usual angle, for a first idea of how a board is tilted."""
    focal_px = _ROUGH_FOCAL_SHARE * width_px
    return Lens(width_px, height_px, focal_px, focal_px, (width_px - 1) / 2, (height_px - 1) / 2)


def normal(lens: Lens, view: BoardSeen) -> Floats:
    """(3,) the board's own upright towards the camera, camera frame: (0, 0, -1) if it faces it."""
    (turn, _), _ = board_pose(lens, view)
    upright = -np.asarray(cv2.Rodrigues(turn)[0], np.float64)[:, 2]
    towards: Floats = upright if upright[2] < 0 else -upright
    return towards


def likeness(views: Mapping[str, BoardSeen]) -> dict[str, Floats]:
    """For each view a point (10,) in a space whose distances say how unlike two views are; see SAME_SHARE."""
    every = np.concatenate([view.points_mm for view in views.values()])
    low, high = every[:, :2].min(0), every[:, :2].max(0)
    frame = np.array([low, (high[0], low[1]), high, (low[0], high[1])], np.float32).reshape(-1, 1, 2)
    found = {}
    for name, view in views.items():
        onto, _ = cv2.findHomography(view.points_mm[:, :2].astype(np.float32), view.pixels.astype(np.float32))
        corners = cv2.perspectiveTransform(frame, np.asarray(onto, np.float64)).reshape(-1, 2)
        diagonal = np.hypot(view.width_px, view.height_px)
        try:
            tilt = normal(rough_lens(view.width_px, view.height_px), view)[:2]
        except (np.linalg.LinAlgError, cv2.error):
            tilt = np.zeros(2)
        found[name] = np.append(corners.ravel() / diagonal / 2, _TILT_WEIGHT * tilt)
    return found


def spread(
    views: Mapping[str, BoardSeen], sharpness: Mapping[str, float], *, most_count: int = MOST_VIEWS_COUNT
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Names of the views to take, and for each other one why not.

    Begins with the sharpest (least `sharpness`, the width of edges) and always takes the one that is most unlike all
    that were taken; ends when the others are near duplicates, or there are enough.
    """
    if not views:
        return (), {}
    place = likeness(views)
    taken = [min(views, key=lambda name: sharpness[name])]
    reasons = {}
    while len(taken) < len(views):
        apart = {
            name: min((float(np.linalg.norm(place[name] - place[other])), other) for other in taken)
            for name in views
            if name not in taken
        }
        farthest = max(apart, key=lambda name: apart[name][0])
        if apart[farthest][0] < SAME_SHARE:
            reasons = {name: f"much the same as {other}" for name, (_, other) in apart.items()}
            break
        if len(taken) >= most_count:
            reasons = dict.fromkeys(apart, "not needed, there are enough")
            break
        taken.append(farthest)
    return tuple(name for name in views if name in taken), reasons
