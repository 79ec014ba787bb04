"""A lens at another picture size.

A camera makes small pictures of its large sensor in two ways: it shrinks the whole picture, or it reads only a part of
the sensor and perhaps shrinks that. The first keeps the shape of the picture and is only a change of unit; the second
cannot be told from the size, so that a lens calibrated with large photos says nothing of such a stream.
"""

from __future__ import annotations

from dataclasses import replace
from math import gcd

import numpy as np

from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Floats, Lens

_SAME_SHAPE = 0.002


def resized(
    lens: Lens, covariance: Floats, *, width_px: int, height_px: int, place: str
) -> tuple[Lens, Floats, tuple[str, ...]]:
    """The lens and its covariance (9, 9) for the same picture shrunk or grown to that size, and what that assumes.

    Raises:
        CalibrationError: a picture of another shape, which must have been cut.
    """
    across, upright = width_px / lens.width_px, height_px / lens.height_px
    if abs(across / upright - 1) > _SAME_SHAPE:
        raise CalibrationError(place, [cut_words((lens.width_px, lens.height_px), (width_px, height_px))])
    changed = replace(
        lens,
        width_px=width_px,
        height_px=height_px,
        fx_px=lens.fx_px * across,
        fy_px=lens.fy_px * upright,
        cx_px=(lens.cx_px + 0.5) * across - 0.5,
        cy_px=(lens.cy_px + 0.5) * upright - 0.5,
    )
    scale = np.array(
        [{"x": across, "y": upright}.get(n[1], 1.0) if n.endswith("_px") else 1.0 for n in LENS_PARAMETERS]
    )
    said = (
        f"calibrated at {lens.width_px} x {lens.height_px} and worked out for {width_px} x {height_px}: right only if "
        "the stream shows the whole of such a photo, merely made smaller; if it shows less, calibrate with the stream",
    )
    return changed, covariance * np.outer(scale, scale), said


def cut_words(photos: tuple[int, int], stream: tuple[int, int]) -> str:
    """What is wrong with photos of one size for a stream of another."""
    shapes = " and ".join(_shape(*size) for size in (photos, stream))
    same = abs(photos[0] * stream[1] / (photos[1] * stream[0]) - 1) <= _SAME_SHAPE
    found = f"photos of {photos[0]} x {photos[1]} for a stream of {stream[0]} x {stream[1]}"
    if same:
        return (
            f"found {found}, both {_shape(*stream)}; the camera may show all of its sensor in the stream, made small, "
            "or only a part of it: calibrate live with the rig file or with pictures of the stream; if you know that "
            f"it is the whole, say --for-size {stream[0]}x{stream[1]}"
        )
    return (
        f"found {found}, shapes {shapes}; a stream of another shape is cut out of the sensor, and where cannot be told "
        "from photos: calibrate live with the rig file, or with pictures of the stream"
    )


def _shape(width_px: int, height_px: int) -> str:
    most = gcd(width_px, height_px)
    return f"{width_px // most}:{height_px // most}"
