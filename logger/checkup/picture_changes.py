"""What is different from when the rig was calibrated: focus, light, and how high the water stands.

Each is told from the kept view and a picture of now. Focus: how wide the same edges are. Light: how much brighter
the same places are. Level: how the floor has shrunk or grown against the rim (calibration/level.py); where the floor
shows nothing, somebody with a ruler can tell. Limits for focus and light are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import Floats
from calibration.level import Level, level_effect, water_level
from calibration.waterplane import View
from logger.drivers.interface import Finding, Health

Grey = NDArray[np.uint8]
FOCUS, LIGHT, LEVEL = "camera: focus", "camera: brightness", "water level"
SOFTER_RATIO = 1.35
"""Edges that much wider or narrower were drawn with another focus."""
_NEAR_PX, _ABOUT_PX, _APART_PX = 4, 8, 9
_STEP_LEVELS, _EDGES_COUNT, _LEAST_EDGES_COUNT = 30.0, 400, 20
BRIGHTER_RATIO = 1.4
_DARK_LEVELS, _BURNT_LEVELS = 15, 245
RULER_U_MM = 1.5
"""A ruler in water, read by somebody (common practice, no source)."""


def first_of_size(pictures: Sequence[Path], now: Grey) -> Grey | None:
    """The oldest kept view as large as the picture of now."""
    for path in pictures:
        then = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        if then is not None and then.shape == now.shape:
            return np.asarray(then, np.uint8)
    return None


def findings(
    then: Grey, now: Grey, view: View, *, water_mm: Floats, depth_mm: float, places_mm: Floats, allowed_mm: float
) -> Iterator[Finding]:
    """What is to be said of the picture of `now` beside the one from `then`.

    Args:
        then: The kept view, grey.
        now: A grey picture of now, of its size.
        view: The camera as calibrated.
        water_mm: (N, 2) outline of the water.
        depth_mm: How deep the water was then.
        places_mm: (P, 2) where places matter.
        allowed_mm: By how much the calibration itself leaves them open.
    """
    yield from _focus(then, now)
    yield _light(then, now)
    seen = water_level(view, then, now, water_mm=water_mm, depth_mm=depth_mm)
    if isinstance(seen, Level):
        yield level_told(
            view, seen.higher_mm, seen.u_higher_mm, places_mm=places_mm, allowed_mm=allowed_mm, told_by="by the floor"
        )
    else:
        cure = "read a ruler in the water and do: boatrun check RIG --depth-mm what it shows"
        yield Finding(LEVEL, "doubtful", f"cannot be told from the picture: {seen}", cure)


def _focus(then: Grey, now: Grey) -> Iterator[Finding]:
    ratio = edge_width_ratio(then, now)
    if ratio is None:
        return  # that there are too few edges is said elsewhere
    found = f"edges are {ratio:.2f} times as wide as when it was calibrated"
    if 1 / SOFTER_RATIO < ratio < SOFTER_RATIO:
        yield Finding(FOCUS, "well", found)
        return
    cure = (
        "wipe the lens; if its focus was turned, turn it back or calibrate lens and plane again: the scale goes with it"
    )
    yield Finding(FOCUS, "doubtful", f"{found}: {'softer' if ratio > 1 else 'sharper'} than it was", cure)


def edge_width_ratio(then: Grey, now: Grey) -> float | None:
    """How many times wider the same edges are now; None: there are too few.

    The steepest places of the old picture are looked at in both: the greatest slope close by over the height of the
    step around it, for a step's slope goes with its height over its width.
    """
    steepness = [_steepness(picture) for picture in (then, now)]
    slope, height = steepness[0]
    ridge = (slope >= cv2.dilate(slope, np.ones((_APART_PX,) * 2))) & (height > _STEP_LEVELS)
    rows, columns = np.nonzero(ridge)
    strongest = np.argsort(-slope[rows, columns])[:_EDGES_COUNT]
    rows, columns = rows[strongest], columns[strongest]
    sharp_then, sharp_now = (s[rows, columns] / np.maximum(h[rows, columns], 1) for s, h in steepness)
    there = steepness[1][1][rows, columns] > _STEP_LEVELS / 2
    if np.count_nonzero(there) < _LEAST_EDGES_COUNT:
        return None
    return float(np.median(sharp_then[there] / np.maximum(sharp_now[there], 1e-6)))


def _steepness(picture: Grey) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The greatest slope within a few pixels of each, grey levels per pixel, and from dark to light there."""
    soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.7)
    slope = np.hypot(*(cv2.Scharr(soft, cv2.CV_32F, *way) / 32 for way in ((1, 0), (0, 1))))
    near, about = np.ones((2 * _NEAR_PX + 1,) * 2), np.ones((2 * _ABOUT_PX + 1,) * 2)
    height = cv2.dilate(soft, about) - cv2.erode(soft, about)
    return np.asarray(cv2.dilate(slope, near), np.float32), np.asarray(height, np.float32)


