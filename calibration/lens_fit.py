"""A lens from several pictures of one flat board.

Each picture has its own pose (6 unknowns), all share the lens (8, or 9 with k3); how well that makes the lens known is
in lens_information.py.

A small residual is no proof: pictures that are all alike fit any focal length. So a set that leaves the lens open is
refused, with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Floats, Lens, LensModel
from calibration.lens_flat import flat_covariance, u_flat_mm
from calibration.lens_information import covariance_of, information
from calibration.lens_solve import BoardPose, rms_of, solve

_FEWEST_VIEWS = 5
_SAME_PX = 0.5  # two pictures whose corners are all this near are one picture
_FEWEST_TILT_DEG = 15.0
_WORST_RELATIVE_FOCUS = 0.01
_SUSPICIOUS_RMS_PX, _WORST_RMS_PX = 1.0, 3.0
_SMALL_SHARE, _TINY_SHARE = 0.5, 0.1


@dataclass(frozen=True, slots=True, eq=False)
class LensFit:
    """A lens, its covariance, and how well the pictures agree."""

    lens: Lens
    covariance: Floats
    """(9, 9) in the order of calibration.lens.LENS_PARAMETERS; rows of what was held at 0 are 0."""
    rms_px: Mapping[str, float]
    """For each picture, the root mean square distance of found from fitted corners, px."""
    covered_share: float
    """Part of the picture's area inside the hull of all corners."""
    tilt_deg: float
    """Largest angle between two poses of the board."""
    widened: float
    """By how much the pictures disagreed more than independent corners would; at least 1."""
    poses: tuple[BoardPose, ...]
    """Of the board in each picture, in the order of `rms_px`."""
    doubts: tuple[str, ...] = ()
    """What a person should know, one sentence each."""

    @property
    def u(self) -> dict[str, float]:
        """Standard uncertainty of each parameter."""
        return dict(zip(LENS_PARAMETERS, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))


def fit_lens(
    views: Mapping[str, BoardSeen],
    *,
    model: LensModel = "brown",
    with_k3: bool = False,
    flat_mm: float = 0.0,
    place: str = "board pictures",
) -> LensFit:
    """The lens from named views of a board.

    Args:
        views: Name of a picture -> the board found in it; at least 5 different ones.
        model: Brown's for usual lenses, the fisheye for very wide ones; lens_models.py chooses by evidence.
        with_k3: Also fit Brown's third radial term; only wide lenses need it, and it makes the others less sure.
        flat_mm: How far from flat the board may be, the widest gap under a straight edge; see lens_flat.py.
        place: What to call the set in an error.

    Raises:
        CalibrationError: Too few or too similar views, different picture sizes, boards that do not fit; all reasons.
    """
    kept, doubts = _different(views)
    _check(kept, place)
    try:
        solved = solve(list(kept.values()), model=model, with_k3=with_k3)
    except (np.linalg.LinAlgError, cv2.error) as error:
        mistake = f"no lens of the model {model} fits these boards; are they all of one camera, and flat?"
        raise CalibrationError(place, [mistake]) from error
    residuals, jacobians = information(solved, kept)
    covariance, widened = covariance_of(residuals, jacobians, solved.free)
    tilt_deg = _tilt_deg(solved.poses)
    fit = LensFit(solved.lens, covariance, rms_of(kept, solved), _covered(kept), tilt_deg, widened, solved.poses)
    mistakes, more = _judged(fit)
    if mistakes:
        raise CalibrationError(place, mistakes)
    whole = covariance + flat_covariance(solved, list(kept.values()), u_mm=u_flat_mm(flat_mm))
    focus = np.sqrt(whole[0, 0]) / solved.lens.fx_px
    if focus > _WORST_RELATIVE_FOCUS:
        more.append(
            f"the focal length is only known to {focus:.1%}, mostly because the board may be bowed by {flat_mm:g} mm; "
            "show more tilted and nearer views, or glue it onto something flatter and say how flat"
        )
    return replace(fit, covariance=whole, doubts=(*doubts, *more))


