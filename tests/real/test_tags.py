"""Photographs of squares that nobody here printed: numbers and corners, through our own reader with other families.

Sources: SOURCE.md beside the photographs. `gold.json` has the corners of OpenCV's own tests; the .txt beside a
photograph those that its makers' detector finds.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.vision.tag.reader import Options, Reader


@pytest.fixture(scope="module")
def photographs(real_data: Path) -> Path:
    folder = real_data / "tags"
    if not folder.is_dir():
        pytest.skip("no photographs of tags among the outside recordings")
    return folder


def read(path: Path, family: int):
    picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return Reader(Options(family=family)).read(np.asarray(picture, np.uint8))


def test_six_squares_on_a_desk_have_their_numbers_and_corners(photographs: Path) -> None:
    for name, gold in json.loads((photographs / "aruco/gold.json").read_text(encoding="utf-8")).items():
        signs = {
            s.number: s.corners_px for s in read(photographs / "aruco" / name, getattr(cv2.aruco, gold["dictionary"]))
        }
        assert sorted(signs) == sorted(gold["ids"])
        for number, corners in zip(gold["ids"], gold["corners"], strict=True):
            assert np.abs(signs[number] - np.array(corners)).max() <= 1.0


def test_twelve_squares_of_one_number_are_where_their_makers_find_them(photographs: Path) -> None:
    for listed in sorted((photographs / "apriltag_photos").glob("*.txt")):
        lines = [line for line in listed.read_text(encoding="utf-8").splitlines() if line.strip()]
        numbers = [int(line.partition(",")[0]) for line in lines]
        corners = np.array([[float(v) for v in re.findall(r"-?\d+\.\d+", line)] for line in lines]).reshape(-1, 4, 2)
        signs = read(listed.with_suffix(".jpg"), cv2.aruco.DICT_APRILTAG_36h11)
        assert {sign.number for sign in signs} == set(numbers)
        # the list counts from the corner of the first pixel, we from its middle
        middles = np.array([sign.corners_px.mean(axis=0) for sign in signs]) + 0.5
        apart = np.linalg.norm(middles[:, None] - corners.mean(axis=1)[None], axis=2)
        assert len(numbers) == 12
        assert apart.min(axis=0).max() < 0.7  # each of the listed; ours finds more that are there


@pytest.mark.parametrize("turn_deg", [-20, -10, 10, 20])
def test_a_square_seen_aslant_is_read(photographs: Path, turn_deg: int) -> None:
    signs = read(photographs / f"rotation/test_image_rotation_{turn_deg}.png", cv2.aruco.DICT_APRILTAG_36h11)
    assert [sign.number for sign in signs] == [76]


@pytest.mark.parametrize("name", ["02", "06"])
def test_only_numbers_that_are_there_are_read(photographs: Path, name: str) -> None:
    signs = read(photographs / f"multiple/test_image_multiple_{name}.png", cv2.aruco.DICT_APRILTAG_36h11)
    assert signs
    assert {sign.number for sign in signs} <= {22, 24, 58, 85, 144, 198}
