"""Where to begin when the camera is looked for, and what is wrong if marks cannot be what they are said to be.

From four marks and more the pose follows (pose_fit.py). From floating boards follows the plane of the water, then from
two marks at least where on it the tank's frame lies. A board that is too large or too small by a factor shows here,
because two marks have a distance of their own.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.errors import CalibrationError
from calibration.lens import Floats, Lens
from calibration.plane_fit import BoardSeenAfloat, MarksSeen
from calibration.pose_fit import fit_pose, pose_misfit, rough_off_px
from calibration.waterplane import Pose, View, rotation_matrix

_MOST_TRIED_COUNT = 5
"""Up to so many marks, every order is tried; of more those in which two are exchanged, or that begin elsewhere, go
round the other way, or turn or mirror the whole."""
_MOST_REFINED_COUNT, _ROUGH_SHARE = 4, 0.1
"""Of all orders so many of the likeliest are looked at closely, and none of which marks are seen so far off, as a
part of the picture's width."""
_FITS = 3.0
"""A misfit below this is what good marks have."""
_SCALE_OFF = 0.015
"""Boards and marks whose scales are this far apart are not of one tank."""
_NEAR_MM = 400.0
_NATURAL = ((0.1, "centimetres for millimetres"), (1 / 25.4, "inches for millimetres"), (10.0, "mm for cm"))


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """Something to begin with."""

    pose: Pose
    boards_at: tuple[tuple[float, float, float], ...] = ()
    """For each picture of a board, where its frame lies: x mm, y mm, turn in rad."""


def start_from_marks(lens: Lens, seen: MarksSeen, *, place: str) -> Start:
    """Begin with marks alone.

    Raises:
        CalibrationError: too few marks, marks on a line, or marks that are not where they are said to be; then, where
            another order or a turned axis would make them fit, that is said.
    """
    lift_mm = 0.0 if seen.is_wet else max(0.0, -float(seen.points_mm[:, 2].min(initial=0.0)))
    lift = np.array([0.0, 0.0, lift_mm])
    points = seen.points_mm + lift
    spread = [np.linalg.norm(shift, axis=1) for shift in seen.shared.values()]
    u_mm = np.sqrt(np.asarray(seen.u_mm, np.float64) ** 2 + sum((each**2 for each in spread), np.zeros(len(points))))
    try:
        found = fit_pose(lens, points, seen.pixels, u_px=float(np.max(seen.u_px)), u_mark_mm=u_mm, place=place)
    except CalibrationError as error:
        told = _other_order(lens, points, seen, u_mm)
        raise CalibrationError(place, [*error.mistakes, *told]) from error
    camera = found.view.pose.camera_mm - lift
    if camera[2] <= 0:
        wrong = f"the water would be {-camera[2]:.0f} mm above the camera; check the depth (mm) and the marks' places"
        raise CalibrationError(place, [wrong])
    return Start(Pose.at(found.view.pose.rotation, camera_mm=camera))


def _other_order(lens: Lens, points: Floats, seen: MarksSeen, u_mm: Floats) -> list[str]:
    """A sentence that says how the marks would fit: in another order, or with an axis the other way."""
    count = len(points)
    if count < 4 or len(seen.pixels) != count:
        return []

    def misfit(places: Floats) -> float:
        if not rough_off_px(lens, places, seen.pixels) < _ROUGH_SHARE * lens.width_px:
            return math.inf
        return pose_misfit(lens, places, seen.pixels, u_px=float(np.max(seen.u_px)), u_mark_mm=u_mm)

    if misfit(points * [1, -1, 1]) < _FITS:
        mirrored = "the places are mirrored: they would fit with y counted the other way, or with x and y exchanged"
        return [f"{mirrored}; x goes along the run, y to the left of it, seen from above"]
    roughly = {order: rough_off_px(lens, points[list(order)], seen.pixels) for order in _orders(points)}
    likely = sorted(roughly, key=lambda order: roughly[order])[:_MOST_REFINED_COUNT]
    fitting = [order for order in likely if misfit(points[list(order)]) < _FITS]
    if not fitting:
        return []
    shown = " or ".join(", ".join(str(one + 1) for one in order) for order in fitting[:2])
    return [f"they would fit if these pixels belonged to the places {shown}: list both in the same order"]


def _orders(points: Floats) -> list[tuple[int, ...]]:
    count = len(points)
    if count <= _MOST_TRIED_COUNT:
        return [order for order in itertools.permutations(range(count)) if order != tuple(range(count))]
    every = tuple(range(count))
    found = [every[at:] + every[:at] for at in range(1, count)]  # begun at another one
    found += [order[::-1] for order in (every, *found)]  # and gone round the other way
    for one, other in itertools.combinations(every, 2):
        order = list(every)
        order[one], order[other] = other, one
        found.append(tuple(order))
    middle = (points.max(0) + points.min(0)) / 2
    for flip in ([-1, 1, 1], [1, -1, 1], [-1, -1, 1]):
        there = (points - middle) * flip + middle
        apart = np.linalg.norm(there[:, None] - points[None], axis=2)
        turned = tuple(int(at) for at in apart.argmin(1))
        if len(set(turned)) == count and turned != every:
            found.append(turned)
    return list(dict.fromkeys(found))