def refuse_unfit(views: Mapping[str, BoardSeen], *, place: str = "board pictures") -> None:
    """Raise CalibrationError if there are too few different views or they have different sizes."""
    _check(_different(views)[0], place)


def _different(views: Mapping[str, BoardSeen]) -> tuple[dict[str, BoardSeen], list[str]]:
    """Views without those that repeat an earlier one, and a sentence on each that was left out."""
    kept: dict[str, BoardSeen] = {}
    doubts = []
    for name, view in views.items():
        twin = next((other for other, seen in kept.items() if _same(seen, view)), None)
        if twin is None:
            kept[name] = view
        else:
            doubts.append(f"{name} shows the board where {twin} does; it was left out")
    return kept, doubts


def _same(one: BoardSeen, other: BoardSeen) -> bool:
    if one.pixels.shape != other.pixels.shape or not np.array_equal(one.points_mm, other.points_mm):
        return False
    return bool(np.abs(one.pixels - other.pixels).max() < _SAME_PX)


def _check(views: Mapping[str, BoardSeen], place: str) -> None:
    mistakes = []
    if len(views) < _FEWEST_VIEWS:
        mistakes.append(
            f"{len(views)} different pictures with a board; at least {_FEWEST_VIEWS} are wanted, better 12: "
            "tilt the board towards each side, and let it reach every corner of the picture"
        )
    sizes = {(view.width_px, view.height_px) for view in views.values()}
    if len(sizes) > 1:
        shown = ", ".join(f"{width} x {height}" for width, height in sorted(sizes))
        mistakes.append(f"pictures of different sizes ({shown}); take all with the settings of the run")
    if mistakes:
        raise CalibrationError(place, mistakes)


def _covered(views: Mapping[str, BoardSeen]) -> float:
    first = next(iter(views.values()))
    everything = np.concatenate([view.pixels for view in views.values()]).astype(np.float32)
    return float(cv2.contourArea(cv2.convexHull(everything))) / (first.width_px * first.height_px)


def _tilt_deg(poses: Sequence[BoardPose]) -> float:
    normals = np.array([np.asarray(cv2.Rodrigues(turn)[0])[:, 2] for turn, _ in poses])
    return math.degrees(math.acos(float(np.clip((normals @ normals.T).min(), -1, 1))))


def _judged(fit: LensFit) -> tuple[list[str], list[str]]:
    """What makes the fit worthless, and what only makes it doubtful."""
    mistakes, doubts = [], []
    worst = max(fit.rms_px, key=lambda name: fit.rms_px[name])
    focus = max(fit.u["fx_px"] / fit.lens.fx_px, fit.u["fy_px"] / fit.lens.fy_px)
    if fit.tilt_deg < _FEWEST_TILT_DEG:
        mistakes.append(
            f"all boards lean the same way (within {fit.tilt_deg:.0f} degrees); such pictures fit any focal length: "
            "tilt the board 30 degrees towards each side"
        )
    if fit.covered_share < _TINY_SHARE:
        mistakes.append(f"boards cover only {fit.covered_share:.0%} of the picture; bring the board nearer")
    elif fit.covered_share < _SMALL_SHARE:
        doubts.append(f"boards cover only {fit.covered_share:.0%} of the picture; outside of it the lens is a guess")
    if fit.rms_px[worst] > _WORST_RMS_PX:
        mistakes.append(
            f"{worst}: corners are {fit.rms_px[worst]:.1f} px off; leave that picture out, or is the board not flat?"
        )
    elif fit.rms_px[worst] > _SUSPICIOUS_RMS_PX:
        doubts.append(f"{worst}: corners are {fit.rms_px[worst]:.1f} px off; below 0.5 is usual")
    if not mistakes and focus > _WORST_RELATIVE_FOCUS:
        mistakes.append(f"the focal length is only known to {focus:.1%}; take more pictures with other tilts")
    if not fit.lens.is_one_to_one():
        mistakes.append("the fitted distortion folds the picture near its corners; show the board there, too")
    return mistakes, doubts
