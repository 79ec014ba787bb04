"""Boards as a person would show them to a camera: corners in pixels, with noise, no pictures."""

from __future__ import annotations

import numpy as np

from calibration.board import BoardSeen
from calibration.lens import Lens
from calibration.targets import LENS_BOARD
from calibration.waterplane import rotation_matrix

USUAL = Lens(1280, 720, 950.0, 952.0, 655.0, 347.0, -0.12, 0.03, 0.001, -0.0005)
WIDE = Lens(1280, 720, 560.0, 562.0, 645.0, 352.0, k1=-0.02, k2=0.004, k3=-0.001, model="fisheye")
_STEP_MM = LENS_BOARD.square_mm
CORNERS_MM = np.array([[_STEP_MM * c, _STEP_MM * r, 0.0] for r in range(LENS_BOARD.rows - 1) for c in range(6)])


def seen_at(
    lens: Lens, turn_rad: np.ndarray, middle_px: np.ndarray, away_mm: float, noise_px: np.ndarray | float = 0.0
) -> BoardSeen | None:
    """The corners that are in the picture, None if they are too few; `away_mm` along the ray to `middle_px`."""
    ray = lens.rays([middle_px])[0]
    if not np.isfinite(ray).all():
        return None
    place = ray / np.linalg.norm(ray) * away_mm
    points = (CORNERS_MM - CORNERS_MM.mean(0)) @ rotation_matrix(turn_rad).T + place
    if points[:, 2].min() < 30:
        return None
    pixels = lens.pixels(points)
    back = np.nan_to_num(lens.rays(pixels)[:, :2] - points[:, :2] / points[:, 2:], nan=9.0)
    size = (lens.width_px, lens.height_px)
    inside = ((pixels > 4) & (pixels < np.array(size) - 5)).all(axis=1) & (np.abs(back).max(axis=1) < 1e-4)
    if inside.sum() < 16 or min(np.ptp(CORNERS_MM[inside, :2], axis=0)) == 0:
        return None
    return BoardSeen(CORNERS_MM[inside], (pixels + noise_px)[inside], *size)


def shown(
    lens: Lens,
    rng: np.random.Generator,
    *,
    count: int = 14,
    sd_px: float = 0.15,
    most_tilt_rad: float = 0.6,
    away_mm: tuple[float, float] = (220.0, 450.0),
    within: float = 1.0,
) -> dict[str, BoardSeen]:
    """`count` views at random: tilted to all sides, all over the middle `within` part of the picture."""
    views: dict[str, BoardSeen] = {}
    size = np.array([lens.width_px - 1, lens.height_px - 1])
    while len(views) < count:
        turn = np.append(
            rng.uniform(-most_tilt_rad, most_tilt_rad, 2), rng.uniform(-0.3, 0.3) + np.pi / 2 * rng.integers(2)
        )
        middle = size / 2 + (rng.uniform(0, 1, 2) - 0.5) * size * within
        view = seen_at(lens, turn, middle, rng.uniform(*away_mm), rng.normal(0, sd_px, (len(CORNERS_MM), 2)))
        if view is not None:
            views[f"view {len(views) + 1}"] = view
    return views
