"""The picture without a boat: floor seen through the water, mark line on the floor, walls, rim, table, light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.chance import stream
from logger.simulator.scene import Scene
from logger.simulator.snell import floor_under
from logger.simulator.window import Picture

Floats = NDArray[np.float64]

GAMMA = 2.2
"""The camera's tone curve: grey value = 255·(light)^(1/2.2) (common practice, no source)."""
SOFTNESS_PX = 0.6
"""Standard deviation of the lens's point spread."""
TABLE_BGR = (62, 84, 104)
RIM_BGR = (214, 214, 208)
WALL_BGR = (176, 178, 174)
TAPE_BGR = (52, 48, 46)
POST_BGR = (46, 44, 44)
TAPE_WIDTH_MM = 15.0
RIM_WIDTH_MM = 12.0


def linear(bgr: tuple[int, int, int]) -> Floats:
    """Light, 0 to 1, of a grey value of 255."""
    light: Floats = (np.asarray(bgr, np.float64) / 255.0) ** GAMMA
    return light


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """What stands still in the picture."""

    light: Picture
    """(height, width, 3) linear light, 0 to 1."""
    lamp: Picture
    """(height, width) how strongly each place of the picture is lit, about 1."""
    grey: Picture
    """(height, width, 3) the same picture in grey values."""


def tone(light: Picture) -> Picture:
    """Grey values 0 to 255 of linear light, not yet rounded."""
    return np.asarray(255.0 * cv2.pow(np.clip(light, 0.0, 1.0), 1 / GAMMA), np.float32)


def paint(scene: Scene) -> Background:
    """The still picture of `scene`."""
    eye, basin = scene.eye, scene.basin
    rows, columns = np.mgrid[0 : eye.height_px, 0 : eye.width_px]
    pixels = np.column_stack([columns.ravel(), rows.ravel()]).astype(np.float64)
    rays = eye.look(pixels)
    size_mm = eye.place_mm[2] / eye.f_px

    def at_height(z_mm: float) -> Floats:
        points: Floats = eye.place_mm[:2] + (z_mm - eye.place_mm[2]) / rays[:, 2:] * rays[:, :2]
        return points

    water, rim = at_height(0.0), at_height(basin.rim_mm)
    floor = floor_under(water, eye_mm=eye.place_mm, depth_mm=basin.depth_mm)
    colour = _floor(floor, scene, size_mm)
    colour = _mixed(WALL_BGR, colour, _inside(floor, scene, size_mm), 0.72)
    # light loses a little red on its way through the water
    colour = colour * np.exp(-np.array([0.2, 0.35, 1.0]) * 2 * basin.depth_mm / 1000 * 0.35)
    colour = _mixed(WALL_BGR, colour, _inside(water, scene, size_mm), 0.9)
    colour = _mixed(RIM_BGR, colour, _inside(rim, scene, size_mm), 1.0)
    colour = _mixed(TABLE_BGR, colour, _inside(rim, scene, size_mm, wider_mm=RIM_WIDTH_MM), 1.0)
    colour = _posts(colour, rim, scene, size_mm)
    lamp = _lamp(columns, rows, scene)
    light = (colour.reshape(eye.height_px, eye.width_px, 3) * lamp[..., None]).astype(np.float32)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), SOFTNESS_PX), np.float32)
    return Background(light, lamp.astype(np.float32), tone(light))


def _inside(points: Floats, scene: Scene, size_mm: float, *, wider_mm: float = 0.0) -> Floats:
    """(N, 1) share of each pixel that lies inside the tank's outline, made `wider_mm` on all sides."""
    basin = scene.basin
    x, y = points[:, 0], points[:, 1]
    within = np.minimum(np.minimum(x - basin.back_mm, basin.front_mm - x), basin.half_width_mm - np.abs(y))
    return np.clip((within + wider_mm) / size_mm + 0.5, 0.0, 1.0)[:, None]


def _mixed(outside_bgr: tuple[int, int, int], inside: Floats, share: Floats, gain: float) -> Floats:
    mixed: Floats = linear(outside_bgr) * gain * (1.0 - share) + inside * share
    return mixed


def _stripe(distance_mm: Floats, width_mm: float, size_mm: float) -> Floats:
    """(N, 1) share of each pixel covered by a stripe whose middle is `distance_mm` away."""
    reach = np.minimum(distance_mm + size_mm / 2, width_mm / 2) - np.maximum(distance_mm - size_mm / 2, -width_mm / 2)
    return np.clip(reach / size_mm, 0.0, 1.0)[:, None]


def _floor(floor: Floats, scene: Scene, size_mm: float) -> Floats:
    basin = scene.basin
    rng = stream(scene.tank_seed, "floor")
    colour = np.broadcast_to(linear(basin.floor_bgr), (len(floor), 3)) * _mottle(floor, rng)
    if basin.pattern != "plain":
        step, width = (rng.uniform(60, 110), 3.0) if basin.pattern == "tiles" else (rng.uniform(45, 55), 1.5)
        gain = 0.72 if basin.pattern == "tiles" else 0.6
        for axis in (0, 1):
            distance = (floor[:, axis] + rng.uniform(0, step)) % step - step / 2
            colour = colour * (1.0 - (1.0 - gain) * _stripe(distance, width, size_mm))
    mark = scene.line("mark")
    if mark is not None:
        distance = floor @ mark.normal - mark.place_mm
        colour = _mixed(TAPE_BGR, colour, 1.0 - _stripe(distance, TAPE_WIDTH_MM, size_mm), 1.0)
    return colour


def _mottle(floor: Floats, rng: np.random.Generator) -> Floats:
    """(N, 1) gentle unevenness of the floor's paint, about 1."""
    uneven = np.ones(len(floor))
    for _ in range(5):
        wave, turn, phase = rng.uniform(60, 700), rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)
        along = floor[:, 0] * np.cos(turn) + floor[:, 1] * np.sin(turn)
        uneven += 0.008 * np.sin(2 * np.pi * along / wave + phase)
    return uneven[:, None]


def _posts(colour: Floats, rim: Floats, scene: Scene, size_mm: float) -> Floats:
    """The posts of the gates, on the rim at both ends of each beam."""
    outer = scene.basin.half_width_mm + RIM_WIDTH_MM / 2
    for beam in scene.beams:
        along = np.abs(rim @ beam.normal - beam.place_mm)
        across = np.abs(np.abs(rim[:, 1]) - outer)
        within = np.minimum(8.0 - along, 11.0 - across)
        colour = _mixed(POST_BGR, colour, 1.0 - np.clip(within / size_mm + 0.5, 0.0, 1.0)[:, None], 1.0)
    return colour


def _lamp(columns: NDArray[np.int64], rows: NDArray[np.int64], scene: Scene) -> Floats:
    """(height, width) relative light: an even slope and the lens's vignette."""
    eye, lamp = scene.eye, scene.light
    u = (columns - eye.cx_px) / (eye.width_px / 2)
    v = (rows - eye.cy_px) / (eye.height_px / 2)
    slope = 1.0 + lamp.gradient[0] * u + lamp.gradient[1] * v
    lit: Floats = slope * (1.0 - lamp.vignette * (u * u + v * v) / 2)
    return lit