def _light(then: Grey, now: Grey) -> Finding:
    usable = (then > _DARK_LEVELS) & (then < _BURNT_LEVELS) & (now > _DARK_LEVELS) & (now < _BURNT_LEVELS)
    if np.count_nonzero(usable) < 0.1 * usable.size:
        cure = "set lamp and exposure as they were, or keep a new view if all was calibrated like this"
        return Finding(
            LIGHT, "doubtful", "light and exposure are so different that the pictures cannot be compared", cure
        )
    ratio = float(np.median(now[usable].astype(np.float64) / then[usable]))
    found = f"{ratio:.2f} times as bright as when it was calibrated"
    if 1 / BRIGHTER_RATIO < ratio < BRIGHTER_RATIO:
        return Finding(LIGHT, "well", found)
    cure = "set exposure, gain and lamp as they were; the camera's delay holds for one exposure only"
    return Finding(LIGHT, "doubtful", f"{found}: exposure, gain or lamp have changed", cure)


def level_told(
    view: View, higher_mm: float, u_mm: float, *, places_mm: Floats, allowed_mm: float, told_by: str
) -> Finding:
    """What another level of the water means for what is measured, as a finding.

    Args:
        view: The camera as calibrated.
        higher_mm: By how much the water stands higher than then.
        u_mm: Standard uncertainty of that.
        places_mm: (P, 2) where places matter.
        allowed_mm: By how much they may be off.
        told_by: Whence it is known.
    """
    effect = level_effect(view, higher_mm, places_mm)
    u_effect_mm = level_effect(view, u_mm, places_mm).most_mm
    shown = f"{abs(higher_mm):.1f} ± {2 * u_mm:.1f} mm {'higher' if higher_mm > 0 else 'lower'}"
    means = f"lengths come out {abs(effect.percent):.2f} % too {'long' if higher_mm > 0 else 'short'}"
    found = f"{shown} than when it was calibrated ({told_by}, 95 %): {means}, places up to {effect.most_mm:.1f} mm off"
    if effect.most_mm + 2 * u_effect_mm <= allowed_mm:
        return Finding(LEVEL, "well", f"as it was calibrated: {shown} ({told_by}, 95 %)")
    if abs(higher_mm) <= 2 * u_mm:
        cure = "fill the water to its mark; for certainty read a ruler and do: boatrun check RIG --depth-mm"
        cannot = f"as it was calibrated as far as can be told: {shown} ({told_by}, 95 %)"
        return Finding(LEVEL, "well" if 2 * u_effect_mm <= allowed_mm else "doubtful", cannot, cure)
    act = "take out" if higher_mm > 0 else "fill in"
    cure = f"{act} {abs(higher_mm):.0f} mm of water, to its mark, or calibrate the plane again"
    health: Health = "wrong" if effect.most_mm - 2 * u_effect_mm > allowed_mm else "doubtful"
    return Finding(LEVEL, health, found, cure)
