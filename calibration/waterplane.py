"""Ray <-> millimetres on the water.

Tank frame: x along the run from the start line, y to the left, z up, origin on the water plane z = 0; millimetres.
A point X of the tank is at R·X + t in the camera frame (see lens.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats, Lens

WATER_INDEX = 1.33299
"""Refractive index of water against air, 20 °C, 589.3 nm (IAPWS R9-97 divided by the index of air)."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the camera is: rotation (3, 3) and translation (3,) mm, tank frame -> camera frame."""

    rotation: Floats
    translation_mm: Floats

    @property
    def camera_mm(self) -> Floats:
        """The lens's place (3,) in the tank frame; its x and y are the foot point, its z the height."""
        place: Floats = -self.rotation.T @ self.translation_mm
        return place


@dataclass(frozen=True, slots=True)
class View:
    """One calibrated camera over one water plane."""

    lens: Lens
    pose: Pose
    variations: Mapping[str, tuple[Lens, Pose]] = field(default_factory=dict)
    """For each independent source of calibration doubt: the camera as it would be if that source were off by +1 u."""

    def to_plane(self, pixels: ArrayLike, *, z_mm: float | Floats = 0.0) -> Floats:
        """Tank (x, y) mm, (N, 2), of what is seen at `pixels` (N, 2) if it lies at height `z_mm` above the water."""
        directions = self.lens.rays(pixels) @ self.pose.rotation
        camera = self.pose.camera_mm
        scale = (np.asarray(z_mm, np.float64) - camera[2]) / directions[:, 2]
        plane: Floats = camera[:2] + scale[:, None] * directions[:, :2]
        return plane

    def to_pixels(self, points_mm: ArrayLike) -> Floats:
        """Pixels (N, 2) of tank points (N, 3) mm seen through air."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 3)
        return self.lens.pixels(points @ self.pose.rotation.T + self.pose.translation_mm)

    def varied(self) -> dict[str, View]:
        """The whole view once per source of calibration doubt, off by +1 standard uncertainty."""
        return {name: View(lens, pose) for name, (lens, pose) in self.variations.items()}
