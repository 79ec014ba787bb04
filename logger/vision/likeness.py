"""How much each thing that stands out in a reduced picture is like the boat on the card: of its length and width.

By strength alone a sleeve at the rim, a glint or a shadow may beat the boat; by their size they hardly do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.vision import background, outline
from logger.vision.background import Grey
from logger.vision.ground import SHRINK, Ground
from logger.vision.plane import Plane, Singles
from logger.vision.sightings import Sighting
from logger.vision.silhouette import silhouette

Floats = NDArray[np.float64]

_SHARPNESS = 2.0
"""A length or width wrong by the factor f makes a thing so much less like the boat: f to the power of minus this."""
_UNLIKE = 0.05
_AROUND, _SPARE_PX = 0.75, 3.0
"""How far around its middle a thing is looked at: so many boat lengths, and so many reduced pixels more."""


@dataclass(frozen=True, slots=True, eq=False)
class Likeness:
    """Judges sightings in reduced pictures of one film."""

    plane: Plane
    ground: Ground
    empty: Singles
    """The empty tank, reduced."""
    noise_grey: float

    def weighed(self, small: Grey, row: Sequence[Sighting]) -> list[Sighting]:
        """The sightings of one reduced picture, each as strong as it is like the boat.

        As they are if the card says nothing of length and width.
        """
        if None in self.ground.told_mm or self.ground.longest_mm is None:
            return list(row)
        light = background.light_of(small, self.empty)
        step = self.plane.step_mm(self.plane.foot_mm) * SHRINK
        return [replace(seen, strength=seen.strength * self._of(small, light, seen, step)) for seen in row]

    def _of(self, small: Grey, light: float, seen: Sighting, step: float) -> float:
        radius = _AROUND * float(self.ground.longest_mm or 0.0) / step + _SPARE_PX
        shown = silhouette(
            small, self.empty, centre_px=(seen.u, seen.v), radius_px=radius, noise=self.noise_grey, light=light
        )
        if shown is None:
            return _UNLIKE
        polygon = outline.convex(self.plane.points((shown.polygon_px + 0.5) * SHRINK - 0.5))
        _, _, second = outline.moments(polygon)
        axis, _ = outline.axis(second)
        c, s = np.cos(axis), np.sin(axis)
        # a border pixel's middle lies half a pixel inside the border
        size = np.sort(np.ptp(polygon @ np.array([[c, -s], [s, c]]), axis=0) + step)
        told = np.sort(np.array(self.ground.told_mm, np.float64))
        wrong = float(np.abs(np.log(size / told)).sum())
        return max(_UNLIKE, float(np.exp(-_SHARPNESS * wrong)))
