"""Invented calibrations of a water plane, with everything wrong by as much as it may be: the truth is known exactly.

The tank is seen by the simulator's camera and the simulator's own law of refraction, which share no code with what
measures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.board import BoardSeen
from calibration.floor import DepthReading, floor_from
from calibration.lens import LENS_PARAMETERS, Lens, moved_lens
from calibration.plane import TAPE_RATIO, Afloat, PlacedMark, Seen, board_seen, floor_seen, plane_from, rim_seen
from calibration.plane_fit import PlaneFit
from calibration.targets import PLANE_BOARD
from logger.simulator.eye import Eye, looking_down
from logger.simulator.snell import surface_above

LENGTH_MM, WIDTH_MM = 1500.0, 500.0
AREA_MM = np.array([[0, -250], [LENGTH_MM, -250], [LENGTH_MM, 250], [0, 250]], np.float64)
PLACES_MM = np.array([[x, y] for x in np.linspace(0, LENGTH_MM, 9) for y in (-250, -125, 0, 125, 250)], np.float64)
WAYS = (
    "rim", "floor dry", "floor through water", "floor dry and filled", "floor dry and filled, depth at 3 places",
    "board, corners pointed at", "board, printed rim marks",
)  # fmt: skip
LENS_COVARIANCE = np.diag([0.8, 0.8, 1.0, 1.0, 1.5e-3, 2e-3, 1e-4, 1e-4, 0.0]) ** 2
DEPTH_MM, U_DEPTH_MM = 100.0, 2.0
RIM_MM, U_LEVEL_MM, U_MARK_MM, U_PX = 45.0, 1.0, 1.0, 0.25
RIM_XY = ((0, -265), (750, -265), (1500, -265), (1500, 265), (750, 265), (0, 265))


@dataclass(frozen=True, slots=True, eq=False)
class Tank:
    """One tank and its camera, and what its lens was calibrated to."""

    eye: Eye
    lens: Lens

    def through_water(self, points_mm: np.ndarray) -> np.ndarray:
        """Pixels of points (N, 3) under water."""
        seen = points_mm.copy()
        seen[:, :2] = surface_above(points_mm[:, :2], eye_mm=self.eye.place_mm, depth_mm=-points_mm[:, 2])
        seen[:, 2] = 0
        return self.eye.see(seen)


def tank(rng: np.random.Generator, *, tilt_deg: float = 8.0, k1: float = -0.2) -> Tank:
    """A camera 1.3 m above the water, tilted by up to `tilt_deg`, its k1 anything down to `k1`."""
    lean, towards, turn = rng.uniform(0, math.radians(tilt_deg)), rng.uniform(0, 2 * np.pi), rng.uniform(-0.1, 0.1)
    rotation = looking_down(tilt_x_rad=lean * math.cos(towards), tilt_y_rad=lean * math.sin(towards), turn_rad=turn)
    height = rng.uniform(1250, 1450)
    middle = np.array([LENGTH_MM / 2 + rng.uniform(-30, 30), rng.uniform(-30, 30), 0.0])
    axis = rotation[2]
    place = middle + axis * (height / axis[2])
    bend = rng.uniform(k1, 0)
    eye = Eye(1280, 720, 850.0, 640 + rng.normal(0, 5), 360 + rng.normal(0, 5), (bend, -0.2 * bend, 0.0),
              (rng.normal(0, 3e-4), rng.normal(0, 3e-4)), rotation, place)  # fmt: skip
    true = Lens(1280, 720, eye.f_px, eye.f_px, eye.cx_px, eye.cy_px, bend, -0.2 * bend, *eye.tangential)
    return Tank(eye, moved_lens(true, rng.multivariate_normal(np.zeros(len(LENS_PARAMETERS)), LENS_COVARIANCE)))


def noisy(pixels: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return pixels + rng.normal(0, U_PX, pixels.shape)


def taped(said: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Where points (N, 3) are that a tape says to be there: it is a little too long or too short."""
    true = said.copy()
    true[:, :2] *= 1 + rng.normal(0, TAPE_RATIO)
    return true


def rim(one: Tank, rng: np.random.Generator) -> Seen:
    """Six marks on the rim; each placed a little off, and the water not quite where it was measured."""
    said = np.array([[x, y, RIM_MM] for x, y in RIM_XY])
    true = taped(said, rng) + rng.normal(0, U_MARK_MM, said.shape) - [0, 0, rng.normal(0, U_LEVEL_MM)]
    found = dict(enumerate(noisy(one.eye.see(true), rng)))
    marks = [PlacedMark(str(n), *place) for n, place in enumerate(said.tolist())]
    return rim_seen(marks, found, u_level_mm=U_LEVEL_MM, u_mark_mm=U_MARK_MM)


