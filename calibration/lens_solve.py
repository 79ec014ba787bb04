"""The lens and the poses of a flat board that fit its pictures best, in least squares, for one model of the lens.

Each picture has its own pose (6 unknowns), all share the lens. In every step the poses are projected out of the
equations, picture by picture, so that only the lens's own few unknowns are solved for together (Levenberg-Marquardt).

Where to begin. For Brown's model OpenCV begins from the homographies of the pictures. That breaks down for very wide
lenses, so a fisheye begins from the one of several focal lengths (an ideal lens, angle in proportion to radius) with
which the boards fit best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.lens import LENS_MODELS, LENS_PARAMETERS, Floats, Lens, LensModel, moved_lens

BoardPose: TypeAlias = tuple[Floats, Floats]
"""Rotation vector (3, 1) and shift (3, 1) mm of a board, its own frame -> camera frame."""

_STEPS_COUNT, _SETTLED = 60, 1e-9
_HOPELESS = 4.0  # times the squared residuals of another pose: not worth refining
_FEWEST_CORNERS = 6
_WELL_PX = 0.6
_FOCAL_SHARES = tuple(0.2 * 1.22**step for step in range(14))  # of the picture's width
_WIDEST_RAY = 8.0  # tangent: rays of more than 83 degrees say nothing useful of a first pose
_FREE = {"brown": (0, 1, 2, 3, 4, 5, 6, 7), "brown+k3": (0, 1, 2, 3, 4, 5, 6, 7, 8), "fisheye": (0, 1, 2, 3, 4, 5, 8)}
_OF_FISHEYE = {0: 0, 1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 8: 6}  # our order of parameters -> column of cv2.fisheye


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The best fit, not judged."""

    lens: Lens
    poses: tuple[BoardPose, ...]
    """One for each view, in the order given."""
    free: tuple[int, ...]
    """Which of LENS_PARAMETERS were fitted."""


def free_of(model: LensModel, *, with_k3: bool) -> tuple[int, ...]:
    """Which of LENS_PARAMETERS a model fits; a fisheye always has k3."""
    return _FREE["brown+k3" if model == "brown" and with_k3 else model]


def solve(views: Sequence[BoardSeen], *, model: LensModel, with_k3: bool, near: Lens | None = None) -> Solved:
    """The fit from three views or more of one size. LinAlgError or cv2.error where there is none.

    `near` is a fisheye that must be nearly right, such as one fitted to more views; it saves looking for a beginning.
    """
    if model == "fisheye":
        lens, poses = _fisheye_start(views) if near is None else (near, [_flat_poses(near, v)[0][1] for v in views])
        stages = ((0, 1), (0, 1, 2, 3, 4)) if near is None else ()
        for free in (*stages, free_of(model, with_k3=True)):
            lens, poses = _refined(lens, poses, views, free)
        return Solved(lens, tuple(poses), free_of(model, with_k3=True))
    flags = 0 if with_k3 else cv2.CALIB_FIX_K3
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-12)
    points = [view.points_mm.astype(np.float32) for view in views]
    pixels = [view.pixels.astype(np.float32) for view in views]
    size = (views[0].width_px, views[0].height_px)
    _, matrix, bend, turns, shifts = cv2.calibrateCamera(
        points, pixels, size, None, None, flags=flags, criteria=criteria
    )
    k1, k2, p1, p2, k3 = (float(value) for value in np.ravel(bend)[:5])
    fx, fy, cx, cy = (float(matrix[at]) for at in ((0, 0), (1, 1), (0, 2), (1, 2)))
    lens = Lens(*size, fx_px=fx, fy_px=fy, cx_px=cx, cy_px=cy, k1=k1, k2=k2, p1=p1, p2=p2, k3=k3)
    poses = [(np.asarray(t, np.float64), np.asarray(s, np.float64)) for t, s in zip(turns, shifts, strict=True)]
    return Solved(lens, tuple(poses), free_of(model, with_k3=with_k3))


