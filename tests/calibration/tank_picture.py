"""Pictures of an invented tank under a camera that somebody knocked, for tests of whether it has moved.

Written with a pinhole of its own, and each thing at its own height, so that a mistake in the measuring camera cannot
hide here: a table below, a rim above, a patterned floor seen through the water's surface (Snell, to first order).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from calibration.lens import Lens
from calibration.waterplane import Pose, View

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 480, 300, 380.0
LENS = Lens(WIDTH_PX, HEIGHT_PX, FOCAL_PX, FOCAL_PX, (WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2)
POSE = Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[500.0, 0.0, 1000.0])
VIEW = View(LENS, POSE)
WATER_MM = np.array([[0.0, -250.0], [1000.0, -250.0], [1000.0, 250.0], [0.0, 250.0]])
PLACES_MM = np.array([[x, y] for x in (100.0, 500.0, 900.0) for y in (-200.0, 0.0, 200.0)])
RIM_MM, TABLE_MM, FLOOR_MM = 40.0, -100.0, -80.0
FINE = 2
_MM_PER_FINE_PX = 1000 / FOCAL_PX / FINE


@dataclass(frozen=True, slots=True)
class Scene:
    """What is different from picture to picture."""

    seed: int = 0
    gain: float = 1.0
    slope: float = 0.0
    """How much brighter the right side is than the left, as a share."""
    boat_mm: tuple[float, float] | None = None
    ripple_mm: float = 0.0
    """By how much ripples move what is seen through them."""
    noise_levels: float = 1.5
    tiles: bool = True
    jpeg_quality: int | None = 90
    marks: tuple[tuple[float, float], ...] = field(default=((40, 275), (480, 278), (950, 275), (60, -275), (930, -276)))
    """Dark squares on the rim."""


def picture(pose: Pose = POSE, scene: Scene = Scene()) -> np.ndarray:
    """A grey picture (H, W) of the tank as it is seen from `pose`."""
    rng = np.random.default_rng(scene.seed)
    fine = np.empty((HEIGHT_PX * FINE, WIDTH_PX * FINE))
    v, u = (np.indices(fine.shape) + 0.5) / FINE - 0.5
    rays = np.stack([(u - LENS.cx_px) / FOCAL_PX, (v - LENS.cy_px) / FOCAL_PX, np.ones_like(u)], -1) @ pose.rotation
    fine[:] = 70 + 8 * np.sin(_at(pose, rays, TABLE_MM)[..., 0] / 9)
    rim = _at(pose, rays, RIM_MM)
    _lay(fine, _within(rim, 30.0), 215)
    for mark in scene.marks:
        _lay(fine, _soft(12 - np.abs(rim - mark).max(-1)), 20)
    _lay(fine, _within(_at(pose, rays, 0.0), 0.0), 120)
    _lay(fine, _within(_at(pose, rays, 0.0), 0.0), _floor(pose, rays, scene, rng))
    if scene.boat_mm is not None:
        deck = np.abs(_at(pose, rays, 20.0) - np.array(scene.boat_mm)) / (1.0, 0.5)
        _lay(fine, _soft(90 - deck.max(-1)), 35)
    seen = cv2.GaussianBlur(fine, (0, 0), 0.6 * FINE).reshape(HEIGHT_PX, FINE, WIDTH_PX, FINE).mean((1, 3))
    light = scene.gain * (1 + scene.slope * np.linspace(-0.5, 0.5, WIDTH_PX))
    levels = np.clip(seen * light + rng.normal(0, scene.noise_levels, seen.shape), 0, 255).round().astype(np.uint8)
    if scene.jpeg_quality is None:
        return levels
    packed = cv2.imencode(".jpg", levels, (cv2.IMWRITE_JPEG_QUALITY, scene.jpeg_quality))[1]
    return cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE)


def true_shifts_mm(pose: Pose, places_mm: np.ndarray = PLACES_MM) -> np.ndarray:
    """Where on the water the unmoved camera would take `places_mm` to be, beside where they are."""
    points = np.column_stack([places_mm, np.zeros(len(places_mm))])
    inside = (points - pose.camera_mm) @ pose.rotation.T
    rays = np.column_stack([inside[:, :2] / inside[:, 2:], np.ones(len(inside))]) @ POSE.rotation
    return POSE.camera_mm[:2] - POSE.camera_mm[2] / rays[:, 2:] * rays[:, :2] - places_mm


def _at(pose: Pose, rays: np.ndarray, z_mm: float) -> np.ndarray:
    return pose.camera_mm[:2] + (z_mm - pose.camera_mm[2]) / rays[..., 2:] * rays[..., :2]


def _floor(pose: Pose, rays: np.ndarray, scene: Scene, rng: np.random.Generator) -> np.ndarray:
    # under the surface a steep ray leans only 1 / 1.333 as much
    floor = _at(pose, rays, 0.0) - FLOOR_MM / 1.333 / rays[..., 2:] * rays[..., :2] * -1
    if scene.ripple_mm:
        for _ in range(6):
            wave, turn, phase = rng.uniform(60, 200), rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)
            way = np.array([np.cos(turn), np.sin(turn)])
            floor = floor + scene.ripple_mm * way * np.cos(2 * np.pi * (floor @ way) / wave + phase)[..., None]
    if not scene.tiles:
        return np.full(floor.shape[:2], 150.0)
    joint = np.abs((floor + 31) % 70 - 35).max(-1)
    return 150 - 60 * _soft(joint - 32)


def _within(points: np.ndarray, wider_mm: float) -> np.ndarray:
    x, y = points[..., 0], points[..., 1]
    return _soft(np.minimum(np.minimum(x, 1000 - x), 250 - np.abs(y)) + wider_mm)


def _soft(inside_mm: np.ndarray) -> np.ndarray:
    """Share of each fine pixel that is inside, from how far its middle is."""
    return np.clip(inside_mm / _MM_PER_FINE_PX + 0.5, 0, 1)


def _lay(picture: np.ndarray, share: np.ndarray, level: np.ndarray | float) -> None:
    picture += share * (level - picture)
