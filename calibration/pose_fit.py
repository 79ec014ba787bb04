"""Where the camera is, from marks whose places in the tank are known.

Marks may lie anywhere: on the water plane (a floating board, z = 0), on the rim (z > 0), on the floor under water
(z < 0; they are then taken through Snell's law, see refraction.py). Four are enough, more show mistakes.

The estimate minimises the squared residuals, each weighed with what is known of it: the pixel's doubt and the mark's
own, projected into the picture. Its covariance is the inverse of the normal matrix; if the residuals are larger than
the stated doubts allow, it is widened by their ratio (Birge), never narrowed. What all marks share (the lens, the level
of the water) does not show in residuals at all: it is carried through by refitting, one source at a time, to first
order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from calibration.errors import CalibrationError
from calibration.lens import Floats, Lens, moved_lens
from calibration.refraction import WATER_INDEX
from calibration.variations import Camera, named_sources
from calibration.waterplane import Pose, View, rotation_matrix

_FEWEST = 4
_WILD = 6.0  # residuals this many times what is stated are a mistake, not bad luck
_MOST_TRIALS = 400  # seven for each step; what fits settles in a dozen steps, and what does not may wander for ever
_TWIN, _HOPELESS = (
    0.02,
    10.0,
)  # guesses so near, as a part of the height, and so many times worse (and pixels), are left
_FLAT = 1e-3  # marks thinner than this part of their width lie on one line (or plane)


@dataclass(frozen=True, slots=True, eq=False)
class PoseFit:
    """The fitted camera over its water plane, and how well the marks agree with it."""

    view: View
    """With one variation for each independent source: the marks, the lens, the water level."""
    covariance: Floats
    """(6, 6) of the marks' part: turn about the tank's x, y, z axes (rad), place of the lens x, y, z (mm)."""
    residuals_px: Floats
    """(N, 2) found minus fitted."""
    misfit: float
    """Residuals over stated doubt, root of the mean square per degree of freedom; about 1 if all is as stated."""
    doubts: tuple[str, ...] = ()
    """What a person should know, one sentence each."""

    @property
    def rms_px(self) -> float:
        """Root mean square distance of found from fitted marks, px. Says nothing of what all marks share."""
        return float(np.sqrt(np.mean(np.sum(self.residuals_px**2, axis=1))))


@dataclass(frozen=True, slots=True, eq=False)
class _Marks:
    points_mm: Floats
    pixels: Floats
    u_px: float
    u_mm: Floats

    def without(self, index: int) -> _Marks:
        keep = np.arange(len(self.pixels)) != index
        return _Marks(self.points_mm[keep], self.pixels[keep], self.u_px, self.u_mm[keep])


def fit_pose(
    lens: Lens,
    points_mm: ArrayLike,
    pixels: ArrayLike,
    *,
    u_px: float = 0.3,
    u_mark_mm: ArrayLike = 0.5,
    u_level_mm: float = 0.0,
    lens_covariance: Floats | None = None,
    place: str = "marks",
) -> PoseFit:
    """The pose of the camera from N >= 4 marks.

    Args:
        lens: The calibrated lens.
        points_mm: (N, 3) places of the marks, tank frame; z < 0 is under water.
        pixels: (N, 2) where they were found in the picture.
        u_px: Standard uncertainty of each found pixel coordinate.
        u_mark_mm: Standard uncertainty of each coordinate of a mark, one number or (N,), independent between marks.
        u_level_mm: Standard uncertainty of the height of the water against all the marks together.
        lens_covariance: (9, 9) of fx_px, fy_px, cx_px, cy_px, k1, k2, p1, p2, k3.
        place: What to call the marks in an error.

    Raises:
        CalibrationError: Too few marks, marks on one line, marks that do not fit together; all reasons at once.
    """
    marks = _checked(lens, points_mm, pixels, u_px, u_mark_mm, place)
    pose, misfit = _best(lens, marks, place)
    view = View(lens, pose)
    doubts = [] if misfit < 2 else [f"the marks disagree {misfit:.1f} times more than stated; the doubt was widened"]
    jacobian, whitening = _linearised(view, marks)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), np.float64) * max(1.0, misfit) ** 2
    pull = np.linalg.solve(jacobian.T @ jacobian, jacobian.T)
    still = _residuals(view, marks, whitening)

    def pulled(changed: Lens, points_mm: Floats) -> Floats:
        moved = _Marks(points_mm, marks.pixels, marks.u_px, marks.u_mm)
        step: Floats = -pull @ (_residuals(View(changed, pose), moved, whitening) - still)
        return step

    def with_lens(change: Floats) -> Camera:
        changed = moved_lens(lens, change)
        step = pulled(changed, marks.points_mm)
        return changed, pose.moved(step[:3], step[3:])

    sources = dict(named_sources(view, covariance, prefix="marks", move=lambda d: (lens, pose.moved(d[:3], d[3:]))))
    if lens_covariance is not None:
        sources |= named_sources(view, lens_covariance, prefix="lens", move=with_lens)
    if u_level_mm > 0:
        # taken from lower water, mirrored: higher water would drown marks at z = 0, and refraction has a kink there
        lower = pulled(lens, marks.points_mm + np.array([0, 0, u_level_mm]))
        sources["water level"] = lens, pose.moved(-lower[:3], -lower[3:])
    residuals = marks.pixels - view.to_pixels_through_water(marks.points_mm)
    return PoseFit(View(lens, pose, sources), covariance, residuals, misfit, tuple(doubts))


def rough_off_px(lens: Lens, points_mm: Floats, pixels: Floats) -> float:
    """About how far (root mean square) N >= 4 marks are seen from where some camera above the water would see them.

    Quick, for trying many orders of the marks; infinite if there is no such camera.
    """
    marks = _Marks(points_mm, pixels, 1.0, np.ones(len(pixels)))
    try:
        starts = _starts(lens, marks)
    except cv2.error:  # marks on one line
        return math.inf
    with np.errstate(over="ignore", invalid="ignore"):  # a camera that cannot be may see marks anywhere
        off = [View(lens, pose).to_pixels_through_water(points_mm) - pixels for pose in starts]
        every = [float(np.sqrt(np.mean(np.sum(one**2, axis=1)))) for one in off if np.isfinite(one).all()]
    return min(every, default=math.inf)


def pose_misfit(lens: Lens, points_mm: Floats, pixels: Floats, *, u_px: float, u_mark_mm: Floats) -> float:
    """The misfit that `fit_pose` would come to, blaming nobody; infinite if no camera sees the marks so."""
    marks = _Marks(points_mm, pixels, u_px, u_mark_mm)
    fits = [_refined(lens, pose, marks) for pose in _starts(lens, marks)]
    return min((misfit for pose, misfit in fits if pose.camera_mm[2] > 0), default=math.inf)


def _checked(
    lens: Lens, points_mm: ArrayLike, pixels: ArrayLike, u_px: float, u_mark_mm: ArrayLike, place: str
) -> _Marks:
    points = np.asarray(points_mm, np.float64).reshape(-1, 3)
    found = np.asarray(pixels, np.float64).reshape(-1, 2)
    mistakes = []
    if len(points) != len(found):
        mistakes.append(f"{len(points)} places but {len(found)} pixels; one pixel for each mark is wanted")
    if len(points) < _FEWEST:
        mistakes.append(f"{len(points)} marks; at least {_FEWEST} are wanted, better 8")
    if not (np.isfinite(points).all() and np.isfinite(found).all()):
        mistakes.append("a place or pixel that is not a finite number; measure that mark again or leave it out")
    if not (math.isfinite(u_px) and u_px > 0):
        mistakes.append(f"u_px = {u_px}; a standard uncertainty above 0 is wanted")
    u_mm = np.broadcast_to(np.asarray(u_mark_mm, np.float64), len(points))
    if not (np.isfinite(u_mm).all() and (u_mm >= 0).all()):
        mistakes.append("u_mark_mm below 0 or not finite; a standard uncertainty, 0 or more, is wanted")
    if mistakes:
        raise CalibrationError(place, mistakes)
    for number, (u, v) in enumerate(found, 1):
        if not (-1 <= u <= lens.width_px and -1 <= v <= lens.height_px):
            mistakes.append(
                f"mark {number} at pixel ({u:.0f}, {v:.0f}) outside the picture of {lens.width_px} x {lens.height_px}; "
                "the lens must be calibrated for the picture's own size"
            )
    for what, cloud in (("places", points), ("pixels", found)):
        widths = np.linalg.svd(cloud - cloud.mean(0), compute_uv=False)
        if widths[1] <= 0.02 * widths[0]:
            mistakes.append(f"the {what} of all marks lie on one line; put some to the side of it")
    if mistakes:
        raise CalibrationError(place, mistakes)
    return _Marks(points, found, u_px, np.array(u_mm))


def _best(lens: Lens, marks: _Marks, place: str) -> tuple[Pose, float]:
    """The pose with the smallest misfit, or the error that says which mark spoils it."""
    fits = [_refined(lens, pose, marks) for pose in _starts(lens, marks)]
    fits = [(pose, misfit) for pose, misfit in fits if pose.camera_mm[2] > 0 and math.isfinite(misfit)]
    if not fits:
        wrong = "no camera above the water sees the marks like this; check their order, and that y is to the left of x"
        raise CalibrationError(place, [wrong])
    pose, misfit = min(fits, key=lambda fit: fit[1])
    if misfit > _WILD:
        raise CalibrationError(place, [_blame(lens, pose, misfit, marks)])
    return pose, misfit


def _blame(lens: Lens, pose: Pose, misfit: float, marks: _Marks) -> str:
    wrong = f"the marks do not fit together ({misfit:.0f} times worse than stated)"
    if len(marks.pixels) > _FEWEST + 1:
        trials = []
        for index in range(len(marks.pixels)):
            rest = marks.without(index)
            starts = [*_starts(lens, rest), pose]
            trials.append(min(_refined(lens, start, rest)[1] for start in starts))
        best = int(np.argmin(trials))
        if trials[best] < 0.3 * misfit:
            return f"{wrong}; mark {best + 1} spoils it: measure its place and find it in the picture again"
    off = np.linalg.norm(marks.pixels - View(lens, pose).to_pixels_through_water(marks.points_mm), axis=1)
    worst = int(np.argmax(off))
    return (
        f"{wrong}; worst is mark {worst + 1}, off by {off[worst]:.1f} px: check the order and the places of the marks"
    )


def _starts(lens: Lens, marks: _Marks) -> list[Pose]:
    """First guesses; under water the apparent depth serves (a straight look down)."""
    points = marks.points_mm.copy()
    points[:, 2] = np.where(points[:, 2] < 0, points[:, 2] / WATER_INDEX, points[:, 2])
    rays = np.ascontiguousarray(lens.rays(marks.pixels)[:, :2])
    widths = np.linalg.svd(points - points.mean(0), compute_uv=False)
    methods = [cv2.SOLVEPNP_SQPNP]
    if widths[2] < _FLAT * widths[0]:
        methods.append(cv2.SOLVEPNP_IPPE)
    poses = []
    for method in methods:
        _, turns, shifts, _ = cv2.solvePnPGeneric(points, rays, np.eye(3), None, flags=method)
        poses += [
            Pose(rotation_matrix(turn), np.asarray(shift, np.float64))
            for turn, shift in zip(turns, shifts, strict=True)
        ]
    poses = [pose for pose in poses if np.isfinite(pose.translation_mm).all() and pose.camera_mm[2] > 0]
    return _unlike(lens, marks, poses)


def _unlike(lens: Lens, marks: _Marks, poses: list[Pose]) -> list[Pose]:
    """Of first guesses those that are not hopeless beside the best, and only one of each that come to the same."""
    with np.errstate(over="ignore", invalid="ignore"):  # a camera that cannot be may see marks anywhere
        away = [View(lens, pose).to_pixels_through_water(marks.points_mm) - marks.pixels for pose in poses]
        off = [float(np.sqrt(np.mean(one**2))) for one in away]
    kept: list[Pose] = []
    for index in np.argsort(off):
        here = poses[index].camera_mm
        twin = any(np.linalg.norm(here - other.camera_mm) < _TWIN * other.camera_mm[2] for other in kept)
        if not kept or (off[index] < _HOPELESS * min(off) + _HOPELESS and not twin):
            kept.append(poses[index])
    return kept


def _refined(lens: Lens, start: Pose, marks: _Marks) -> tuple[Pose, float]:
    """Weighted least squares from `start`; the weights are made at the start and once more at the first solution."""
    pose, misfit = start, math.inf
    for _ in range(2):
        view = View(lens, pose)
        whitening = _whitening(view, marks)
        if not np.isfinite(whitening).all():
            return pose, math.inf
        step = _solved(view, marks, whitening)
        if step is None:
            return pose, math.inf
        pose = pose.moved(step[0][:3], step[0][3:])
        misfit = step[1]
    return pose, misfit


def _solved(view: View, marks: _Marks, whitening: Floats) -> tuple[Floats, float] | None:
    scale = _scale(view)

    def residuals(x: Floats) -> Floats:
        step = x * scale
        moved = view.pose.moved(step[:3], step[3:])
        if moved.camera_mm[2] <= 0:
            return np.full(2 * len(marks.pixels), 1e6)
        return _residuals(View(view.lens, moved), marks, whitening)

    if not np.isfinite(residuals(np.zeros(6))).all():
        return None
    found = least_squares(residuals, np.zeros(6), method="lm", xtol=1e-12, ftol=1e-12, max_nfev=_MOST_TRIALS)
    freedom = 2 * len(marks.pixels) - 6
    return found.x * scale, math.sqrt(2 * found.cost / freedom)


def _scale(view: View) -> Floats:
    """Steps of about one pixel each: rad, then mm."""
    one_px = 1 / view.lens.fx_px
    return np.array([one_px] * 3 + [one_px * view.pose.camera_mm[2]] * 3)


def _residuals(view: View, marks: _Marks, whitening: Floats) -> Floats:
    off = view.to_pixels_through_water(marks.points_mm) - marks.pixels
    weighed: Floats = np.einsum("nij,nj->ni", whitening, off).ravel()
    return weighed


def _whitening(view: View, marks: _Marks) -> Floats:
    """(N, 2, 2) that turns a residual in px into independent ones of unit standard deviation."""
    columns = []
    for step in 0.5 * np.eye(3):
        ahead, behind = (view.to_pixels_through_water(marks.points_mm + sign * step) for sign in (1, -1))
        columns.append(ahead - behind)
    by_place = np.stack(columns, -1) * marks.u_mm[:, None, None]
    covariance = by_place @ np.swapaxes(by_place, -1, -2) + marks.u_px**2 * np.eye(2)
    if not np.isfinite(covariance).all():
        return np.full_like(covariance, np.nan)
    whitening: Floats = np.linalg.inv(np.linalg.cholesky(covariance))
    return whitening


def _linearised(view: View, marks: _Marks) -> tuple[Floats, Floats]:
    """The whitened residuals' (2N, 6) Jacobian by turn (rad) and shift (mm), and the whitening."""
    whitening = _whitening(view, marks)
    columns = []
    for step in np.diag(_scale(view)) * 0.1:
        ahead, behind = (
            _residuals(View(view.lens, view.pose.moved(sign * step[:3], sign * step[3:])), marks, whitening)
            for sign in (1, -1)
        )
        columns.append((ahead - behind) / (2 * np.abs(step).sum()))
    return np.array(columns).T, whitening
