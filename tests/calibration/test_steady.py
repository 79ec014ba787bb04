from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.lens import Lens
from calibration.steady import Moved, landmarks, moved, still, verdict
from calibration.waterplane import Pose, View
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene as TrueScene
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes
from tests.calibration.tank_picture import (
    HEIGHT_PX,
    PLACES_MM,
    POSE,
    VIEW,
    WATER_MM,
    WIDTH_PX,
    Scene,
    picture,
    true_shifts_mm,
)

KEPT = landmarks(picture(POSE, Scene(seed=9999)), VIEW, water_mm=WATER_MM)


def seen(now: np.ndarray) -> Moved:
    found = moved(KEPT, now, PLACES_MM)
    assert isinstance(found, Moved), found
    return found


def test_a_camera_that_stands_still_is_steady_in_any_light() -> None:
    for scene in (
        Scene(seed=1),
        Scene(seed=2, gain=0.5),
        Scene(seed=3, slope=0.5),
        Scene(seed=4, boat_mm=(300.0, 40.0)),
    ):
        found = seen(picture(POSE, scene))
        assert found.shift_mm < 0.15
        assert verdict(found, 1.0) == "steady"


def test_the_stated_doubt_holds_the_truth() -> None:
    """Knocks of about a millimetre, with boats, other light and ripples: 2 u must hold the truth 90 times of 100."""
    rng, ratios = np.random.default_rng(3), []
    for seed in range(16):
        pose = POSE.moved(rng.normal(0, 6e-4, 3), rng.normal(0, 0.6, 3))
        scene = Scene(
            seed=seed, gain=rng.uniform(0.7, 1.15), slope=rng.uniform(-0.3, 0.3),
            boat_mm=(rng.uniform(100, 900), rng.uniform(-150, 150)), ripple_mm=float(rng.choice([0.0, 1.5])),
        )  # fmt: skip
        found = seen(picture(pose, scene))
        u_mm = np.sqrt(np.diagonal(found.covariance_mm2, axis1=1, axis2=2))
        ratios.append((found.shifts_mm - true_shifts_mm(pose)) / u_mm)
    assert np.mean(np.abs(ratios) < 2) >= 0.9
    # and it is no excuse: a doubt three times too wide would show as a third here
    assert np.sqrt(np.mean(np.square(ratios))) > 0.35


@pytest.mark.parametrize(
    ("turn_rad", "shift_mm"), [((0.02, -0.015, 0.0), (0, 0, 0)), ((0, 0, 0.03), (0, 0, 0)), ((0, 0, 0), (40, -25, 10))]
)
def test_a_hard_knock_is_found_too(turn_rad: tuple[float, ...], shift_mm: tuple[float, ...]) -> None:
    pose = POSE.moved(turn_rad, shift_mm)
    found = seen(picture(pose, Scene(seed=5)))
    true_mm = np.linalg.norm(true_shifts_mm(pose), axis=1).max()
    assert true_mm > 12
    assert abs(found.shift_mm - true_mm) < 2 * found.u_mm
    assert np.sum(found.shifts_mm * true_shifts_mm(pose)) > 0, "in the direction in which things seem to have moved"
    assert verdict(found, 5.0) == "moved"


def a_tank(seed: int) -> TrueScene:
    sizes = {"tank_back_mm": 300.0, "tank_length_mm": 1500.0, "tank_width_mm": 620.0, "water_depth_mm": 90.0}
    asked = wishes({"tank_seed": 101, "floor": "grey liner", "floor_pattern": "tiles", **sizes})
    return replace(draw(tier="realistic", kind="straight", seed=seed, asked=asked), bump=None)


def photographed(scene: TrueScene, number: int) -> np.ndarray:
    packed = cv2.imencode(".jpg", Painter(scene).frame(number), (cv2.IMWRITE_JPEG_QUALITY, 85))[1]
    return cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE)


