"""Light through water: the refractive index, and where things appear that are not on the surface."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from iapws import IAPWS95
from iapws._iapws import _Refractive

from calibration import refraction
from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.simulator import snell

AIR_INDEX = 1.000272
"""Of air at 20 °C, 101.325 kPa, 589.3 nm (Ciddor 1996; from memory)."""
HEIGHT_MM, DEPTH_MM = 1200.0, 100.0
FACING_DOWN = np.diag([1.0, -1.0, -1.0])
VIEW = View(Lens(1280, 720, 900.0, 900.0, 639.5, 359.5), Pose.at(FACING_DOWN, camera_mm=(0.0, 0.0, HEIGHT_MM)))


def outward_of_height(height_mm: float) -> float:
    """How far outward a point at r = 300 mm above the water seems to stand when it is taken to be on the water."""
    pixels = VIEW.to_pixels([[300.0, 0.0, height_mm]])
    return float(VIEW.to_plane(pixels)[0, 0]) - 300.0


CAMERA_MM = np.array([0.0, 0.0, HEIGHT_MM])


def inward_of_floor(r_mm: float) -> float:
    """How far inward a mark on the floor seems to lie when it is taken to be on the water."""
    seen = refraction.seen_on_water([[r_mm, 0.0]], camera_mm=CAMERA_MM, depth_mm=DEPTH_MM)
    return r_mm - float(seen[0, 0])


def outward_of_boat(r_mm: float) -> float:
    """How far outward a boat is read on a plane that was fitted to a grid on the wet floor."""
    floor = refraction.floor_under([[r_mm, 0.0]], camera_mm=CAMERA_MM, depth_mm=DEPTH_MM)
    return float(floor[0, 0]) - r_mm


CALLS: dict[str, Callable[[], float]] = {
    "water.n_air_20C": lambda: refraction.WATER_INDEX,
    "refraction.shift_r0.1": lambda: inward_of_floor(100),
    "refraction.shift_r0.2": lambda: inward_of_floor(200),
    "refraction.shift_r0.3": lambda: inward_of_floor(300),
    "refraction.shift_r0.4": lambda: inward_of_floor(400),
    "refraction.shift_r0.5": lambda: inward_of_floor(500),
    "refraction.shift_r0.6": lambda: inward_of_floor(600),
    "refraction.boat_reads_r0.1": lambda: outward_of_boat(100),
    "refraction.boat_reads_r0.3": lambda: outward_of_boat(300),
    "refraction.boat_reads_r0.6": lambda: outward_of_boat(600),
    "parallax.h10mm_r0.3": lambda: outward_of_height(10),
    "parallax.h20mm_r0.3": lambda: outward_of_height(20),
    "parallax.h30mm_r0.3": lambda: outward_of_height(30),
    "parallax.h50mm_r0.3": lambda: outward_of_height(50),
}


@pytest.mark.parametrize("name", CALLS)
def test_light_and_water_come_out_as_published(name: str, agrees: Callable[[str, float], None]) -> None:
    agrees(name, CALLS[name]())


def test_the_index_of_water_is_that_of_the_iapws_formulation() -> None:
    """IAPWS R9-97 and R6-95, as the package `iapws` computes them, against air."""
    water = IAPWS95(T=293.15, P=0.101325)
    against_air = _Refractive(water.rho, 293.15, 0.5893) / AIR_INDEX
    assert pytest.approx(against_air, abs=1e-5) == refraction.WATER_INDEX
    assert pytest.approx(against_air, abs=1e-5) == snell.INDEX


@pytest.mark.parametrize("height_mm", [10.0, 20.0, 30.0, 50.0])
def test_a_known_height_takes_the_parallax_away(height_mm: float) -> None:
    pixels = VIEW.to_pixels([[300.0, -120.0, height_mm]])
    assert VIEW.to_plane(pixels, z_mm=height_mm) == pytest.approx(np.array([[300.0, -120.0]]), abs=1e-6)


@pytest.mark.parametrize("r_mm", [100.0, 200.0, 300.0, 400.0, 500.0, 600.0])
def test_the_simulator_s_own_water_bends_light_as_published(r_mm: float, published: dict[str, Any]) -> None:
    """It shares no code with what measures, so both are held against the same table."""
    row = published[f"refraction.shift_r{r_mm / 1000:.1f}"]
    seen = snell.surface_above([[r_mm, 0.0]], eye_mm=CAMERA_MM, depth_mm=DEPTH_MM)
    assert r_mm - float(seen[0, 0]) == pytest.approx(row.value, abs=row.tolerance)
