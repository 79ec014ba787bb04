"""Pictures of an invented tank with printed marks on its rim, tape on its floor, a printed board and a slat afloat.

Seen by the simulator's camera and through the simulator's law of refraction: a mistake in the measuring camera cannot
hide here. The slat lies on the water and has two dark ends whose distance is known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline

from calibration import tags
from calibration.board import CharucoBoard
from calibration.lens import Lens
from calibration.tape_grid import TapeGrid
from calibration.targets import PLANE_BOARD
from logger.simulator.eye import Eye, looking_down
from logger.simulator.snell import floor_under, surface_above

LENGTH_MM, WIDTH_MM = 1500.0, 500.0
OUTLINE_MM = ((0.0, -250.0), (LENGTH_MM, -250.0), (LENGTH_MM, 250.0), (0.0, 250.0))
RIM_MM, RIM_WIDE_MM, DEPTH_MM, TABLE_MM = 45.0, 70.0, 100.0, -130.0
MARK_MM = 45.0
RIM_MARKS = {
    0: (20.0, -285.0),
    1: (750.0, -285.0),
    2: (1480.0, -285.0),
    3: (1480.0, 285.0),
    4: (750.0, 285.0),
    5: (20.0, 285.0),
}
GRID = TapeGrid(5, 3, 325.0, 180.0, (100.0, -180.0))
TAPE_MM = 10.0
SLAT_MM = ((300.0, 90.0), (1300.0, 90.0))
"""Both ends of the slat; 1000 mm."""
BOARD_AT = ((250.0, -90.0, 0.3), (1200.0, -60.0, 2.0), (700.0, 40.0, -1.2), (1250.0, 60.0, 0.1), (300.0, 100.0, 1.5))
FINE, _EVERY = 2, 16


def eye_of(width_px: int = 1280, *, tilt_deg: float = 5.0, k1: float = -0.12) -> Eye:
    """A camera about 1.3 m above the water."""
    scale = width_px / 1280
    lean = math.radians(tilt_deg)
    rotation = looking_down(tilt_x_rad=0.6 * lean, tilt_y_rad=-0.8 * lean, turn_rad=0.03)
    axis = rotation[2]
    place = np.array([770.0, 10.0, 0.0]) + axis * (1330.0 / axis[2])
    return Eye(
        width_px, round(720 * scale), 850.0 * scale, (640.0 + 0.5) * scale - 0.5, (357.0 + 0.5) * scale - 0.5,
        (k1, -0.2 * k1, 0.0), (2e-4, -1e-4), rotation, place,
    )  # fmt: skip


EYE = eye_of()


def lens_of(eye: Eye) -> Lens:
    return Lens(
        eye.width_px, eye.height_px, eye.f_px, eye.f_px, eye.cx_px, eye.cy_px, *eye.radial[:2], *eye.tangential,
        eye.radial[2],
    )  # fmt: skip


LENS = lens_of(EYE)


@dataclass(frozen=True, slots=True)
class Scene:
    """What is different from picture to picture."""

    depth_mm: float | None = DEPTH_MM
    """Of the water; None: the tank is dry. The floor stays where it is."""
    board_at: tuple[float, float, float] | None = None
    board_scale: float = 1.0
    """The print over what it should be."""
    slat: bool = False
    covered: tuple[int, ...] = ()
    """Rim marks with a hand over them."""
    seed: int = 0
    noise_levels: float = 2.0
    blur_px: float = 0.6
    gain: float = 1.0
    texture: bool = True


def picture(scene: Scene = Scene(), eye: Eye = EYE) -> np.ndarray:
    """A grey picture (H, W). z = 0 is the water at its right height, 100 mm above the floor."""
    rays = _rays(eye)
    level, inside = (kept.copy() for kept in _dry_parts(eye, scene.covered))
    floor = _floor(eye, rays[inside], scene)
    shown = _within(floor, 0.0)
    level[inside] = np.where(shown, _floor_levels(floor, scene), 150.0)  # else the wall
    water_z = None if scene.depth_mm is None else scene.depth_mm - DEPTH_MM
    if water_z is not None and scene.slat:
        on = _on(eye, rays, water_z)
        (x0, y0), (x1, _) = SLAT_MM
        _lay(level, (np.abs(on[..., 1] - y0) < 9) & (on[..., 0] > x0 - 15) & (on[..., 0] < x1 + 15), 225.0)
        for end in SLAT_MM:
            _lay(level, _disc(on, end, 6.0), 30.0)
    if water_z is not None and scene.board_at is not None:
        _lay_board(level, _on(eye, rays, water_z + 4.0), scene, PLANE_BOARD)
    seen = level.reshape(eye.height_px, FINE, eye.width_px, FINE).mean((1, 3)) * scene.gain
    seen = cv2.GaussianBlur(seen, (0, 0), scene.blur_px)
    noise = np.random.default_rng(scene.seed).normal(0, scene.noise_levels, seen.shape)
    return np.clip(seen + noise, 0, 255).round().astype(np.uint8)


def corner_px(*, wet: bool, eye: Eye = EYE) -> np.ndarray:
    """(4, 2) where the grid's outermost crossings are seen."""
    places = GRID.places_mm()[list(GRID.corner_indices())]
    under = np.column_stack([places, np.full(4, -DEPTH_MM)])
    if not wet:
        return eye.see(under)
    return eye.see(np.column_stack([surface_above(places, eye_mm=eye.place_mm, depth_mm=DEPTH_MM), np.zeros(4)]))


def slat_px(eye: Eye = EYE) -> np.ndarray:
    """(2, 2) where the slat's ends are seen."""
    return eye.see([[*end, 0.0] for end in SLAT_MM])