def linear(lens: Lens, view: BoardSeen, pose: BoardPose) -> tuple[Floats, Floats, Floats]:
    """Residuals (2N,) found minus fitted, and how fitted pixels follow the pose (2N, 6) and the lens (2N, 9)."""
    turn, shift = pose
    if lens.model == "brown":
        seen, jacobian = cv2.projectPoints(view.points_mm, turn, shift, lens.matrix, lens.distortion)
        full = np.asarray(jacobian, np.float64)
        by_pose, by_lens = full[:, :6], full[:, 6:15]
    else:
        bend = np.array([lens.k1, lens.k2, lens.k3, 0.0])
        seen, jacobian = cv2.fisheye.projectPoints(view.points_mm.reshape(-1, 1, 3), turn, shift, lens.matrix, bend)
        full = np.asarray(jacobian, np.float64)
        by_pose, by_lens = full[:, 8:14], np.zeros((len(full), len(LENS_PARAMETERS)))
        for ours, theirs in _OF_FISHEYE.items():
            by_lens[:, ours] = full[:, theirs]
    residuals: Floats = (view.pixels - np.asarray(seen, np.float64).reshape(-1, 2)).ravel()
    return residuals, by_pose, by_lens


def board_pose(lens: Lens, view: BoardSeen) -> tuple[BoardPose, Floats]:
    """The best pose of one board before a known lens, and its residuals (N, 2) px. LinAlgError if there is none."""
    best: tuple[float, BoardPose] | None = None
    for off, start in _flat_poses(lens, view):
        if best is not None and off > _HOPELESS * best[0]:
            continue
        _, (pose,) = _refined(lens, [start], [view], ())
        settled = float(np.sum(linear(lens, view, pose)[0] ** 2))
        if best is None or settled < best[0]:
            best = (settled, pose)
    if best is None:
        raise np.linalg.LinAlgError("no pose of the board")
    return best[1], linear(lens, view, best[1])[0].reshape(-1, 2)


def settled_pose(lens: Lens, view: BoardSeen, start: BoardPose) -> BoardPose:
    """The best pose of one board before a known lens that lies nearest to `start`."""
    _, (pose,) = _refined(lens, [start], [view], ())
    return pose


def _flat_poses(lens: Lens, view: BoardSeen) -> list[tuple[float, BoardPose]]:
    """The two poses that a flat board may have, each with its squared residuals, the better one first.

    From the homography, and the same board leaning the other way about its line of sight. (OpenCV's solver for flat
    boards was seen to return wrong turns where the board is turned by half a circle.)
    """
    rays = lens.rays(view.pixels)[:, :2]
    useful = np.isfinite(rays).all(axis=1) & (np.hypot(*rays.T) < _WIDEST_RAY)
    if useful.sum() < _FEWEST_CORNERS:
        raise np.linalg.LinAlgError("too few corners that this lens can see")
    onto, _ = cv2.findHomography(view.points_mm[useful, :2], rays[useful])
    if onto is None:
        raise np.linalg.LinAlgError("corners that are no flat board")
    columns = np.asarray(onto, np.float64)
    columns = columns / np.linalg.norm(columns[:, :2], axis=0).mean() * np.sign(columns[2, 2])
    left, _, right = np.linalg.svd(np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])]))
    rotation = left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right
    shift = columns[:, 2].copy()
    middle = view.points_mm[useful].mean(0)
    sight = (there := rotation @ middle + shift) / np.linalg.norm(there)
    leaning = (2 * np.outer(sight, sight) - np.eye(3)) @ rotation @ np.diag([-1.0, -1.0, 1.0])
    judged = []
    for turned, moved in ((rotation, shift), (leaning, there - leaning @ middle)):
        pose = (np.asarray(cv2.Rodrigues(turned)[0], np.float64), moved.reshape(3, 1).copy())
        judged.append((float(np.sum(linear(lens, view, pose)[0] ** 2)), pose))
    judged = [one for one in judged if np.isfinite(one[0])]
    if not judged:
        raise np.linalg.LinAlgError("no pose of a flat board")
    return sorted(judged, key=lambda one: one[0])


def _fisheye_start(views: Sequence[BoardSeen]) -> tuple[Lens, list[BoardPose]]:
    width, height = views[0].width_px, views[0].height_px
    best: tuple[float, Lens, list[BoardPose]] | None = None
    for share in _FOCAL_SHARES:
        lens = Lens(width, height, share * width, share * width, (width - 1) / 2, (height - 1) / 2, model="fisheye")
        try:
            found = [_flat_poses(lens, view)[0] for view in views]
        except (np.linalg.LinAlgError, cv2.error):
            continue
        off = sum(squares for squares, _ in found)
        if best is None or off < best[0]:
            best = (off, lens, [pose for _, pose in found])
    if best is None:
        raise np.linalg.LinAlgError("no focal length with which the boards are flat")
    return best[1], best[2]


