"""One thing in pictures of a still scene: no recording, no calibration, no order of time.

    found = find_object(images)                      # the empty scene is the median of the images
    found = find_object(images, background)          # or it is given

Each answer stands for itself, so the pictures may be photographs of one session in any order. Centres are pixels
(column, row), whole numbers being pixel centres. What is found is the body: thin parts (a tail, a mast's shadow, a
string) are cut off first, so that they do not pull the centre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background as empty_scene
from logger.vision import outline, sightings
from logger.vision.plane import Singles

Picture = NDArray[np.uint8]

_SHRINK = 4
_MOST_FOR_MEDIAN = 40
_THIN = 0.3
"""Parts thinner than this share of the body's size are cut off."""


@dataclass(frozen=True, slots=True)
class Body:
    """What was found in one picture."""

    centre_px: tuple[float, float]
    """Centroid (column, row) of the body."""
    axis_rad: float
    """Direction of the long axis in the picture, from the columns' axis toward the rows', within ±π/2."""
    elongation: float
    """Long over short; near 1 the axis means nothing."""
    area_px: float
    contrast: float
    """Median difference from the empty scene over the body, grey levels."""


def find_object(
    images: Sequence[Picture], background: Picture | None = None, *, size_px: float | None = None
) -> list[Body | None]:
    """Where the one moving thing is in each of the images; None where nothing stands out.

    Args:
        images: N pictures of one size, grey (h, w) or BGR (h, w, 3), in any order, of one scene.
        background: the empty scene in the same form; if None, the median of the images.
        size_px: the square root of the thing's area in pixels, if it is known.

    Raises:
        ValueError: no images, or images of different sizes.
    """
    if not images:
        raise ValueError("find_object: no images were given; at least one is wanted")
    sizes = {image.shape[:2] for image in images}
    if len(sizes) > 1:
        raise ValueError(f"find_object: images of {len(sizes)} different sizes were given; one size is wanted")
    grey = [_grey(image) for image in images]
    empty = _median(grey) if background is None else _grey(background).astype(np.float32)
    small_size = (max(1, empty.shape[1] // _SHRINK), max(1, empty.shape[0] // _SHRINK))
    small = np.stack([cv2.resize(g, small_size, interpolation=cv2.INTER_AREA) for g in grey]).astype(np.uint8)
    base = np.asarray(cv2.resize(empty, small_size, interpolation=cv2.INTER_AREA), np.float32)
    apart, noise = sightings.differences(small, base)
    size = sightings.size_of_largest(apart, noise) if size_px is None else size_px / _SHRINK
    found: list[Body | None] = []
    for picture, differs in zip(grey, apart, strict=True):
        seen = sightings.candidates(differs, noise=noise, size_px=max(size, 2.0), tank=None)
        spot = ((seen[0].u + 0.5) * _SHRINK - 0.5, (seen[0].v + 0.5) * _SHRINK - 0.5) if seen else None
        found.append(None if spot is None else _body(picture, empty, spot, size * _SHRINK, noise))
    return found


def _grey(image: Picture) -> Picture:
    if image.ndim == 2:
        return image
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def _median(grey: list[Picture]) -> Singles:
    chosen = grey[:: -(-len(grey) // _MOST_FOR_MEDIAN)]
    return np.asarray(np.median(np.stack(chosen), axis=0), np.float32)


def _body(picture: Picture, empty: Singles, spot: tuple[float, float], size_px: float, noise: float) -> Body | None:
    """The piece of difference under `spot`, without its thin parts."""
    light = empty_scene.light_of(picture, empty)
    reach = 2.0 * size_px + 4
    left, top = max(0, int(spot[0] - reach)), max(0, int(spot[1] - reach))
    window = (slice(top, int(spot[1] + reach) + 1), slice(left, int(spot[0] + reach) + 1))
    apart = np.abs(picture[window] / np.float32(light) - empty[window])
    rows, columns = np.indices(apart.shape)
    core = apart[np.hypot(columns + left - spot[0], rows + top - spot[1]) < 0.3 * size_px + 1]
    level = max(0.4 * float(np.median(core)), 4 * noise)
    mask = (apart > level).astype(np.uint8)
    width = max(1, round(_THIN * size_px))
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(mask, cv2.MORPH_OPEN, brush))
    if count < 2:
        return None
    body = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    held = cv2.moments(body.astype(np.uint8), binaryImage=True)
    area = held["m00"]
    second = np.array([[held["mu20"], held["mu11"]], [held["mu11"], held["mu02"]]]) / area
    axis_rad, elongation = outline.axis(second)
    centre = (held["m10"] / area + left, held["m01"] / area + top)
    return Body(centre, axis_rad, elongation, area, float(np.median(apart[body])))