def floor(one: Tank, rng: np.random.Generator, *, dry: bool, filled: bool, readings_count: int = 1) -> Seen:
    """A grid of 5 x 3 crossings on a floor that is not quite level, under water not quite as deep as it was read."""
    grid = np.array([[x, y] for y in (-180, 0, 180) for x in (75, 412, 750, 1088, 1425)], np.float64)
    slope = rng.normal(0, 3e-3, 2)
    middle = np.array([750.0, 0.0])
    at = [None] if readings_count == 1 else [(100.0, -200.0), (1400.0, -200.0), (750.0, 200.0)]
    depth = DEPTH_MM + (grid - middle) @ slope
    readings = []
    for p in at:
        true_depth = DEPTH_MM + (0 if p is None else float((np.array(p) - middle) @ slope))
        readings.append(DepthReading(true_depth + rng.normal(0, U_DEPTH_MM), p))
    true = taped(np.column_stack([grid, -depth]), rng) + rng.normal(0, U_MARK_MM, (len(grid), 3))
    said = floor_from(readings, u_mm=U_DEPTH_MM, about_mm=middle)
    return floor_seen(
        grid, [str(n) for n in range(len(grid))], said, u_px=U_PX, u_mark_mm=U_MARK_MM,
        dry_px=noisy(one.eye.see(true), rng) if dry else None,
        filled_px=noisy(one.through_water(true), rng) if filled else None,
    )  # fmt: skip


def board(one: Tank, rng: np.random.Generator, *, count: int = 5, printed: bool = False) -> Seen:
    """The printed board in `count` places, neither quite level nor quite flat, and marks: those of the rim, or the
    tank's corners pointed at."""
    known, corners = Afloat(), PLANE_BOARD
    x, y = np.meshgrid(np.arange(corners.columns - 1), np.arange(corners.rows - 1))
    flat = np.column_stack([x.ravel(), y.ravel()]) * corners.square_mm
    off = (flat - flat.mean(0)) * [1, -1]
    scale = 1 + rng.normal(0, known.u_scale_ratio)
    lean = rng.normal(0, math.radians(known.u_tilt_deg), 2)
    bow = rng.normal(0, known.u_bow_mm) * (1 - (off**2).sum(1) / np.abs(off).max() ** 2)
    z = known.height_mm + rng.normal(0, known.u_height_mm) + off @ lean + bow + rng.normal(0, 0.1, len(flat))
    pictures = []
    for _ in range(count):
        turn, place = rng.uniform(0, 2 * np.pi), rng.uniform([120, -150], [LENGTH_MM - 120, 150])
        c, s = math.cos(turn), math.sin(turn)
        there = np.column_stack([off * scale @ np.array([[c, s], [-s, c]]) + place, z])
        pictures.append(BoardSeen(np.column_stack([flat, 0 * z]), noisy(one.eye.see(there), rng), 1280, 720))
    if printed:
        return board_seen(pictures, known, rim(one, rng))
    said = np.array([[0, -250, RIM_MM], [0, 250, RIM_MM], [LENGTH_MM, -250, RIM_MM], [LENGTH_MM, 250, RIM_MM]])
    true = taped(said, rng) + rng.normal(0, U_MARK_MM, said.shape) - [0, 0, rng.normal(0, U_LEVEL_MM)]
    pointed = one.eye.see(true) + rng.normal(0, 1.0, (4, 2))
    marks = [
        PlacedMark(f"corner {n}", *place, pixel=(float(u), float(v)))
        for n, (place, (u, v)) in enumerate(zip(said.tolist(), pointed, strict=True))
    ]
    return board_seen(pictures, known, rim_seen(marks, {}, u_level_mm=U_LEVEL_MM, u_mark_mm=U_MARK_MM))


def seen(way: str, one: Tank, rng: np.random.Generator) -> Seen:
    """What one of WAYS sees of the tank."""
    if way == "rim":
        return rim(one, rng)
    if way.startswith("board"):
        return board(one, rng, printed="printed" in way)
    count = 3 if "3 places" in way else 1
    return floor(one, rng, dry="dry" in way, filled=way != "floor dry", readings_count=count)


def calibrated(way: str, one: Tank, rng: np.random.Generator) -> PlaneFit:
    """The plane as it comes out."""
    return plane_from(seen(way, one, rng), one.lens, LENS_COVARIANCE)


def errors_mm(fit: PlaneFit, one: Tank) -> tuple[np.ndarray, np.ndarray]:
    """At PLACES_MM: by how much (N, 2) each would be measured beside its true place, and u (N, 2) of that."""
    pixels = one.eye.see(np.column_stack([PLACES_MM, np.zeros(len(PLACES_MM))]))
    off = fit.view.to_plane(pixels) - PLACES_MM
    shifts = np.array(list(fit.view.shifts_mm(pixels).values()))
    return off, np.sqrt((shifts**2).sum(0))
