"""What is kept of a plane: whole, dated, readable, and never written over."""

from __future__ import annotations

import math
import resource
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_calibration
from calibration.lens import Lens
from calibration.lens_known import known_lens
from calibration.waterplane import Pose, View, rotation_matrix
from logger.errors import StoreError
from logger.recording.plane_evidence import POINTS_HEADER, Looked, PlaneEvidence, write_plane
from logger.recording.stills import Still

LENS = Lens(64, 36, 45.0, 45.0, 31.5, 17.5)
POSE = Pose.at(rotation_matrix([math.pi, 0, 0]), camera_mm=[600.0, 0.0, 1200.0])
VIEW = View(LENS, POSE, {"height": (LENS, POSE.moved([0, 0, 0], [0, 0, 2.0]))})
GREY = np.arange(36 * 64, dtype=np.uint8).reshape(36, 64)
AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


def evidence(**changed: object) -> PlaneEvidence:
    still = Still("rim photo.png", GREY)
    looked = Looked(
        still, ["a,b", "2"], np.array([[0.0, 1], [2, 3]]), np.array([[4.0, 5], [6, 7]]), np.array([[4.1, 5], [6, 7.2]]),
        np.dstack([GREY] * 3),
    )  # fmt: skip
    given: dict[str, object] = {
        "view": VIEW, "lens": LENS, "lens_covariance": np.eye(9) * 1e-4, "looked": [looked, looked],
        "map_svg": "<svg/>", "words": {"worst_mm": 1.5},
    }  # fmt: skip
    return PlaneEvidence(**(given | changed))  # type: ignore[arg-type]


def test_the_calibration_its_lens_pictures_points_and_map_are_kept(tmp_path: Path) -> None:
    folder = write_plane(tmp_path / "plane", evidence(), AT)
    assert folder.name == "plane-2026-05-04T101500"
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["camera.toml", "lens.toml", "map.svg", "picture-1.png", "points.csv", "seen-1.png", "seen-2.png"]
    calibration = load_calibration(folder / "camera.toml")
    assert (calibration.id, calibration.date) == ("plane-2026-05-04T101500", "2026-05-04")
    assert calibration.evidence["worst_mm"] == 1.5
    assert calibration.evidence["pictures"] == ["rim photo.png: picture-1.png"]
    np.testing.assert_allclose(calibration.view.pose.camera_mm, POSE.camera_mm)
    assert known_lens(folder / "lens.toml")[0] == LENS
    np.testing.assert_array_equal(cv2.imread(str(folder / "picture-1.png"), cv2.IMREAD_GRAYSCALE), GREY)
    lines = (folder / "points.csv").read_text().splitlines()
    assert lines[:2] == [POINTS_HEADER, 'picture-1.png,"a,b",0.000,1.000,4.000,5.000,4.100,5.000']
    assert len(lines) == 5


def test_a_second_one_of_the_same_second_gets_a_name_of_its_own(tmp_path: Path) -> None:
    first, second = (write_plane(tmp_path, evidence(), AT) for _ in range(2))
    assert second.name == first.name + "-2"


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    """The system itself refuses files of more than 600 bytes, as a full disk would."""
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match="no folder can be made there"):
        write_plane(tmp_path / "file", evidence(), AT)
    before = sorted(tmp_path.iterdir())
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (600, usual[1]))
    try:
        with pytest.raises(StoreError, match=r"could not be written .* free some space"):
            write_plane(tmp_path, evidence(), AT)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert sorted(tmp_path.iterdir()) == before
