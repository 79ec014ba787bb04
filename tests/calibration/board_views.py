"""Boards as a person would show them to a camera: as corners in pixels with noise, and as pictures."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from calibration.board import BoardSeen, CharucoBoard
from calibration.lens import Lens
from calibration.targets import LENS_BOARD
from calibration.waterplane import rotation_matrix

USUAL = Lens(1280, 720, 950.0, 952.0, 655.0, 347.0, -0.12, 0.03, 0.001, -0.0005)
WIDE = Lens(1280, 720, 560.0, 562.0, 645.0, 352.0, k1=-0.02, k2=0.004, k3=-0.001, model="fisheye")
SMALL = Lens(640, 360, 480.0, 481.0, 331.0, 172.0, -0.1, 0.02, 0.0005, -0.0003)
_STEP_MM = LENS_BOARD.square_mm
CORNERS_MM = np.array([[_STEP_MM * c, _STEP_MM * r, 0.0] for r in range(LENS_BOARD.rows - 1) for c in range(6)])
_MIDDLE_MM = CORNERS_MM.mean(0)
FINE, SQUARE_PX = 2, 60

BoardPlace = tuple[np.ndarray, np.ndarray]
"""Turn (3,) rad and shift (3,) mm: the board's frame (first inner corner 0, x along the rows) -> camera frame."""


def seen_at(lens: Lens, place: BoardPlace, noise_px: np.ndarray | float = 0.0) -> BoardSeen | None:
    """The corners that are in the picture, None if they are too few."""
    turn, shift = place
    points = CORNERS_MM @ rotation_matrix(turn).T + shift
    if points[:, 2].min() < 30:
        return None
    pixels = lens.pixels(points)
    back = np.nan_to_num(lens.rays(pixels)[:, :2] - points[:, :2] / points[:, 2:], nan=9.0)
    size = (lens.width_px, lens.height_px)
    inside = ((pixels > 4) & (pixels < np.array(size) - 5)).all(axis=1) & (np.abs(back).max(axis=1) < 1e-4)
    if inside.sum() < 16 or min(np.ptp(CORNERS_MM[inside, :2], axis=0)) == 0:
        return None
    return BoardSeen(CORNERS_MM[inside], (pixels + noise_px)[inside], *size)


def placed(lens: Lens, turn: np.ndarray, middle_px: np.ndarray, away_mm: float) -> BoardPlace | None:
    """The board's middle `away_mm` along the ray of a pixel; None if there is no such ray."""
    ray = lens.rays([middle_px])[0]
    if not np.isfinite(ray).all():
        return None
    return turn, ray / np.linalg.norm(ray) * away_mm - rotation_matrix(turn) @ _MIDDLE_MM


def places(
    lens: Lens,
    rng: np.random.Generator,
    *,
    most_tilt_rad: float = 0.6,
    away_mm: tuple[float, float] = (220.0, 450.0),
    within: float = 1.0,
) -> Iterator[BoardPlace]:
    """Endless places at random: tilted to all sides, all over the middle `within` part of the picture."""
    size = np.array([lens.width_px - 1, lens.height_px - 1])
    while True:
        about_axis = rng.uniform(-0.3, 0.3) + np.pi / 2 * rng.integers(2)
        turn = np.append(rng.uniform(-most_tilt_rad, most_tilt_rad, 2), about_axis)
        middle = size / 2 + (rng.uniform(0, 1, 2) - 0.5) * size * within
        place = placed(lens, turn, middle, rng.uniform(*away_mm))
        if place is not None and seen_at(lens, place) is not None:
            yield place


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
    """`count` views as `places` has them, with noise of `sd_px` on every corner."""
    views: dict[str, BoardSeen] = {}
    for place in places(lens, rng, most_tilt_rad=most_tilt_rad, away_mm=away_mm, within=within):
        view = seen_at(lens, place, rng.normal(0, sd_px, (len(CORNERS_MM), 2)))
        if view is not None:
            views[f"view {len(views) + 1}"] = view
        if len(views) == count:
            return views
    raise AssertionError("places end never")


def painted_at(
    lens: Lens,
    place: BoardPlace,
    *,
    board: CharucoBoard = LENS_BOARD,
    blur_px: float = 0.7,
    white: float = 200.0,
    black: float = 35.0,
    seed: int = 0,
) -> np.ndarray:
    """A grey picture (H, W) of the board on a grey desk, four rays a pixel, with some blur and noise."""
    turn, shift = place
    texture = board.drawn(square_px=SQUARE_PX).astype(np.float32) / 255 * (white - black) + black
    high, wide = lens.height_px * FINE, lens.width_px * FINE
    u, v = np.meshgrid((np.arange(wide) + 0.5) / FINE - 0.5, (np.arange(high) + 0.5) / FINE - 0.5)
    step = 8
    coarse = np.column_stack([u[::step, ::step].ravel(), v[::step, ::step].ravel()])
    rays = lens.rays(coarse).reshape(*u[::step, ::step].shape, 3)[..., :2].astype(np.float32)
    at = np.meshgrid(np.arange(wide, dtype=np.float32) / step, np.arange(high, dtype=np.float32) / step)
    fine = cv2.remap(rays, *at, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    rotation = rotation_matrix(turn)
    towards = np.dstack([fine, np.ones(fine.shape[:2])]) @ rotation
    start = -rotation.T @ shift
    on_board = start[:2] - start[2] * towards[..., :2] / towards[..., 2:]
    spot = ((on_board / board.square_mm + 1.5) * SQUARE_PX - 0.5).astype(np.float32)
    seen = cv2.remap(texture, spot[..., 0], spot[..., 1], cv2.INTER_LINEAR, borderValue=110.0)
    seen = seen.reshape(lens.height_px, FINE, lens.width_px, FINE).mean((1, 3))
    noise = np.random.default_rng(seed).normal(0, 1.5, seen.shape)
    return np.clip(cv2.GaussianBlur(seen, (0, 0), blur_px) + noise, 0, 255).round().astype(np.uint8)
