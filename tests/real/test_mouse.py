"""Real overhead photographs with hand labels: the survey of a film finds the mouse where people say it is.

Data: github.com/DeepLabCut/DeepLabCut, examples/openfield-Pranav-2018-10-30 (LGPL-3.0 repository): 36 photographs of
one session, not consecutive; snout, ears and base of the tail marked by hand. The middle of the body is taken half way
between the base of the tail and the mean of snout and ears; from ears to tail it is 111 px long.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.vision.plane import Plane
from logger.vision.stills import find_object
from logger.vision.survey import Ground, Survey, survey

Floats = NDArray[np.float64]
HEIGHT_MM = 1000.0
"""With the focal length in pixels equal to this, 1 px is 1 mm."""


class Stills:
    """Photographs as a film."""

    def __init__(self, pictures: list[NDArray[np.uint8]]) -> None:
        self._pictures = pictures

    @property
    def count(self) -> int:
        return len(self._pictures)

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, NDArray[np.uint8]]]:
        numbers = range(self.count) if wanted is None else sorted(wanted)
        return ((n, self._pictures[n]) for n in numbers)


@pytest.fixture(scope="module")
def labels(real_data: Path) -> list[dict[str, str]]:
    text = (real_data / "mouse_openfield_labelled" / "labels.csv").read_text(encoding="ascii")
    return list(csv.DictReader(text.splitlines()))


@pytest.fixture(scope="module")
def middles_px(labels: list[dict[str, str]]) -> Floats:
    """(N, 2)"""

    def spot(row: dict[str, str], part: str) -> Floats:
        return np.array([float(row[f"{part}_x"]), float(row[f"{part}_y"])])

    heads = [np.mean([spot(row, part) for part in ("snout", "leftear", "rightear")], axis=0) for row in labels]
    return np.array([(head + spot(row, "tailbase")) / 2 for head, row in zip(heads, labels, strict=True)])


@pytest.fixture(scope="module")
def surveyed(real_data: Path, labels: list[dict[str, str]]) -> Survey:
    folder = real_data / "mouse_openfield_labelled" / "images"
    pictures = [cv2.imread(str(folder / row["image"]), cv2.IMREAD_GRAYSCALE) for row in labels]
    lens = Lens(640, 480, HEIGHT_MM, HEIGHT_MM, 319.5, 239.5)
    above = Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=(0.0, 0.0, HEIGHT_MM))
    ground = Ground(tank=None, start_zone=None, forward_rad=0.0, size_mm=70.0, longest_mm=111.0)
    found = survey(Stills([p.astype(np.uint8) for p in pictures]), Plane(View(lens, above), 0.0), ground)
    assert isinstance(found, Survey), found
    return found


def test_the_mouse_is_found_in_nearly_every_photograph(surveyed: Survey, labels: list[dict[str, str]]) -> None:
    assert len(surveyed.numbers) >= 0.9 * len(labels)


def test_it_is_where_people_say_it_is(surveyed: Survey, middles_px: Floats) -> None:
    """A plain background difference reaches a median of 4.5 px and 8.8 px for nine out of ten.

    A boat has no tail: the survey takes the convex hull of what it sees, and the tail pulls that by some 2 px.
    """
    place_px = surveyed.place_mm * (1, -1) + (319.5, 239.5)
    off_px = np.hypot(*(place_px - middles_px[surveyed.numbers]).T)
    assert np.median(off_px) <= 5.5
    assert np.percentile(off_px, 90) <= 12.0
    assert off_px.max() < 15.0


def test_it_points_along_the_body(surveyed: Survey, labels: list[dict[str, str]]) -> None:
    """Which end is the head cannot be told from a still silhouette; the axis can."""
    along = []
    for number, heading in zip(surveyed.numbers.tolist(), surveyed.heading_rad.tolist(), strict=True):
        row = labels[number]
        body = np.array(
            [float(row["snout_x"]) - float(row["tailbase_x"]), float(row["tailbase_y"]) - float(row["snout_y"])]
        )
        axis = np.array([np.cos(heading), np.sin(heading)])
        along.append(abs(body @ axis) / np.linalg.norm(body))
    assert np.median(np.degrees(np.arccos(np.clip(along, 0, 1)))) < 10


def test_single_pictures_in_any_order_tell_where_the_body_is(
    real_data: Path, labels: list[dict[str, str]], middles_px: Floats
) -> None:
    """`find_object` knows no film and no size, and cuts thin parts off."""
    folder = real_data / "mouse_openfield_labelled" / "images"
    pictures = [np.asarray(cv2.imread(str(folder / row["image"])), np.uint8) for row in labels]
    found = find_object(pictures)
    assert sum(body is None for body in found) <= 1
    off_px = [
        float(np.hypot(*(np.array(body.centre_px) - middle)))
        for body, middle in zip(found, middles_px, strict=True)
        if body is not None
    ]
    assert np.median(off_px) <= 5.0
    assert np.percentile(off_px, 90) <= 11.0
    backwards = find_object(pictures[::-1])
    first, last = found[0], backwards[-1]
    assert first is not None
    assert last is not None
    assert first.centre_px == pytest.approx(last.centre_px, abs=1e-6)