@lru_cache(maxsize=2)
def _rays(eye: Eye) -> np.ndarray:
    """(H, W, 3), from a ray in every 16th place and cubic splines: right to a thousandth of a pixel."""
    rows, columns = ((np.arange(FINE * size) + 0.5) / FINE - 0.5 for size in (eye.height_px, eye.width_px))
    coarse = [np.linspace(each[0], each[-1], len(each) // _EVERY + 1) for each in (rows, columns)]
    v, u = np.meshgrid(*coarse, indexing="ij")
    known = eye.look(np.column_stack([u.ravel(), v.ravel()])).reshape(*u.shape, 3)
    return np.stack([RectBivariateSpline(*coarse, known[..., axis])(rows, columns) for axis in range(3)], -1)


@lru_cache(maxsize=4)
def _dry_parts(eye: Eye, covered: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Table, rim and its marks; and what is seen between the rim's inner edges."""
    rays = _rays(eye)
    table = _on(eye, rays, TABLE_MM)
    level = 95 + 10 * np.sin(table[..., 0] / 17) * np.sin(table[..., 1] / 23)
    rim = _on(eye, rays, RIM_MM)
    _lay(level, _within(rim, RIM_WIDE_MM), 200.0 + 6 * np.sin(rim[..., 0] / 7) * np.sin(rim[..., 1] / 5))
    for number, (x, y) in RIM_MARKS.items():
        if number in covered:
            _lay(level, _disc(rim, (x, y), 45.0), 130.0)
        else:
            _lay_mark(level, rim, number, (x, y))
    return level, _within(rim, 0.0)


def _on(eye: Eye, rays: np.ndarray, z_mm: float) -> np.ndarray:
    return eye.place_mm[:2] + (z_mm - eye.place_mm[2]) / rays[..., 2:] * rays[..., :2]


def _floor(eye: Eye, rays: np.ndarray, scene: Scene) -> np.ndarray:
    if scene.depth_mm is None:
        return _on(eye, rays, -DEPTH_MM)
    water_z = scene.depth_mm - DEPTH_MM
    over = eye.place_mm - [0, 0, water_z]
    surface = _on(eye, rays, water_z)
    return floor_under(surface.reshape(-1, 2), eye_mm=over, depth_mm=scene.depth_mm).reshape(surface.shape)


def _floor_levels(floor: np.ndarray, scene: Scene) -> np.ndarray:
    level = np.full(floor.shape[:-1], 170.0)
    if scene.texture:
        level += 5 * np.sin(floor[..., 0] / 11 + np.sin(floor[..., 1] / 19)) * np.sin(floor[..., 1] / 13)
    x, y = floor[..., 0] - GRID.first_mm[0], floor[..., 1] - GRID.first_mm[1]
    for at, step, count, along, length in (
        (x, GRID.step_x_mm, GRID.columns, y, GRID.step_y_mm * (GRID.rows - 1)),
        (y, GRID.step_y_mm, GRID.rows, x, GRID.step_x_mm * (GRID.columns - 1)),
    ):
        near = np.clip(np.rint(at / step), 0, count - 1) * step
        tape = (np.abs(at - near) < TAPE_MM / 2) & (along > -40) & (along < length + 40)
        level[tape] = 45.0
    return level


def _lay_mark(level: np.ndarray, rim: np.ndarray, number: int, at: tuple[float, float]) -> None:
    cells = tags.cells(number, tags.RIM_FAMILY)
    count = len(cells)
    cell_mm = MARK_MM / count
    offset = rim - np.array(at)
    # the print's upper edge points to +y
    column, row = offset[..., 0] / cell_mm + count / 2, count / 2 - offset[..., 1] / cell_mm
    paper = (np.abs(offset) < MARK_MM / 2 + 1.5 * cell_mm).all(-1)
    black = (column >= 0) & (row >= 0) & (column < count) & (row < count)
    level[paper] = 235.0
    inside = np.nonzero(black)
    level[inside] = np.where(cells[row[inside].astype(int), column[inside].astype(int)], 25.0, 235.0)


def _lay_board(level: np.ndarray, on: np.ndarray, scene: Scene, board: CharucoBoard) -> None:
    assert scene.board_at is not None
    square_px = 60
    texture = board.drawn(square_px=square_px)
    x, y, turn = scene.board_at
    c, s = math.cos(turn), math.sin(turn)
    away = on - [x, y]
    own = np.stack(
        [c * away[..., 0] + s * away[..., 1], s * away[..., 0] - c * away[..., 1]], -1
    )  # y goes down on paper
    px = own / (board.square_mm * scene.board_scale) * square_px
    middle = np.array([board.columns + 1, board.rows + 1]) * square_px / 2
    at = (px + middle - 0.5).astype(np.float32)
    shown = cv2.remap(texture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=0).astype(np.float64)
    paper = (
        (at[..., 0] > 0) & (at[..., 1] > 0) & (at[..., 0] < texture.shape[1] - 1) & (at[..., 1] < texture.shape[0] - 1)
    )
    _lay(level, paper, 25 + 0.82 * shown)


def _within(points: np.ndarray, wider_mm: float) -> np.ndarray:
    x, y = points[..., 0], points[..., 1]
    return np.minimum(np.minimum(x, LENGTH_MM - x), WIDTH_MM / 2 - np.abs(y)) > -wider_mm


def _disc(points: np.ndarray, at: tuple[float, float], radius_mm: float) -> np.ndarray:
    return np.hypot(points[..., 0] - at[0], points[..., 1] - at[1]) < radius_mm


def _lay(level: np.ndarray, where: np.ndarray, what: np.ndarray | float) -> None:
    level[where] = what[where] if isinstance(what, np.ndarray) else what
