"""From a heap of pictures: the good ones are taken, and every other one has its reason."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.board import CharucoBoard
from calibration.lens_sift import Sifted, sift
from calibration.targets import LENS_BOARD, PLANE_BOARD
from tests.calibration.board_views import SMALL, painted_at, placed, seen_at


def pictured(turn: tuple[float, float, float], u: float, *, away_mm: float = 280.0, **how: object) -> np.ndarray:
    place = placed(SMALL, np.array(turn), np.array([u, 180.0]), away_mm)
    assert place is not None
    return painted_at(SMALL, place, **how)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def heap() -> dict[str, np.ndarray]:
    good = pictured((0.3, 0.1, 0.0), 300.0)
    return {
        "good": good,
        "other": pictured((-0.3, 0.3, 0.0), 360.0),
        "same": pictured((0.3, 0.1, 0.0), 301.0, blur_px=0.9),
        "smeared": pictured((0.2, 0.2, 0.1), 320.0, blur_px=2.4, away_mm=200.0),
        "bright": np.clip(good.astype(float) * 1.7, 0, 255).astype(np.uint8),
        "mirrored": np.ascontiguousarray(good[:, ::-1]),
        "empty": np.full((360, 640), 120, np.uint8),
        "white": np.full((360, 640), 255, np.uint8),
        "floating": pictured((0.3, 0.1, 0.0), 300.0, board=PLANE_BOARD),
    }


@pytest.fixture(scope="module")
def found(heap: dict[str, np.ndarray]) -> Sifted:
    return sift(heap.items(), LENS_BOARD, keep_pictures=True)


def test_good_and_unlike_pictures_are_taken_and_kept(found: Sifted, heap: dict[str, np.ndarray]) -> None:
    assert list(found.views) == ["good", "other"]
    assert list(found.pictures) == list(found.qualities) == ["good", "other"]
    np.testing.assert_array_equal(found.pictures["good"], heap["good"])
    place = placed(SMALL, np.array([0.3, 0.1, 0.0]), np.array([300.0, 180.0]), 280.0)
    assert place is not None
    true = seen_at(SMALL, place)
    assert true is not None
    assert np.abs(found.views["good"].pixels - true.pixels).max() < 0.5


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("same", "much the same as good"),
        ("smeared", "blurred: its edges are"),
        ("bright", "overexposed"),
        ("mirrored", "it is mirrored"),
        ("empty", "no board found"),
        ("white", "most of the picture is cut off to white"),
        ("floating", "that is the board for the water plane"),
    ],
)
def test_every_other_picture_has_its_reason(found: Sifted, name: str, reason: str) -> None:
    assert reason in found.left_out[name]


def test_colour_pictures_and_pictures_of_another_size_are_not_lost(heap: dict[str, np.ndarray]) -> None:
    large = cv2.resize(heap["good"], None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    found = sift([("good", cv2.cvtColor(heap["good"], cv2.COLOR_GRAY2BGR)), ("large", large)], LENS_BOARD)
    assert sorted(found.views) == ["good", "large"]
    assert found.pictures == {}


def test_a_board_of_another_make_is_not_ours(heap: dict[str, np.ndarray]) -> None:
    other = pictured((0.3, 0.1, 0.0), 300.0, board=CharucoBoard(7, 8, 24.0, 17.0, tuple(range(100, 128))))
    assert "no board found" in sift([("other", other)], LENS_BOARD).left_out["other"]
