"""Has the lens changed since it was calibrated last, and what would that do on the water?

The same pixels are taken to the water with the old lens and with the new one, under a camera that looks straight down.
Two numbers, for they answer two questions: how far places move if the camera's pose is left as it was, and how far they
still move if the water plane is calibrated again with the new lens (a wrong focal length then hides in the height of
the camera, but a wrong bend does not hide).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.stats import chi2

from calibration.board import BoardSeen
from calibration.lens import LENS_PARAMETERS, Floats, Lens, moved_lens
from calibration.lens_solve import settled_pose
from calibration.lens_turned import OFF_AXIS
from calibration.waterplane import Pose, View, rotation_matrix

USUAL_HEIGHT_MM = 1200.0
_TIMES_DOUBT = 3.0
_NEGLIGIBLE_MM = 0.05
_SURELY_OTHER, _LIKELY_SAME = (float(chi2.isf(level, len(OFF_AXIS))) for level in (1e-5, 0.01))


@dataclass(frozen=True, slots=True)
class LensChange:
    """What comes of taking the new lens instead of the old one."""

    height_mm: float
    """Of the camera above the water, for which the millimetres hold."""
    moved_px: float
    """The farthest that any one thing would move in the picture."""
    moved_mm: float
    """The farthest that any place on the water would move if the pose stayed."""
    left_mm: float
    """The farthest if the water plane is calibrated again."""
    u_left_mm: float
    """Standard uncertainty of that, from both calibrations, where it is largest."""
    is_turned: bool = False
    """Whether optical centre and decentring are the old lens's only once the pictures are turned by half a turn."""

    @property
    def is_changed(self) -> bool:
        """Whether it is more than the doubts of the two calibrations allow."""
        return self.left_mm > max(_TIMES_DOUBT * self.u_left_mm, _NEGLIGIBLE_MM)


def compare(
    old: tuple[Lens, Floats], new: tuple[Lens, Floats], *, height_mm: float = USUAL_HEIGHT_MM
) -> LensChange | None:
    """Old and new lens, each with its covariance (9, 9); None for different picture sizes: nothing can be compared."""
    (before, before_covariance), (after, after_covariance) = old, new
    if (before.width_px, before.height_px) != (after.width_px, after.height_px):
        return None
    pose = Pose.at(rotation_matrix([np.pi, 0, 0]), camera_mm=[0, 0, height_mm])
    u, v = np.meshgrid(np.linspace(0, before.width_px - 1, 9), np.linspace(0, before.height_px - 1, 7))
    pixels = np.column_stack([u.ravel(), v.ravel()])
    water = View(before, pose).to_plane(pixels)
    kept = View(after, pose).to_plane(pixels) - water
    left = _left(after, water, pixels, pose)
    doubt = np.zeros(len(pixels))
    for lens, covariance in ((after, after_covariance), (before, before_covariance)):
        settled = _left(lens, water, pixels, pose)
        for change in _parts(covariance):
            doubt += np.sum((_left(moved_lens(lens, change), water, pixels, pose) - settled) ** 2, axis=1)
    seen = after.pixels(before.rays(pixels)) - pixels
    return LensChange(
        height_mm=height_mm,
        moved_px=_farthest(seen),
        moved_mm=_farthest(kept),
        left_mm=_farthest(left),
        u_left_mm=float(np.sqrt(doubt.max())),
        is_turned=_is_turned(old, new),
    )


def turned(lens: Lens) -> Lens:
    """The lens of the same camera whose pictures are turned by half a turn."""
    return replace(
        lens, cx_px=lens.width_px - 1 - lens.cx_px, cy_px=lens.height_px - 1 - lens.cy_px, p1=-lens.p1, p2=-lens.p2
    )  # fmt: skip


def _is_turned(old: tuple[Lens, Floats], new: tuple[Lens, Floats]) -> bool:
    """By the distance of both in standard uncertainties, squared (chi-square of four degrees of freedom).

    A lens whose centre lies in the middle of the picture looks the same either way: then nothing can be told, and
    nothing is wrong.
    """
    (before, before_covariance), (after, after_covariance) = old, new
    covariance = (before_covariance + after_covariance)[np.ix_(OFF_AXIS, OFF_AXIS)]
    sd = np.sqrt(np.diag(covariance))
    if before.model != after.model or not (sd[:2] > 0).all():
        return False
    known = sd > 0
    correlation = covariance[np.ix_(known, known)] / np.outer(sd[known], sd[known])

    def apart(lens: Lens) -> float:
        step = [getattr(lens, LENS_PARAMETERS[i]) - getattr(before, LENS_PARAMETERS[i]) for i in OFF_AXIS]
        scaled = np.array(step)[known] / sd[known]
        return float(scaled @ np.linalg.pinv(correlation) @ scaled)

    return apart(after) > _SURELY_OTHER and apart(turned(after)) < _LIKELY_SAME


def _farthest(shift: Floats) -> float:
    return float(np.linalg.norm(shift, axis=1).max())


def _left(lens: Lens, water_mm: Floats, pixels: Floats, before: Pose) -> Floats:
    """By how much (N, 2) mm places move once the pose is fitted to them anew, beginning from the one before."""
    marks = BoardSeen(np.column_stack([water_mm, np.zeros(len(water_mm))]), pixels, lens.width_px, lens.height_px)
    start = np.asarray(cv2.Rodrigues(before.rotation)[0], np.float64), before.translation_mm.reshape(3, 1)
    turn, shift = settled_pose(lens, marks, start)
    pose = Pose(rotation_matrix(turn), shift)
    moved: Floats = View(lens, pose).to_plane(pixels) - water_mm
    return moved


def _parts(covariance: Floats) -> list[Floats]:
    """Independent changes whose squares add up to the covariance; scaled first because the units are mixed."""
    sd = np.sqrt(np.diag(covariance))
    scale = np.where(sd > 0, sd, 1.0)
    strength, direction = np.linalg.eigh(covariance / np.outer(scale, scale))
    return [scale * direction[:, i] * np.sqrt(strength[i]) for i in range(len(sd)) if strength[i] > 1e-12]
