"""A picture that does not belong to the others is found, and what happened to it is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens_odd import part
from calibration.lens_solve import focal_scaled
from tests.calibration.board_views import USUAL, WIDE, shown


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_pictures_that_belong_together_stay_together(lens) -> None:
    views = shown(lens, np.random.default_rng(1), count=14)
    kept, odd = part(views, place="photos")
    assert kept == views
    assert odd == ()


def test_another_focal_length_is_told_with_its_size() -> None:
    views = shown(USUAL, np.random.default_rng(2), count=12)
    zoomed = shown(focal_scaled(USUAL, 1.3), np.random.default_rng(3), count=2)
    kept, odd = part({**views, **{f"zoom {n}": v for n, v in zoomed.items()}}, place="photos")
    assert kept == views
    assert [one.name for one in odd] == ["zoom view 1", "zoom view 2"]
    for one in odd:
        factor = float(one.reason.split("focal length ")[1].split(" times")[0])
        assert factor == pytest.approx(1.3, abs=0.06)
        assert "another camera, zoom or focus" in one.reason


def test_a_picture_upside_down_is_told() -> None:
    views = shown(USUAL, np.random.default_rng(4), count=12)
    first = views["view 1"]
    views["view 1"] = replace(first, pixels=np.array([1279, 719]) - first.pixels)
    _, (odd,) = part(views, place="photos")
    assert (odd.name, odd.reason.split(":")[0]) == ("view 1", "it is turned upside down")


def test_mistaken_corners_fit_no_lens() -> None:
    views = shown(USUAL, np.random.default_rng(5), count=12)
    first = views["view 2"]
    bow = 0.00004 * (first.pixels - first.pixels.mean(0)) ** 2
    views["view 2"] = replace(
        first, pixels=first.pixels + bow * [1, -1] + np.random.default_rng(1).normal(0, 1, bow.shape)
    )
    kept, (odd,) = part(views, place="photos")
    assert odd.name == "view 2"
    assert odd.reason.startswith("its corners fit no lens")
    assert odd.rms_px > 0.5
    assert "view 2" not in kept


def test_two_cameras_half_and_half_are_refused() -> None:
    views = shown(USUAL, np.random.default_rng(6), count=7)
    others = shown(focal_scaled(USUAL, 0.75), np.random.default_rng(7), count=6)
    with pytest.raises(
        CalibrationError, match=r"photos: [5-7] of 13 pictures do not belong to the others .*one camera"
    ):
        part({**views, **{f"other {n}": v for n, v in others.items()}}, place="photos")
