"""Ray <-> millimetres on the water.

Tank frame: x along the run from the start line, y to the left, z up, origin on the water plane z = 0; millimetres.
A point X of the tank is at R·X + t in the camera frame (see lens.py).

Three effects decide where the millimetres come from; none of them shows in the reprojection error of a calibration:

* **Height.** A thing at height h above the water, seen by a lens at height H, looks as if it were on the water farther
  out from the foot point (the point of the water straight below the lens) by r·h/(H − h), r its true distance from the
  foot point. A deck 20 mm up, 0.3 m out under a lens at 1.2 m: 5.1 mm. So `to_plane` asks for the height; if
  that is doubtful by u_h, the place is doubtful by r·u_h/(H − h) towards the foot point (`height_shift`).
* **Water.** A mark on the floor is seen through the surface, pulled towards the foot point (refraction.py): near the
  foot point the distance shrinks to n·H/(n·H + d). At 0.1 m of water under 1.2 m that is 6 %, and over ±0.6 m it
  differs by less than a millimetre from one constant factor: a picture of a grid on the floor fits perfectly and every
  distance on the water is 6 % wrong. So marks say how high or deep they are, and floor marks go through Snell's law.
* **Perspective.** Equal pixels are unequal millimetres. The covariance of a place is J·S·Jᵀ, with S that of the pixel
  and J = d(x, y)/d(u, v) of the whole way: lens, pose, plane (`plane_jacobian`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats, Lens
from calibration.refraction import WATER_INDEX, floor_under, seen_on_water

__all__ = ["WATER_INDEX", "Pose", "View", "rotation_matrix"]


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
        """Tank (x, y) mm, (N, 2), of what is seen at `pixels` (N, 2) if it lies at height `z_mm` above the water.

        NaN for a pixel above the horizon, whose ray never comes down to the water.
        """
        directions = self.lens.rays(pixels) @ self.pose.rotation
        plane: Floats = self.pose.camera_mm[:2] + self._reach(directions, z_mm)[:, None] * directions[:, :2]
        return plane

    def to_pixels(self, points_mm: ArrayLike) -> Floats:
        """Pixels (N, 2) of tank points (N, 3) mm seen through air."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 3)
        return self.lens.pixels(points @ self.pose.rotation.T + self.pose.translation_mm)

    def to_pixels_through_water(self, points_mm: ArrayLike) -> Floats:
        """Pixels (N, 2) of tank points (N, 3) mm; those with z < 0 are under water and seen through its surface."""
        points = np.array(points_mm, np.float64).reshape(-1, 3)
        wet = points[:, 2] < 0
        if wet.any():
            points[wet, :2] = self.seen_on_water(points[wet, :2], depth_mm=-points[wet, 2])
            points[wet, 2] = 0
        return self.to_pixels(points)

    def seen_on_water(self, floor_mm: ArrayLike, *, depth_mm: ArrayLike) -> Floats:
        """Where on the water plane (N, 2) floor points (N, 2) at `depth_mm` below it are seen."""
        return seen_on_water(floor_mm, camera_mm=self.pose.camera_mm, depth_mm=depth_mm)

    def to_floor(self, pixels: ArrayLike, *, depth_mm: ArrayLike) -> Floats:
        """Tank (x, y) mm, (N, 2), of what is seen at `pixels` (N, 2) if it lies `depth_mm` deep under the water."""
        return floor_under(self.to_plane(pixels), camera_mm=self.pose.camera_mm, depth_mm=depth_mm)

    def plane_jacobian(self, pixels: ArrayLike, *, z_mm: float | Floats = 0.0) -> Floats:
        """d(x, y)/d(u, v), (N, 2, 2), mm per pixel, of `to_plane`."""
        rays = self.lens.rays(pixels)
        directions = rays @ self.pose.rotation
        reach = self._reach(directions, z_mm)
        axes = self.pose.rotation.T[:, :2]
        steeper = directions[:, :2, None] * (axes[2] / directions[:, 2, None])[:, None, :]
        by_ray = reach[:, None, None] * (axes[:2] - steeper)
        jacobian: Floats = by_ray @ np.linalg.inv(self.lens.jacobian(rays))
        return jacobian

    def plane_covariance(self, pixels: ArrayLike, covariance_px2: ArrayLike, *, z_mm: float | Floats = 0.0) -> Floats:
        """Covariance (N, 2, 2) mm² on the plane of pixels with covariance (2, 2) or (N, 2, 2) px² (GUM 5.2.2).

        Only what is new in every picture; what is the same in all (`height_shift`, `shifts_mm`) is kept apart.
        """
        jacobian = self.plane_jacobian(pixels, z_mm=z_mm)
        covariance: Floats = jacobian @ np.asarray(covariance_px2, np.float64) @ np.swapaxes(jacobian, -1, -2)
        return covariance

    def height_shift(self, places_mm: ArrayLike, *, z_mm: float | Floats = 0.0, u_z_mm: float = 1.0) -> Floats:
        """By how much (N, 2) mm the `places_mm` (N, 2) found for height `z_mm` would move if it were `u_z_mm` more."""
        camera = self.pose.camera_mm
        places = np.asarray(places_mm, np.float64).reshape(-1, 2)
        rate = -u_z_mm / (camera[2] - np.broadcast_to(np.asarray(z_mm, np.float64), len(places)))
        shift: Floats = (places - camera[:2]) * rate[:, None]
        return shift

    def shifts_mm(self, pixels: ArrayLike, *, z_mm: float | Floats = 0.0) -> dict[str, Floats]:
        """For each source of calibration doubt, by how much (N, 2) mm `to_plane` would move if it were off by +1 u."""
        here = self.to_plane(pixels, z_mm=z_mm)
        return {name: view.to_plane(pixels, z_mm=z_mm) - here for name, view in self.varied().items()}

    def _reach(self, directions: Floats, z_mm: float | Floats) -> Floats:
        """How many times each direction (N, 3) leads from the lens down to `z_mm`; NaN if it never does."""
        down = np.where(directions[:, 2] < 0, directions[:, 2], np.nan)
        reach: Floats = (np.asarray(z_mm, np.float64) - self.pose.camera_mm[2]) / down
        return reach

    def varied(self) -> dict[str, View]:
        """The whole view once per source of calibration doubt, off by +1 standard uncertainty."""
        return {name: View(lens, pose) for name, (lens, pose) in self.variations.items()}