def _refined(
    lens: Lens, poses: Sequence[BoardPose], views: Sequence[BoardSeen], free: tuple[int, ...]
) -> tuple[Lens, list[BoardPose]]:
    """Levenberg-Marquardt over the lens's `free` parameters and all poses."""
    now, damping = list(poses), 1e-4
    equations = [linear(lens, view, pose) for view, pose in zip(views, now, strict=True)]
    cost = sum(float(r @ r) for r, _, _ in equations)
    for _ in range(_STEPS_COUNT):
        step, moves = _step(equations, free, damping)
        change = np.zeros(len(LENS_PARAMETERS))
        change[list(free)] = step
        tried = moved_lens(lens, change)
        placed = [_moved(pose, move) for pose, move in zip(now, moves, strict=True)]
        ahead = [linear(tried, view, pose) for view, pose in zip(views, placed, strict=True)]
        better = sum(float(r @ r) for r, _, _ in ahead)
        if not np.isfinite(better) or better > cost:
            damping *= 10
            if damping > 1e8:
                break
            continue
        settled = cost - better <= _SETTLED * cost
        lens, now, equations, cost, damping = tried, placed, ahead, better, max(damping / 10, 1e-12)
        if settled:
            break
    return lens, now


def _moved(pose: BoardPose, move: Floats) -> BoardPose:
    return pose[0] + move[:3].reshape(3, 1), pose[1] + move[3:].reshape(3, 1)


def _step(
    equations: Sequence[tuple[Floats, Floats, Floats]], free: tuple[int, ...], damping: float
) -> tuple[Floats, list[Floats]]:
    """What to add to the free parameters and to each pose."""
    parts, inner, off = [], [], []
    for residuals, by_pose, by_lens in equations:
        scale = np.maximum(np.linalg.norm(by_pose, axis=0), 1e-12)
        damped = np.vstack([by_pose / scale, np.sqrt(damping) * np.eye(6)])
        base, triangle = np.linalg.qr(damped)
        base = base[: len(residuals)]
        own = by_lens[:, list(free)]
        parts.append((base, triangle, scale, own))
        inner.append(own - base @ (base.T @ own))
        off.append(residuals - base @ (base.T @ residuals))
    step = np.zeros(len(free))
    if free:
        stacked, right = np.concatenate(inner), np.concatenate(off)
        size = np.maximum(np.linalg.norm(stacked, axis=0), 1e-12)
        padded = np.vstack([stacked / size, np.sqrt(damping) * np.eye(len(free))])
        step = np.linalg.lstsq(padded, np.append(right, np.zeros(len(free))), rcond=None)[0] / size
    moves = []
    for (residuals, _, _), (base, triangle, scale, own) in zip(equations, parts, strict=True):
        left = residuals - own @ step
        moves.append(np.linalg.solve(triangle, base.T @ left) / scale)
    return step, moves


def focal_scaled(lens: Lens, factor: float) -> Lens:
    """The same lens with a focal length `factor` times as long."""
    return replace(lens, fx_px=factor * lens.fx_px, fy_px=factor * lens.fy_px)


def rms_of(views: Mapping[str, BoardSeen], solved: Solved) -> dict[str, float]:
    """For each view the root mean square distance of found from fitted corners, px."""
    return {
        name: float(np.sqrt(2 * np.mean(linear(solved.lens, view, pose)[0] ** 2)))
        for (name, view), pose in zip(views.items(), solved.poses, strict=True)
    }


def solved_well(views: Mapping[str, BoardSeen]) -> Solved | None:
    """The fit with a usual lens, or, where that is off, with a fisheye if that fits better; None: neither fits."""
    best: tuple[float, Solved] | None = None
    for model in LENS_MODELS:
        try:
            found = solve(list(views.values()), model=model, with_k3=False)
        except (np.linalg.LinAlgError, cv2.error):
            continue
        off = float(np.median(list(rms_of(views, found).values())))
        if best is None or off < best[0]:
            best = (off, found)
        if off < _WELL_PX:
            break
    return None if best is None else best[1]
