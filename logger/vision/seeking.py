"""Look for a boat that was lost: over the whole picture, for what is of its size."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import cv2
import numpy as np

from logger.vision import background, sightings
from logger.vision.background import Grey, Mask
from logger.vision.fit import Fit, Fitter
from logger.vision.ground import SHRINK
from logger.vision.hull import Floats
from logger.vision.outline import moments
from logger.vision.plane import Plane, Singles
from logger.vision.silhouette import Shape, on_plane, silhouette
from logger.vision.survey import Survey

_PLAUSIBLE = (0.5, 1.7)
"""Area of a silhouette, as a share of the hull's, within which it may be the boat."""
_CANDIDATES_COUNT, _STEPS_COUNT = 3, 8


class Seeker:
    """Looks for a boat that was lost, over the whole picture."""

    def __init__(self, fitter: Fitter, found: Survey, tank: Mask | None) -> None:
        self._fitter, self._found, self._tank = fitter, found, tank
        self._plane: Plane = fitter.plane
        self._noise = found.noise
        outline = fitter.hull.outline()
        self._area = abs(moments(outline)[0])
        step = self._plane.step_mm(self._plane.foot_mm)
        self._size_px = max(3.0, float(np.sqrt(self._area)) / step / SHRINK)
        self._radius_px = 1.25 * float(np.hypot(*outline.T).max()) / step + 8

    @cached_property
    def _small(self) -> Singles:
        """Most boats are never lost: it is made when it is asked for."""
        size = self._found.empty.shape[1] // SHRINK, self._found.empty.shape[0] // SHRINK
        return np.asarray(cv2.resize(np.nan_to_num(self._found.empty), size, interpolation=cv2.INTER_AREA), np.float32)

    def again(self, pictures: Sequence[Grey], *, headings_rad: Floats) -> list[Fit | None]:
        """The boat at the likeliest place in each picture, given its heading (N,) at another time; None: unseen."""
        spots = [(k, shape) for k, picture in enumerate(pictures) for shape in self._shapes(picture)]
        if not spots:
            return [None] * len(pictures)
        fits = self._fitter.fits(
            [pictures[k] for k, _ in spots],
            place_mm=np.array([shape.centre_mm for _, shape in spots]),
            heading_rad=np.array([_nearest_half_turn(shape, float(headings_rad[k])) for k, shape in spots]),
            steps=_STEPS_COUNT,
        )
        good = [
            [fit for (k, _), fit in zip(spots, fits, strict=True) if k == n and fit.good] for n in range(len(pictures))
        ]
        return [next(iter(found), None) for found in good]

    def _shapes(self, picture: Grey) -> list[Shape]:
        """What is of the boat's size, the likeliest first."""
        small = sightings.shrunk(picture)
        apart, noise = sightings.differences(small[None], self._small)
        light = background.light_of(small, self._small)
        found = []
        for seen in sightings.candidates(apart[0], noise=noise, size_px=self._size_px, tank=self._tank)[
            :_CANDIDATES_COUNT
        ]:
            spot = ((seen.u + 0.5) * SHRINK - 0.5, (seen.v + 0.5) * SHRINK - 0.5)
            shown = silhouette(
                picture, self._found.empty, centre_px=spot, radius_px=self._radius_px, noise=self._noise, light=light
            )
            shape = None if shown is None else on_plane(shown, self._plane)
            if shape is not None and _PLAUSIBLE[0] * self._area < shape.area_mm2 < _PLAUSIBLE[1] * self._area:
                found.append(shape)
        return found


def _nearest_half_turn(shape: Shape, heading_rad: float) -> float:
    """The silhouette's axis, in the one of its two directions that is nearer to `heading_rad`, continuous with it."""
    turn = (shape.axis_rad - heading_rad + np.pi / 2) % np.pi - np.pi / 2
    return heading_rad + float(turn)