def test_the_simulated_tank_with_its_own_camera_agrees() -> None:
    """The simulator knows rim, refraction, ripples, hands and another boat, and shares no code with what measures."""
    scene, later = a_tank(2001), a_tank(3001)
    eye = scene.eye
    lens = Lens(
        eye.width_px, eye.height_px, eye.f_px, eye.f_px, eye.cx_px, eye.cy_px, *eye.radial[:2], *eye.tangential,
        eye.radial[2],
    )  # fmt: skip
    view = View(lens, Pose.at(eye.rotation, camera_mm=eye.place_mm))
    places = np.array([[line.place_mm, y] for line in scene.lines for y in (-250.0, 0.0, 250.0)])
    kept = landmarks(photographed(scene, 0), view, water_mm=scene.basin.outline_mm)
    knocked = view.pose.moved([0.0004, -0.0007, 0.0003], [0.4, -0.3, 0.2])
    now_eye = replace(eye, rotation=knocked.rotation, place_mm=knocked.camera_mm)
    found = moved(kept, photographed(replace(later, eye=now_eye), 40), places)
    assert isinstance(found, Moved), found
    true_mm = eye.on_plane(now_eye.see(np.column_stack([places, np.zeros(len(places))])), z_mm=0.0) - places
    assert np.linalg.norm(true_mm, axis=1).max() > 0.5
    u_mm = np.sqrt(np.diagonal(found.covariance_mm2, axis1=1, axis2=2))
    assert np.abs((found.shifts_mm - true_mm) / u_mm).max() < 3
    assert np.abs(found.shifts_mm - true_mm).max() < 0.12


def test_a_bare_picture_is_not_guessed_from() -> None:
    bare = landmarks(np.full((HEIGHT_PX, WIDTH_PX), 128, np.uint8), VIEW)
    why = moved(bare, picture(POSE), PLACES_MM)
    assert why == "the kept picture shows only 0 edges or corners to hold on to"


def test_another_picture_is_not_guessed_from() -> None:
    other = cv2.GaussianBlur(np.random.default_rng(1).integers(0, 255, (HEIGHT_PX, WIDTH_PX), np.uint8), (0, 0), 2)
    why = moved(KEPT, other, PLACES_MM)
    assert isinstance(why, str)
    assert "found again" in why


def test_pieces_in_one_corner_do_not_speak_for_the_whole_tank() -> None:
    """Nothing but one rich corner is left to see: too little to say what happened at the other end."""
    covered = picture(POSE, Scene(seed=6)).copy()
    covered[:, 100:] = 128
    covered[120:] = 128
    found = moved(landmarks(covered, VIEW), covered, PLACES_MM)
    assert isinstance(found, str)


def test_pictures_of_another_size_are_refused() -> None:
    with pytest.raises(ValueError, match="found shape"):
        landmarks(np.zeros((10, 20), np.uint8), VIEW)
    with pytest.raises(ValueError, match="found shape"):
        moved(KEPT, np.zeros((HEIGHT_PX, WIDTH_PX, 3), np.uint8), PLACES_MM)


def test_several_pictures_make_one_without_what_passes_by() -> None:
    boats = [picture(POSE, Scene(boat_mm=(200.0 + 300 * n, 0.0), noise_levels=0.0)) for n in range(3)]
    empty = picture(POSE, Scene(noise_levels=0.0))
    assert np.abs(still(boats).astype(int) - empty).max() < 30
    assert np.abs(boats[1].astype(int) - empty).max() > 60


def shifted(shift_mm: float, u_mm: float) -> Moved:
    places = np.zeros((2, 2))
    shifts = np.array([[0.0, 0.0], [0.0, shift_mm]])
    return Moved(places, shifts, np.tile(np.eye(2) * u_mm**2, (2, 1, 1)), 100)


@pytest.mark.parametrize(
    ("shift_mm", "u_mm", "told"),
    [
        (0.0, 0.1, "steady"),
        (0.7, 0.1, "steady"),
        (0.9, 0.1, "perhaps"),
        (1.1, 0.1, "perhaps"),
        (1.3, 0.1, "moved"),
        (0.5, 0.6, "cannot tell"),
        (9.0, 0.6, "moved"),
    ],
)
def test_the_verdict_keeps_to_what_is_sure(shift_mm: float, u_mm: float, told: str) -> None:
    assert verdict(shifted(shift_mm, u_mm), 1.0) == told


def test_the_worst_place_speaks() -> None:
    found = shifted(3.0, 0.2)
    assert (found.worst_index, found.shift_mm, found.u_mm) == (1, 3.0, pytest.approx(0.2))
