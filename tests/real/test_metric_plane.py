"""A real plane whose measures are known: a chessboard of 30 mm squares, photographed askew with a bent lens.

Data: 13 photographs of the OpenCV sample data (left01 ... left14, Apache-2.0). The lens is not ours: it is the one that
the author of the photographs published for this camera (J.-Y. Bouguet, 14 views; ± is three standard deviations in his
table, here taken for the standard uncertainty to be on the safe side): fc 533.004 533.153 ± 1.08 1.11, cc 341.586
234.259, kc -0.28947 0.10326 0.00103 -0.00029. Ten corners about the border serve as marks; all others are measured.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.board import BoardSeen, Chessboard
from calibration.length_check import KnownLength, check_length
from calibration.lens import Lens
from calibration.plane import PlacedMark, plane_from, rim_seen
from calibration.plane_fit import PlaneFit
from calibration.plane_worth import u_places_mm

LENS = Lens(640, 480, 533.004, 533.153, 341.586, 234.259, -0.28947, 0.10326, 0.00103, -0.00029)
U_LENS = np.diag([1.08, 1.11, 1.3, 1.4, 2e-3, 8e-3, 3e-4, 3e-4, 0.0]) ** 2
BOARD = Chessboard(10, 7, 30.0)
COLUMNS, ROWS = 9, 6
MARKS = [0, 4, 8, 17, 35, 53, 49, 45, 36, 18]


@cache
def seen(path: Path) -> BoardSeen:
    found = BOARD.find(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))
    assert isinstance(found, BoardSeen)
    return found


def plane(found: BoardSeen) -> tuple[PlaneFit, np.ndarray]:
    """The plane of the board from ten of its corners, and the places of all, y to the left of x seen from above."""
    places = found.points_mm[:, :2] * [1, -1]
    marks = [PlacedMark(f"c{n}", *places[n].tolist(), pixel=tuple(found.pixels[n].tolist())) for n in MARKS]
    said = rim_seen(marks, {}, u_level_mm=0.0, u_mark_mm=0.15)
    return plane_from(said, LENS, U_LENS), places


def photographs(real_data: Path) -> list[Path]:
    photos = sorted((real_data / "calibration" / "left").glob("*.jpg"))
    assert len(photos) == 13
    return photos


def test_corners_lie_where_the_print_has_them_and_the_doubt_says_how_well(real_data: Path) -> None:
    off, held = [], []
    for path in photographs(real_data):
        fit, places = plane(seen(path))
        rest = np.setdiff1d(np.arange(len(places)), MARKS)
        away = fit.view.to_plane(seen(path).pixels[rest]) - places[rest]
        by_pixel = fit.view.plane_covariance(seen(path).pixels[rest], np.eye(2) * 0.3**2)
        u = np.sqrt(u_places_mm(fit.view, places[rest]) ** 2 + np.linalg.eigvalsh(by_pixel)[:, -1])
        off.append(np.linalg.norm(away, axis=1))
        held.append(off[-1] < 2 * u)
        assert fit.misfit < 2
    every = np.concatenate(off)
    assert np.sqrt(np.mean(every**2)) < 0.35, np.sqrt(np.mean(every**2))
    assert np.mean(np.concatenate(held)) > 0.9


@pytest.mark.parametrize("ratio", [1.0, 0.97])
def test_a_length_of_eight_squares_agrees_and_a_print_of_97_percent_would_not(real_data: Path, ratio: float) -> None:
    agreed = []
    for path in photographs(real_data):
        fit, _ = plane(seen(path))
        a, b = seen(path).pixels[[9, 17]].tolist()
        known = KnownLength((a[0], a[1]), (b[0], b[1]), 240.0 / ratio, u_length_mm=0.3, u_px=0.3)
        check = check_length(fit.view, known)
        assert check.ratio == pytest.approx(ratio, abs=0.006)
        agreed.append(check.agreement.agrees)
    assert np.mean(agreed) >= 0.9 if ratio == 1.0 else not any(agreed)
