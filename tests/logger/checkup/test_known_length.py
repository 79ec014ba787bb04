from __future__ import annotations

import math
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.lens import Lens
from calibration.waterplane import Pose, View, rotation_matrix
from logger.checkup import known_length
from logger.config import Rig, Tank
from logger.errors import InputError

LENS = Lens(1280, 720, 940.0, 940.0, 639.5, 359.5)
DOWN = rotation_matrix([math.pi, 0, 0])
POSE = Pose.at(DOWN, camera_mm=(600.0, 0.0, 1200.0))
HIGHER = Pose.at(DOWN, camera_mm=(600.0, 0.0, 1202.0))
VIEW = View(LENS, POSE, {"height of the camera": (LENS, HIGHER)})
RIG = Rig("bath", Tank(((-100.0, -250.0), (1300.0, -250.0), (1300.0, 250.0), (-100.0, 250.0)), 100.0), ())
BLANK = np.full((720, 1280), 200, np.uint8)
HEIGHT_MM, SIDE_MM, APART_MM = 12.0, 60.0, 800.0


def batten(view: View = VIEW) -> np.ndarray:
    """A picture of marks 4 and 5, their middles 800 mm apart, 12 mm above the water, drawn by OpenCV's own maker."""
    picture = BLANK.copy()
    for number, x in ((4, 200.0), (5, 200.0 + APART_MM)):
        mark = cv2.aruco.generateImageMarker(tags.dictionary(tags.RIM_FAMILY), number, 300, borderBits=1)
        half = SIDE_MM / 2
        corners = [(x - half, half), (x + half, half), (x + half, -half), (x - half, -half)]
        pixels = view.to_pixels([[cx, cy, HEIGHT_MM] for cx, cy in corners]).astype(np.float32)
        square = np.array([[0, 0], [300, 0], [300, 300], [0, 300]], np.float32) - 0.5
        move = cv2.getPerspectiveTransform(square, pixels)
        cv2.warpPerspective(mark, move, (1280, 720), picture, cv2.INTER_AREA, cv2.BORDER_TRANSPARENT)
    return picture


def judged(view: View, *words: str, picture: np.ndarray = BLANK, rig: Rig = RIG) -> tuple[bool, str, str]:
    found = known_length.judged(view, rig, known_length.placed(known_length.given(*words), picture))
    return found.passed, " | ".join(found.found), found.cure


def ends(view: View = VIEW, *, z_mm: float = 0.0) -> list[str]:
    pixels = view.to_pixels([[100.0, 20.0, z_mm], [1100.0, 20.0, z_mm]])
    return [f"{u:.2f},{v:.2f}/{z_mm:g}" for u, v in pixels.tolist()]


def test_two_marks_on_a_batten_are_found_and_measured() -> None:
    passed, found, cure = judged(VIEW, "#4/12", "#5/12", "800±1", picture=batten())
    assert passed, found
    assert "by the calibration places are good to ± " in found
    assert "within what both allow" in found
    assert cure == ""


def test_points_that_somebody_pointed_at_do_as_well() -> None:
    assert judged(VIEW, *ends(), "1000")[0]


@pytest.mark.parametrize("share", [0.94, 0.97, 1.03])
def test_a_wrong_scale_fails(share: float) -> None:
    """As of a board printed at 97 %: the plane's whole scale is off, and no residual shows it."""
    low, high = (Pose.at(DOWN, camera_mm=(600.0, 0.0, z_mm * share)) for z_mm in (1200.0, 1202.0))
    wrong = View(LENS, low, {"height of the camera": (LENS, high)})
    passed, found, cure = judged(wrong, *ends(), "1000")
    assert not passed
    assert f"{share - 1:+.1%}: they do not agree" in found
    assert "calibrate the plane again" in cure


def test_the_ends_height_counts() -> None:
    """100 mm above the water, the lens at 1200 mm: taken to be on it, it is 1200/1100 as long (similar triangles)."""
    high = ends(z_mm=100.0)
    assert judged(VIEW, *high, "1000")[0]
    passed, found, _ = judged(VIEW, *(end.replace("/100", "/0") for end in high), "1000")
    assert not passed
    assert "+9.1%" in found


def test_a_calibration_that_is_not_good_enough_fails_however_well_the_length_agrees() -> None:
    loose = replace(VIEW, variations={"height": (LENS, Pose.at(DOWN, camera_mm=(600.0, 0.0, 1220.0)))})
    passed, found, cure = judged(loose, *ends(), "1000")
    assert not passed
    assert "± 5 mm allowed" in found
    assert "marks all round" in cure


def test_a_calibration_that_states_no_doubt_fails() -> None:
    passed, found, _ = judged(View(LENS, POSE), *ends(), "1000")
    assert not passed
    assert "does not say how well it is known" in found


def test_a_short_length_says_too_little() -> None:
    a, b = VIEW.to_pixels([[500.0, 0, 0], [600.0, 0, 0]]).tolist()
    passed, found, cure = judged(VIEW, f"{a[0]:.2f},{a[1]:.2f}", f"{b[0]:.2f},{b[1]:.2f}", "100")
    assert not passed
    assert "100 mm is short for a tank of 1400 mm" in found
    assert "longer" in cure


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("4/12", "#5/12", "800"), "found '4/12'; wanted a rim mark"),
        (("#4/12", "#5/12", "0"), "wanted a length in mm"),
        (("#4/12", "#5/15", "800"), "wanted both at one height"),
        (("#4/12", "#6/12", "800"), "mark 6 is not to be seen (seen: 4, 5)"),
        (("1300,100/0", "10,100/0", "800"), "is outside of the picture of 1280 x 720"),
        (("300,100/0", "300,100/0", "800"), "are not two points"),
    ],
)
def test_what_cannot_be_measured_is_refused(words: tuple[str, str, str], told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)):
        judged(VIEW, *words, picture=batten())
