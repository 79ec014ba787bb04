"""What a camera's first pictures are worth: their size, light and sharpness. Pure.

Light is judged by the grey levels: black where even the brightest hundredth is dark, burnt out where much of the
picture is at the upper end, so that a pale boat on it cannot be seen. Sharpness is the width of the steepest edges: for
a step blurred by a Gaussian of standard deviation s, the greatest slope is height / (s·√(2π)), and 10 % to 90 % of the
step lie 2.563·s apart (standard normal distribution: 2 · 1.2816). Limits are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.drivers.interface import Finding, Health

Grey = NDArray[np.uint8]

BLACK_LEVELS, DIM_LEVELS = 30, 80
"""Brightest hundredth of a picture below this: black; below that: dim."""
BURNT_LEVELS = 250
BURNT_SHARE, ALL_BURNT_SHARE = 0.05, 0.4
FLAT_LEVELS = 12
"""From the darkest to the brightest hundredth."""
BLURRED_PX = 6.0
"""From 10 % to 90 % of an edge."""
_TEN_TO_NINETY = 2.563
_STEP_LEVELS = 20
"""Lower edges are not looked at."""
_REACH_PX = 8
"""An edge's height is read so far from its middle on both sides."""
_SOFTENED_PX = 0.7
_EDGES_COUNT, _LEAST_EDGES_COUNT = 2000, 30


def findings(picture: Grey, *, part: str = "camera") -> Iterator[Finding]:
    """What is to be said of a grey picture's light and sharpness."""
    dark, bright = (float(level) for level in np.percentile(picture, (1, 99)))
    burnt = float(np.mean(picture >= BURNT_LEVELS))
    lamp = "switch the lamp on, take the cap off, open the lens, or expose longer (exposure_us)"
    if bright < BLACK_LEVELS:
        yield Finding(f"{part}: light", "wrong", f"black: the brightest hundredth is at {bright:.0f} of 255", lamp)
        return
    if bright < DIM_LEVELS:
        yield Finding(f"{part}: light", "doubtful", f"dim: the brightest hundredth is at {bright:.0f} of 255", lamp)
    elif burnt > BURNT_SHARE:
        cure = "expose shorter (exposure_us), less gain, or keep the sun and the lamp's reflection out of the picture"
        health: Health = "wrong" if burnt > ALL_BURNT_SHARE else "doubtful"
        yield Finding(f"{part}: light", health, f"{burnt:.0%} of the picture is burnt out", cure)
    else:
        yield Finding(f"{part}: light", "well", f"levels {dark:.0f} to {bright:.0f} of 255, {burnt:.1%} burnt out")
    if bright - dark < FLAT_LEVELS:
        cure = "see that nothing hangs before the lens, and that the camera looks at the tank"
        yield Finding(f"{part}: sharpness", "wrong", "the same grey everywhere: there is nothing to be seen", cure)
        return
    yield _sharpness(picture, f"{part}: sharpness")


def _sharpness(picture: Grey, part: str) -> Finding:
    width_px = edge_width_px(picture)
    if width_px is None:
        cure = "put something with sharp edges into the picture, such as the board, and look again"
        return Finding(part, "doubtful", "there are too few clear edges to tell", cure)
    found = f"its sharpest edges are {width_px:.1f} px wide (10 % to 90 %)"
    if width_px <= BLURRED_PX:
        return Finding(part, "well", found)
    return Finding(part, "doubtful", found, "focus the lens, wipe it, fix the focus, then calibrate the lens again")


def edge_width_px(picture: Grey) -> float | None:
    """How wide the sharper edges of a picture are, from 10 % to 90 % of their height; None: it has too few."""
    soft = np.asarray(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), _SOFTENED_PX), np.float32)
    across, down = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32 for way in ((1, 0), (0, 1)))
    steep = np.hypot(across, down)
    ridge = (steep >= cv2.dilate(steep, np.ones((5, 5), np.uint8))) & (steep > _STEP_LEVELS / (2 * _REACH_PX))
    margin = _REACH_PX + 1
    ridge[:margin], ridge[-margin:], ridge[:, :margin], ridge[:, -margin:] = False, False, False, False
    rows, columns = np.nonzero(ridge)
    strongest = np.argsort(-steep[rows, columns])[:_EDGES_COUNT]
    rows, columns = rows[strongest], columns[strongest]
    slope = steep[rows, columns]
    to_bright = np.stack([across[rows, columns], down[rows, columns]], -1) / slope[:, None]
    ends = [
        soft[
            (np.rint(rows + way * _REACH_PX * to_bright[:, 1])).astype(int),
            (np.rint(columns + way * _REACH_PX * to_bright[:, 0])).astype(int),
        ]
        for way in (1, -1)
    ]
    height = ends[0] - ends[1]
    clear = height > _STEP_LEVELS
    if np.count_nonzero(clear) < _LEAST_EDGES_COUNT:
        return None
    blur = height[clear] / (slope[clear] * math.sqrt(2 * math.pi))
    # what the softening and the slope's own reach of a pixel have added
    own = np.sqrt(np.maximum(blur**2 - _SOFTENED_PX**2 - 0.3, 0.05))
    return _TEN_TO_NINETY * float(np.percentile(own, 25))
