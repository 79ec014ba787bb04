"""Real cameras that stood still, and real pictures moved by whole pixels: has the camera moved?

Data: calibration/left (OpenCV, Apache-2.0), ant_dish (tracktorlive, GPL-3.0), mouse_openfield_labelled (DeepLabCut,
LGPL-3.0), river_water (pyorc, AGPL-3.0); see SOURCE.md there. Their cameras are not calibrated; a height and a focal
length are invented, so that 1 px is 1 mm.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.lens import Lens
from calibration.steady import Moved, landmarks, moved, verdict
from calibration.waterplane import Pose, View

Film = Callable[[], list[np.ndarray]]


def view_of(picture: np.ndarray) -> View:
    """A camera straight above the middle of the picture, one millimetre a pixel."""
    height, width = picture.shape
    lens = Lens(width, height, 1500.0, 1500.0, (width - 1) / 2, (height - 1) / 2)
    return View(lens, Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[0.0, 0.0, 1500.0]))


def places_of(picture: np.ndarray) -> np.ndarray:
    height, width = picture.shape
    return np.array([[x, y] for x in (-0.4 * width, 0.0, 0.4 * width) for y in (-0.4 * height, 0.4 * height)])


def frames(path: Path, numbers: list[int]) -> list[np.ndarray]:
    film, kept = cv2.VideoCapture(str(path)), []
    for number in range(max(numbers) + 1):
        good, picture = film.read()
        if good and number in numbers:
            kept.append(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY))
    film.release()
    return kept


@pytest.fixture(scope="session")
def films(real_data: Path) -> dict[str, list[np.ndarray]]:
    mice = sorted((real_data / "mouse_openfield_labelled" / "images").glob("*.png"))
    return {
        "ant": frames(real_data / "ant_dish" / "ant.mp4", [40, 300, 900, 1800]),
        "river": frames(real_data / "river_water" / "video_orig.gif", [0, 6, 12, 19]),
        "board": [cv2.imread(str(sorted((real_data / "calibration" / "left").glob("*.jpg"))[0]), cv2.IMREAD_GRAYSCALE)],
        "mouse": [cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) for path in (mice[0], mice[10], mice[20], mice[30])],
    }


@pytest.mark.parametrize("name", ["ant", "mouse"])
def test_a_real_camera_that_stood_still_is_never_said_to_have_moved(
    films: dict[str, list[np.ndarray]], name: str
) -> None:
    """Hardly any firm edges, a mouse, moving reflections: to say nothing is allowed, to say "moved" is not."""
    first, *later = films[name]
    kept = landmarks(first, view_of(first))
    told = []
    for picture in later:
        found = moved(kept, picture, places_of(picture))
        told.append("cannot tell" if isinstance(found, str) else verdict(found, 1.0))
        print(found if isinstance(found, str) else f"{name}: {found.shift_mm:.3f} px, u {found.u_mm:.3f}, {told[-1]}")
        if isinstance(found, Moved):
            assert found.shift_mm < 4 * found.u_mm
    assert "moved" not in told
    assert name == "ant" or "steady" in told


def test_a_drifting_camera_over_a_river_agrees_with_phase_correlation_of_the_bank(
    films: dict[str, list[np.ndarray]],
) -> None:
    """The judge is OpenCV's phase correlation of a piece of the stone bank, in whole another way of looking."""
    first, *later = films["river"]
    kept, bank = landmarks(first, view_of(first)), np.s_[0:56, 100:240]
    middle = np.array([[(170 - 239.5), -(28 - 134.5)]])
    window = cv2.createHanningWindow((140, 56), cv2.CV_32F)
    for picture in later:
        found = moved(kept, picture, middle)
        assert isinstance(found, Moved), found
        (across, down), _ = cv2.phaseCorrelate(first[bank].astype(np.float32), picture[bank].astype(np.float32), window)
        print(f"river: {found.shifts_mm[0].round(2)} px against {across:.2f}, {-down:.2f}; u {found.u_mm:.3f}")
        assert found.shifts_mm[0] == pytest.approx([across, -down], abs=0.25)


def halved(picture: np.ndarray, across_px: int = 0, down_px: int = 0) -> np.ndarray:
    """Cut at another whole pixel and made twice as small: moved by halves of a pixel, and nothing is interpolated."""
    rim = 16
    height, width = ((side - 2 * rim) // 2 * 2 for side in picture.shape)
    part = picture[rim + down_px : rim + down_px + height, rim + across_px : rim + across_px + width]
    return cv2.resize(part, (width // 2, height // 2), interpolation=cv2.INTER_AREA)


@pytest.mark.parametrize(("across_px", "down_px"), [(0, 0), (1, 0), (3, -2), (-5, 6), (15, 8)])
def test_a_real_picture_moved_by_halves_of_a_pixel_is_found_moved(
    films: dict[str, list[np.ndarray]], across_px: int, down_px: int
) -> None:
    (photo,) = films["board"]
    small = halved(photo)
    found = moved(landmarks(small, view_of(small)), halved(photo, across_px, down_px), np.zeros((1, 2)))
    assert isinstance(found, Moved), found
    # the cut goes right and down, so what is seen goes left and up; +y of the tank is up in the picture
    off_mm = found.shifts_mm[0] - np.array([-across_px / 2, down_px / 2])
    print(f"{across_px / 2}, {down_px / 2}: off by {off_mm.round(4)} px, {found.pieces_count} pieces")
    assert np.linalg.norm(off_mm) < 0.02


def test_a_bare_box_of_which_little_is_left_is_not_guessed_from(films: dict[str, list[np.ndarray]]) -> None:
    """Its side walls cut off, what remains are smudges, a cable and a reflection that moves."""
    first, second, *_ = films["mouse"]
    small = halved(first)
    assert isinstance(moved(landmarks(small, view_of(small)), halved(second), np.zeros((1, 2))), str)
