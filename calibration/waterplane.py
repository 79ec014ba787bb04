"""Ray <-> millimetres on the water.

Tank frame: x along the run from the start line, y to the left, z up, origin on the water plane z = 0; millimetres.
A point X of the tank is at R·X + t in the camera frame (see lens.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats, Lens

WATER_INDEX = 1.33299
"""Refractive index of water against air, 20 °C, 589.3 nm (IAPWS R9-97 divided by the index of air)."""


def rotation_matrix(turn_rad: ArrayLike) -> Floats:
    """Rotation (3, 3) by the rotation vector `turn_rad` (3,): its direction is the axis, its length the angle."""
    return np.asarray(cv2.Rodrigues(np.array(turn_rad, np.float64))[0], np.float64)


def _small_turn(rotation: Floats) -> Floats:
    """Rotation vector (3,) of a turn well below half a circle; exact for tiny ones, where cv2.Rodrigues says 0."""
    twice = np.array(
        [rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]]
    )
    sine = np.linalg.norm(twice) / 2
    if sine == 0:
        return np.zeros(3)
    turn: Floats = twice / 2 * (np.arctan2(sine, (np.trace(rotation) - 1) / 2) / sine)
    return turn


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where the camera is: rotation (3, 3) and translation (3,) mm, tank frame -> camera frame."""

    rotation: Floats
    translation_mm: Floats

    def __post_init__(self) -> None:
        for name, shape in (("rotation", (3, 3)), ("translation_mm", (3,))):
            array = np.array(getattr(self, name), np.float64).reshape(shape)
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @staticmethod
    def at(rotation: ArrayLike, *, camera_mm: ArrayLike) -> Pose:
        """The pose with that rotation (3, 3), tank -> camera, and the lens at `camera_mm` (3,) of the tank frame."""
        R = np.asarray(rotation, np.float64)
        return Pose(R, -R @ np.asarray(camera_mm, np.float64))

    @property
    def camera_mm(self) -> Floats:
        """The lens's place (3,) in the tank frame; its x and y are the foot point, its z the height."""
        place: Floats = -self.rotation.T @ self.translation_mm
        return place

    def moved(self, turn_rad: ArrayLike, shift_mm: ArrayLike) -> Pose:
        """The camera turned about its lens by the rotation vector `turn_rad` and shifted, both (3,), tank axes."""
        return Pose.at(
            self.rotation @ rotation_matrix(turn_rad).T, camera_mm=self.camera_mm + np.asarray(shift_mm, np.float64)
        )

    def moves_to(self, other: Pose) -> tuple[Floats, Floats]:
        """The (turn_rad, shift_mm) with which `moved` makes `other` of this pose."""
        return _small_turn(other.rotation.T @ self.rotation), other.camera_mm - self.camera_mm


@dataclass(frozen=True, slots=True, eq=False)
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
