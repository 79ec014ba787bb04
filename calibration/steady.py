"""Has the camera moved since its calibration? A picture from then against one of now.

Pieces of the old picture are looked for in the new one (patches.py), and the one movement of the camera is fitted that
explains most of them (steady_fit.py). A boat, a hand, ripples, a lamp's reflection or a moved shadow do not go along
and are left out.

Told is what matters: by how much a thing on the water would now be measured beside its true place. Its doubt: scatter
of the pieces, reading between pixels (0.01 px), and that the pieces do not lie on the water plane: a rim higher by z
seems to move by z/H more than the water when the camera is shifted.

Water that stands at another height moves what is seen through it, too, and spoils the calibration as well; from
pictures alone it cannot always be told from a movement of the camera.

Pure: no clock, no file. A watcher during a run makes its `Landmarks` once and asks `moved` of picture after picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import ArrayLike

from calibration.lens import Floats
from calibration.patches import Grey, Patches, Singles, sharp, take
from calibration.steady_fit import Fit, by_pose, fit, pose_covariance
from calibration.waterplane import Pose, View

LEAST_PIECES_COUNT = 40
LEAST_CELLS_COUNT = 6
"""With fewer pieces, or pieces in fewer places, nothing is told."""
LEAST_SHARE = 0.5
"""Of the old picture's clear readings so many must be found again. A tank with a boat, hands and ripples shows 70 % and
more again (tried in the simulated one); with fewer, and with few pieces, chance likenesses may decide (tried on real
pictures of a bare box: 0.8 px of a movement that never was)."""
_LEAST_SIDE_PX = 80
"""The smallest picture that is looked at has no shorter side than this."""
_U_READING_PX = 0.01
"""Reading between pixels, the same for all pieces."""
_U_HEIGHT_MM = 40.0
"""Pieces lie up to 70 mm above or below the water, as they seem: 70/√3."""

Verdict: TypeAlias = Literal["steady", "perhaps", "moved", "cannot tell"]


@dataclass(frozen=True, slots=True, eq=False)
class Landmarks:
    """A picture of the rig as it was calibrated, made ready for comparing."""

    view: View
    sizes: tuple[tuple[int, Patches], ...]
    """(how many times reduced, pieces), the smallest picture first."""
    water_px: Floats | None
    """(N, 2) corners of the water in the picture."""
    reduced: Grey
    """The smallest picture."""


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """What the camera's movement does to places on the water. P places."""

    places_mm: Floats
    """(P, 2) true places."""
    shifts_mm: Floats
    """(P, 2) by how much each would now be measured beside it."""
    covariance_mm2: Floats
    """(P, 2, 2)"""
    pieces_count: int
    """Pieces that went along."""

    @property
    def worst_index(self) -> int:
        """The place that is off most."""
        return int(np.argmax(np.linalg.norm(self.shifts_mm, axis=1)))

    @property
    def shift_mm(self) -> float:
        """How far off the worst place is."""
        return float(np.linalg.norm(self.shifts_mm[self.worst_index]))

    @property
    def u_mm(self) -> float:
        """Standard uncertainty of `shift_mm`, along its direction; of a shift near zero, in the worst direction."""
        covariance, shift = self.covariance_mm2[self.worst_index], self.shifts_mm[self.worst_index]
        worst = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
        if self.shift_mm <= 2 * worst:
            return worst
        along = shift / self.shift_mm
        return float(np.sqrt(along @ covariance @ along))


def still(pictures: Sequence[Grey]) -> Grey:
    """One grey picture of several: the median, in which ripples and things that pass by have gone."""
    return np.asarray(np.median(np.stack(pictures), axis=0).round(), np.uint8)


def landmarks(picture: Grey, view: View, *, water_mm: ArrayLike | None = None) -> Landmarks:
    """Make a grey `picture`, seen by the calibrated `view`, ready for comparing.

    Args:
        picture: As tall and wide as the calibration's pictures.
        view: The camera as it was when the picture was made.
        water_mm: (N, 2) corners of the water surface; without them all pieces are trusted alike.

    Raises:
        ValueError: the picture has another size.
    """
    _check_size(picture, view)
    sizes, reduction = [], 1
    while reduction == 1 or min(picture.shape) / reduction >= _LEAST_SIDE_PX:
        sizes.append((reduction, take(sharp(_reduced(picture, reduction)))))
        reduction *= 2
    water_px = None
    if water_mm is not None:
        corners = np.asarray(water_mm, np.float64).reshape(-1, 2)
        water_px = view.to_pixels(np.column_stack([corners, np.zeros(len(corners))]))
    return Landmarks(view, tuple(reversed(sizes)), water_px, _reduced(picture, sizes[-1][0]))


