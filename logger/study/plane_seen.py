"""The picture that was calibrated with, and what was made of it: look whether it lies where it should.

Drawn into the photograph: each mark as found (cross) and as fitted (ring), the tank's wall at the waterline, its
lines, and which way x and y go. A frame that is turned or mirrored, or lines beside their tapes, are seen at a glance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import Floats
from calibration.waterplane import View
from logger.config import Rig

Picture = NDArray[np.uint8]
_WALL, _LINE, _FOUND, _FITTED, _AXES = (60, 200, 255), (40, 220, 40), (60, 90, 255), (255, 160, 0), (255, 90, 230)
"""Blue, green, red."""
_FINE_BITS = 4
_STEPS_COUNT = 40
_AXIS_PART = 0.18


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Marks or corners of one picture. N of them."""

    found_px: Floats
    """(N, 2)"""
    fitted_px: Floats
    """(N, 2)"""
    names: Sequence[str] = ()
    """N names, or none."""


def plane_seen(picture: NDArray[np.uint8], view: View, rig: Rig, spots: Spots, *, enlarged: float = 1.0) -> Picture:
    """The grey `picture` (H, W) in colours (H, W, 3; blue, green, red), with all of that drawn into it.

    `enlarged`: by how much names are larger than for a whole screen.
    """
    drawn = np.asarray(cv2.cvtColor((picture * 0.8 + 25).astype(np.uint8), cv2.COLOR_GRAY2BGR), np.uint8)
    size = max(1.0, picture.shape[1] / 1280)
    corners = [*rig.tank.outline_mm, rig.tank.outline_mm[0]]
    for a, b in pairwise(corners):
        _straight(drawn, view, a, b, _WALL, size)
    for line in rig.lines:
        _straight(drawn, view, line.a_mm, line.b_mm, _LINE, 2 * size)
        _name(drawn, view.to_pixels([[*line.b_mm, 0.0]])[0], line.name, _LINE, enlarged * size)
    _axes(drawn, view, rig, size, enlarged * size)
    for index, (found, fitted) in enumerate(zip(spots.found_px, spots.fitted_px, strict=True)):
        _ring(drawn, fitted, 7 * size, _FITTED, size)
        _cross(drawn, found, 5 * size, _FOUND, size)
        if spots.names:
            _name(drawn, found + 9 * size, spots.names[index], (120, 255, 255), 0.9 * size)
    return drawn


def _straight(
    drawn: Picture, view: View, a: Sequence[float], b: Sequence[float], colour: tuple[int, int, int], width: float
) -> None:
    """A straight line on the water, which a lens may bend."""
    share = np.linspace(0, 1, _STEPS_COUNT)[:, None]
    places = np.column_stack([np.array(a) * (1 - share) + np.array(b) * share, np.zeros(_STEPS_COUNT)])
    pixels = view.to_pixels(places)
    near = (np.abs(pixels) < 4 * max(drawn.shape)).all(1)
    for first, second in zip(
        np.flatnonzero(near[:-1] & near[1:]), np.flatnonzero(near[:-1] & near[1:]) + 1, strict=True
    ):
        cv2.line(drawn, _fine(pixels[first]), _fine(pixels[second]), colour, round(2 * width), cv2.LINE_AA, _FINE_BITS)


def _axes(drawn: Picture, view: View, rig: Rig, size: float, size_of_names: float) -> None:
    xs, ys = zip(*rig.tank.outline_mm, strict=True)
    length = _AXIS_PART * max(max(xs) - min(xs), max(ys) - min(ys))
    for name, way in (("x", (length, 0.0)), ("y", (0.0, length))):
        start, end = view.to_pixels([[0.0, 0.0, 0.0], [*way, 0.0]])
        if (np.abs([start, end]) > 4 * max(drawn.shape)).any():
            continue
        cv2.arrowedLine(drawn, _whole(start), _whole(end), _AXES, round(3 * size), cv2.LINE_AA, tipLength=0.15)
        _name(drawn, end + 8 * size, name, _AXES, 1.2 * size_of_names)


def _ring(drawn: Picture, at: Floats, radius: float, colour: tuple[int, int, int], size: float) -> None:
    cv2.circle(drawn, _fine(at), round(radius * 2**_FINE_BITS), colour, round(2 * size), cv2.LINE_AA, _FINE_BITS)


def _cross(drawn: Picture, at: Floats, arm: float, colour: tuple[int, int, int], size: float) -> None:
    for way in (np.array([arm, 0]), np.array([0, arm])):
        cv2.line(drawn, _fine(at - way), _fine(at + way), colour, max(1, round(size)), cv2.LINE_AA, _FINE_BITS)


def _name(drawn: Picture, at: Floats, text: str, colour: tuple[int, int, int], size: float) -> None:
    if not ((at > -20 * size) & (at < [drawn.shape[1] + 20 * size, drawn.shape[0] + 20 * size])).all():
        return
    plain = text.encode("ascii", "replace").decode()  # the letters that OpenCV draws
    (width, height), _ = cv2.getTextSize(plain, cv2.FONT_HERSHEY_SIMPLEX, 0.6 * size, 1)
    x = int(np.clip(at[0], 2, max(2, drawn.shape[1] - width - 2)))
    y = int(np.clip(at[1], height + 2, max(height + 2, drawn.shape[0] - 3)))
    for shade, width_px in (((0, 0, 0), 4), (colour, 1)):
        cv2.putText(
            drawn, plain, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.6 * size, shade, round(width_px * size), cv2.LINE_AA
        )


def _fine(at: Floats) -> tuple[int, int]:
    return round(float(at[0]) * 2**_FINE_BITS), round(float(at[1]) * 2**_FINE_BITS)


def _whole(at: Floats) -> tuple[int, int]:
    return round(float(at[0])), round(float(at[1]))
