"""Focus, light and level beside the kept view, each with its cure."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.checkup.picture_changes import (
    FOCUS,
    LEVEL,
    LIGHT,
    edge_width_ratio,
    findings,
    first_of_size,
    level_told,
)
from logger.drivers.interface import Finding
from tests.calibration.plane_picture import DEPTH_MM, OUTLINE_MM
from tests.calibration.test_level import VIEW, painted

PLACES = np.array([[0.0, 0.0], [1500.0, 200.0]])


def told(now: np.ndarray, *, allowed_mm: float = 2.5) -> dict[str, Finding]:
    found = findings(
        painted(DEPTH_MM), now, VIEW, water_mm=np.array(OUTLINE_MM), depth_mm=DEPTH_MM, places_mm=PLACES,
        allowed_mm=allowed_mm,
    )  # fmt: skip
    return {one.part: one for one in found}


def test_nothing_changed_is_well() -> None:
    found = told(painted(DEPTH_MM, 9))
    assert {part: one.health for part, one in found.items()} == {FOCUS: "well", LIGHT: "well", LEVEL: "well"}


def test_ten_mm_less_water_is_wrong_in_percent_and_mm_and_says_what_to_do() -> None:
    level = told(painted(90.0, 7, 1.1, slat=True))[LEVEL]
    assert level.health == "wrong"
    assert "lower than when it was calibrated (by the floor, 95 %): lengths come out 0.7" in level.found
    assert "% too short, places up to 6." in level.found
    assert level.cure.startswith("fill in 10 mm of water, to its mark, or calibrate the plane again")


def test_another_focus_is_noticed_both_ways() -> None:
    soft = cv2.GaussianBlur(painted(DEPTH_MM), (0, 0), 2.0)
    found = told(soft)[FOCUS]
    assert (found.health, found.found.endswith("softer than it was")) == ("doubtful", True)
    assert "calibrate lens and plane again: the scale goes with it" in found.cure
    back = findings(
        soft, painted(DEPTH_MM, 9), VIEW, water_mm=np.array(OUTLINE_MM), depth_mm=100, places_mm=PLACES, allowed_mm=9
    )
    assert next(iter(back)).found.endswith("sharper than it was")


def test_edges_widen_as_a_blur_says() -> None:
    """At most √(0.6² + 1.5²) / 0.6 for an edge drawn with 0.6 px; less, as pixels and the reading widen both."""
    ratio = edge_width_ratio(painted(DEPTH_MM), cv2.GaussianBlur(painted(DEPTH_MM, 9), (0, 0), 1.5))
    assert ratio is not None
    assert 1.4 < ratio < 2.7
    assert edge_width_ratio(painted(DEPTH_MM), painted(DEPTH_MM, 9, 1.1)) == pytest.approx(1, abs=0.05)
    assert edge_width_ratio(np.full((90, 90), 7, np.uint8), np.full((90, 90), 7, np.uint8)) is None


@pytest.mark.parametrize(("gain", "health"), [(1.15, "well"), (0.6, "doubtful")])
def test_another_exposure_is_noticed(gain: float, health: str) -> None:
    found = told(np.clip(painted(DEPTH_MM) * gain, 0, 255).astype(np.uint8))[LIGHT]
    assert found.health == health
    assert f"{gain:.2f} times as bright" in found.found
    assert ("the camera's delay holds for one exposure only" in found.cure) == (health == "doubtful")


def test_pictures_that_have_nothing_to_compare_say_so() -> None:
    found = told(np.full_like(painted(DEPTH_MM), 255))
    assert "cannot be compared" in found[LIGHT].found
    assert found[LEVEL].health == "doubtful"
    assert "boatrun check RIG --depth-mm" in found[LEVEL].cure


def test_a_ruler_tells_what_its_reading_means() -> None:
    low = level_told(VIEW, -10.0, 1.5, places_mm=PLACES, allowed_mm=1.0, told_by="by the ruler")
    assert low.health == "wrong"
    assert "10.0 ± 3.0 mm lower than when it was calibrated (by the ruler, 95 %)" in low.found
    high = level_told(VIEW, 4.0, 1.5, places_mm=PLACES, allowed_mm=1.0, told_by="by the ruler")
    assert (high.health, high.cure.split(",")[0]) == ("doubtful", "take out 4 mm of water")
    same = level_told(VIEW, 1.0, 1.5, places_mm=PLACES, allowed_mm=1.0, told_by="by the ruler")
    assert same.health == "doubtful"
    assert level_told(VIEW, 1.0, 1.5, places_mm=PLACES, allowed_mm=5.0, told_by="by the ruler").health == "well"


def test_the_oldest_view_of_the_size_is_taken(tmp_path: Path) -> None:
    small, large = tmp_path / "small.png", tmp_path / "large.png"
    cv2.imwrite(str(small), np.zeros((10, 10), np.uint8))
    cv2.imwrite(str(large), np.full((20, 30), 7, np.uint8))
    then = first_of_size([tmp_path / "gone.png", small, large], np.zeros((20, 30), np.uint8))
    assert then is not None
    assert then[0, 0] == 7
    assert first_of_size([small], np.zeros((20, 30), np.uint8)) is None
