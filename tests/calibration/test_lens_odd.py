"""A picture that does not belong to the others is found, and what happened to it is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens_odd import part
from calibration.lens_solve import focal_scaled, solved_well
from calibration.lens_turned import half_turn, half_turned
from tests.bench.lens import simulated
from tests.calibration.board_views import USUAL, WIDE, shown


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_pictures_that_belong_together_stay_together(lens) -> None:
    views = shown(lens, np.random.default_rng(1), count=14)
    parted = part(views, place="photos")
    assert parted.views == views
    assert parted.odd == ()
    assert parted.doubts == ()


def test_another_focal_length_is_told_with_its_size() -> None:
    views = shown(USUAL, np.random.default_rng(2), count=12)
    zoomed = shown(focal_scaled(USUAL, 1.3), np.random.default_rng(3), count=2)
    parted = part({**views, **{f"zoom {n}": v for n, v in zoomed.items()}}, place="photos")
    assert parted.views == views
    assert [one.name for one in parted.odd] == ["zoom view 1", "zoom view 2"]
    for one in parted.odd:
        factor = float(one.reason.split("focal length ")[1].split(" times")[0])
        assert factor == pytest.approx(1.3, abs=0.06)
        assert "another camera, zoom or focus" in one.reason


def test_a_picture_upside_down_is_told() -> None:
    views = shown(USUAL, np.random.default_rng(4), count=12)
    first = views["view 1"]
    views["view 1"] = replace(first, pixels=np.array([1279, 719]) - first.pixels)
    (odd,) = part(views, place="photos").odd
    assert (odd.name, odd.reason.split(":")[0]) == ("view 1", "it is turned upside down")


def test_several_upside_down_are_told_beside_one_of_another_zoom() -> None:
    views = shown(USUAL, np.random.default_rng(8), count=14)
    for name in ("view 3", "view 9"):
        views[name] = half_turn(views[name])
    zoomed = shown(focal_scaled(USUAL, 1.3), np.random.default_rng(9), count=1)
    parted = part({"zoom": zoomed["view 1"], **views}, place="photos")
    assert [(one.name, one.reason.split(":")[0]) for one in parted.odd][1:] == [
        ("view 3", "it is turned upside down"), ("view 9", "it is turned upside down"),
    ]  # fmt: skip
    assert "focal length" in parted.odd[0].reason


def test_pictures_that_do_not_say_how_they_lie_are_told_beside_those_that_do() -> None:
    """A board far away, in the middle, head on: it says next to nothing of the optical centre."""
    views = shown(USUAL, np.random.default_rng(10), count=12)
    far = shown(USUAL, np.random.default_rng(11), count=1, away_mm=(1200.0, 1300.0), most_tilt_rad=0.02, within=0.05)
    views["view 3"] = half_turn(views["view 3"])
    parted = part({**views, "far": far["view 1"]}, place="photos")
    assert [one.name for one in parted.odd] == ["view 3"]
    (doubt,) = parted.doubts
    assert "whether far" in doubt or ", far" in doubt
    assert "cannot be told from the corners" in doubt


def test_what_a_wide_lens_leaves_over_under_a_usual_one_is_not_taken_for_turned_pictures() -> None:
    """Seen: a fisheye that a usual lens fits to 0.4 px, good enough to be believed at first."""
    rng = np.random.default_rng((7, 21))
    rng.normal(0, 1, 4)
    centred = replace(WIDE, cx_px=639.5, cy_px=359.5)
    views = simulated(centred, rng, "pictures", count=10)
    usual = solved_well(views)
    assert usual is not None
    assert usual.lens.model == "brown"
    assert half_turned(views, usual).is_sure
    assert part(views, place="photos").odd == ()


def test_mistaken_corners_fit_no_lens() -> None:
    views = shown(USUAL, np.random.default_rng(5), count=12)
    first = views["view 2"]
    bow = 0.00004 * (first.pixels - first.pixels.mean(0)) ** 2
    views["view 2"] = replace(
        first, pixels=first.pixels + bow * [1, -1] + np.random.default_rng(1).normal(0, 1, bow.shape)
    )
    parted = part(views, place="photos")
    (odd,) = parted.odd
    assert odd.name == "view 2"
    assert odd.reason.startswith("its corners fit no lens")
    assert odd.rms_px > 0.5
    assert "view 2" not in parted.views


def test_two_cameras_half_and_half_are_refused() -> None:
    views = shown(USUAL, np.random.default_rng(6), count=7)
    others = shown(focal_scaled(USUAL, 0.75), np.random.default_rng(7), count=6)
    with pytest.raises(
        CalibrationError, match=r"photos: [5-7] of 13 pictures do not belong to the others .*one camera"
    ):
        part({**views, **{f"other {n}": v for n, v in others.items()}}, place="photos")