def moved(marks: Landmarks, picture: Grey, places_mm: ArrayLike) -> Moved | str:
    """What the camera's movement since the `marks` does to `places_mm` (P, 2) on the water.

    Args:
        marks: The picture from then.
        picture: A grey one of now, of the same size.
        places_mm: Where it matters: along the lines, say.

    Returns:
        The movement; or, where it cannot be told, why not.

    Raises:
        ValueError: the picture has another size.
    """
    _check_size(picture, marks.view)
    pieces_count = len(marks.sizes[-1][1].centres_px)
    if pieces_count < LEAST_PIECES_COUNT:
        return f"the kept picture shows only {pieces_count} edges or corners to hold on to"
    ready = {reduction: sharp(_reduced(picture, reduction)) for reduction, _ in marks.sizes}
    sizes = [size for size in marks.sizes if len(size[1].centres_px) >= LEAST_PIECES_COUNT // 2]
    fits = [fit(marks.view, sizes, ready, start=start, water_px=marks.water_px) for start in _starts(marks, picture)]
    best = max(fits, key=lambda one: one.share)
    if best.share < LEAST_SHARE:
        return f"only {best.share:.0%} of what was seen then is found again"
    return _told(marks.view, best, np.asarray(places_mm, np.float64).reshape(-1, 2))


def verdict(seen: Moved, allowed_mm: float) -> Verdict:
    """What a movement means where places may be off by `allowed_mm`: surely within it, surely beyond, or in between."""
    expanded_mm = 2 * seen.u_mm
    if seen.shift_mm - expanded_mm > allowed_mm:
        return "moved"
    if expanded_mm > allowed_mm:
        return "cannot tell"
    return "steady" if seen.shift_mm + expanded_mm <= allowed_mm else "perhaps"


def _check_size(picture: Grey, view: View) -> None:
    wanted = (view.lens.height_px, view.lens.width_px)
    if picture.shape != wanted:
        raise ValueError(f"picture: found shape {picture.shape}; a grey one of {wanted}, the calibration's, is wanted")


def _reduced(picture: Grey, reduction: int) -> Grey:
    if reduction == 1:
        return picture
    size = (picture.shape[1] // reduction, picture.shape[0] // reduction)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _starts(marks: Landmarks, picture: Grey) -> list[Pose]:
    """Where to begin: not moved; and moved as a whole as the two pictures fit best (phase correlation)."""
    now, pose = _reduced(picture, marks.sizes[0][0]), marks.view.pose
    then = marks.reduced
    window = cv2.createHanningWindow((then.shape[1], then.shape[0]), cv2.CV_32F)
    (across, down), _ = cv2.phaseCorrelate(_outlines(then), _outlines(now), window)
    shift_px = np.array([across, down]) * marks.sizes[0][0]
    if np.hypot(*shift_px) < 4 * marks.sizes[0][0]:
        return [pose]
    middle = np.array(marks.view.lens.middle_px)
    (ray,), (ray_now,) = (marks.view.lens.rays([p]) for p in (middle, middle + shift_px))
    turn = np.cross(ray_now / np.linalg.norm(ray_now), ray / np.linalg.norm(ray))
    return [pose, pose.moved(pose.rotation.T @ turn, np.zeros(3))]


def _outlines(picture: Grey) -> Singles:
    """How steep the picture is, everywhere; light and shade matter little there."""
    plain = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 1.0)
    steep = np.hypot(cv2.Sobel(plain, cv2.CV_32F, 1, 0), cv2.Sobel(plain, cv2.CV_32F, 0, 1))
    return np.asarray(np.minimum(steep, 3 * steep.mean()), np.float32)


def _told(view: View, found: Fit, places_mm: Floats) -> Moved | str:
    used = found.weights > 0
    cells_count = len(np.unique(found.cells[used]))
    pieces_count = len(np.unique(found.pieces[used]))
    if cells_count < LEAST_CELLS_COUNT or pieces_count < LEAST_PIECES_COUNT:
        return f"only {pieces_count} pieces in {cells_count} places of the picture are found again"
    points = np.column_stack([places_mm, np.zeros(len(places_mm))])
    now = View(view.lens, found.pose)
    pixels = now.to_pixels(points)
    to_mm = view.plane_jacobian(pixels)
    shifts = view.to_plane(pixels) - places_mm
    change = to_mm @ by_pose(now, points)
    covariance = change @ pose_covariance(found) @ np.swapaxes(change, 1, 2)
    covariance += to_mm @ np.swapaxes(to_mm, 1, 2) * _U_READING_PX**2
    by_height = _U_HEIGHT_MM / float(view.pose.camera_mm[2]) * np.linalg.norm(shifts, axis=1).max()
    covariance += np.eye(2) * by_height**2 / 2
    if not np.isfinite(covariance).all():
        return "the places asked for are not in the picture any more"
    return Moved(places_mm, shifts, covariance, pieces_count)