def start_from_boards(
    lens: Lens, boards: Sequence[BoardSeenAfloat], marks: Sequence[MarksSeen], *, place: str
) -> Start:
    """Begin with floating boards, and at least two marks that say where on the water the tank's frame lies.

    Raises:
        CalibrationError: too few marks; boards that do not float on one plane; marks whose distance is not the one that
            the boards measure.
    """
    points = np.concatenate([seen.points_mm for seen in marks]) if marks else np.zeros((0, 3))
    if len(points) < 2 or np.ptp(points[:, :2], axis=0).max() < 1:
        wrong = (
            f"{len(points)} marks with a place in the tank; 2 at least are wanted, far apart, such as both ends of the "
            "start line: a floating board alone does not say where the tank is"
        )
        raise CalibrationError(place, [wrong])
    poses = [_board_pose(lens, seen) for seen in boards]
    normal, height = _water(poses, place)
    pose = _upright(normal, height)
    view = View(lens, pose)
    on_water = np.concatenate([view.to_plane(seen.pixels, z_mm=seen.points_mm[:, 2]) for seen in marks])
    _check_scale(on_water, points[:, :2], place)
    rotation, shift = _laid(on_water, points[:, :2])
    turn = np.eye(3)
    turn[:2, :2] = rotation
    camera = turn @ pose.camera_mm + np.array([*shift, 0.0])
    placed = Pose.at(pose.rotation @ turn.T, camera_mm=camera)
    return Start(placed, tuple(_lies(View(lens, placed), seen) for seen in boards))


def _board_pose(lens: Lens, seen: BoardSeenAfloat) -> tuple[Floats, float, float]:
    """A board's upward normal in the camera frame, its distance from the lens along it, and how large it is seen."""
    rays = np.ascontiguousarray(lens.rays(seen.pixels)[:, :2])
    flat = seen.points_mm - [0, 0, seen.points_mm[:, 2].mean()]
    _, turns, shifts, errors = cv2.solvePnPGeneric(flat, rays, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    best = int(np.argmin(np.asarray(errors).ravel()))
    rotation = rotation_matrix(np.asarray(turns[best]).ravel())
    normal = rotation[:, 2]
    distance = -float(normal @ np.asarray(shifts[best]).ravel())
    return normal, distance + float(seen.points_mm[:, 2].mean()), float(np.ptp(seen.pixels, axis=0).max())


def _water(poses: Sequence[tuple[Floats, float, float]], place: str) -> tuple[Floats, float]:
    """Normal of the water in the camera frame and the lens's height above it; large boards count more."""
    weights = np.array([size for _, _, size in poses]) ** 2
    normals = np.array([normal for normal, _, _ in poses])
    if (normals[:, 2] >= 0).any():
        raise CalibrationError(place, ["a board is seen from below or mirrored; turn the picture the right way round"])
    normal = (normals * weights[:, None]).sum(0)
    normal /= np.linalg.norm(normal)
    return normal, float(np.average([distance for _, distance, _ in poses], weights=weights))


def _upright(normal: Floats, height: float) -> Pose:
    """A camera over a plane with that upward `normal` (camera frame), above the origin, x to the right."""
    x = np.array([1.0, 0, 0]) - normal[0] * normal
    x /= np.linalg.norm(x)
    return Pose.at(np.column_stack([x, np.cross(normal, x), normal]), camera_mm=[0, 0, height])


def _check_scale(seen: Floats, known: Floats, place: str) -> None:
    i, j = _farthest(known)
    by_marks, by_boards = (float(np.linalg.norm(p[i] - p[j])) for p in (known, seen))
    ratio = by_boards / by_marks if by_marks > 0 else math.inf
    if abs(ratio - 1) <= _SCALE_OFF + 5.0 / max(by_marks, 1.0):
        return
    wrong = (
        f"marks {i + 1} and {j + 1} are {by_marks:.0f} mm apart by their places and {by_boards:.0f} mm by the board "
        f"({ratio - 1:+.1%})"
    )
    natural = next((words for factor, words in _NATURAL if abs(ratio / factor - 1) < 0.35), None)
    if natural is not None:
        cure = f"was the board's square given as {natural}? Measure ten squares and give the length of one in mm"
    else:
        cure = "measure ten squares of the printed board, and the marks' places, again"
        if abs(ratio * 0.97 - 1) < 0.012:
            cure = f"was it printed at 97 % (fit to page)? {cure[0].upper()}{cure[1:]}"
    raise CalibrationError(place, [f"{wrong}; {cure}"])


def _farthest(points: Floats) -> tuple[int, int]:
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    i, j = np.unravel_index(int(apart.argmax()), apart.shape)
    return int(i), int(j)


def _laid(source: Floats, target: Floats) -> tuple[Floats, Floats]:
    """Rotation (2, 2) and shift (2,) that lay `source` (N, 2) on `target`, without scale (Kabsch 1976)."""
    a, b = source - source.mean(0), target - target.mean(0)
    left, _, right = np.linalg.svd(b.T @ a)
    rotation = left @ np.diag([1.0, np.sign(np.linalg.det(left @ right))]) @ right
    return rotation, target.mean(0) - rotation @ source.mean(0)


def _lies(view: View, seen: BoardSeenAfloat) -> tuple[float, float, float]:
    rotation, shift = _laid(seen.points_mm[:, :2], view.to_plane(seen.pixels, z_mm=seen.points_mm[:, 2]))
    return float(shift[0]), float(shift[1]), math.atan2(rotation[1, 0], rotation[0, 0])
