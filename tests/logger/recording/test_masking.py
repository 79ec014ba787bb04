from __future__ import annotations

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.waterplane import Pose
from logger.config import Tank
from logger.errors import InputError
from logger.recording.folder import load
from logger.recording.mask_mark import SAID, is_masked
from logger.recording.masking import FILM, mask_film, shown_part
from logger.recording.video import packets
from logger.results.measure import measure
from logger.simulator.live import SimulatedTank
from tests.logger.lesson.practice import TANK
from tests.logger.study.test_point_page import VIEW


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run as our recorder keeps it: a row of JPEGs."""
    folder = tmp_path_factory.mktemp("run") / "r1"
    SimulatedTank(kind="straight", seed=3, rig_errors=False, **TANK).write(folder)
    return folder


@pytest.fixture
def copy(run: Path, tmp_path: Path) -> Path:
    return shutil.copytree(run, tmp_path / "r1")


def test_what_is_shown_is_the_water_and_a_little_of_its_rim() -> None:
    """By eye: the eye is 1 m above the middle, 300 px wide for 1 m; a tank of 400 mm x 200 mm has 120 px x 60 px."""
    tank = Tank(((-200.0, -100.0), (200.0, -100.0), (200.0, 100.0), (-200.0, 100.0)), 100.0)
    assert VIEW.pose.camera_mm.tolist() == Pose.at(VIEW.pose.rotation, camera_mm=[0.0, 0.0, 1000.0]).camera_mm.tolist()
    shown = shown_part(VIEW, tank)
    rows, columns = np.nonzero(shown)
    assert np.ptp(columns) == pytest.approx(120 + 2 * 9, abs=2), "30 mm more on each side are 9 px"
    assert np.ptp(rows) == pytest.approx(60 + 2 * 9, abs=2)


def test_beside_the_water_all_is_black_and_what_is_measured_stays(copy: Path) -> None:
    before = load(copy)
    assert SAID not in before.doubts
    assert mask_film(copy)
    after = load(copy)
    assert SAID in after.doubts
    assert is_masked(copy)
    assert before.view is not None
    shown = shown_part(before.view, before.rig.tank)
    images = [frame.image for frame in after.frames()]
    assert before.stamps is not None
    assert len(images) == len(before.stamps.t_ns)
    far = cv2.erode((~shown).astype(np.uint8), np.ones((33, 33), np.uint8)) > 0
    assert max(int(image[far].max()) for image in images) <= 2, "black; blocks of the coding at its border aside"
    assert np.median([image[shown].mean() for image in images]) > 40
    assert not mask_film(copy), "once is enough"


def test_the_run_comes_to_the_same_afterwards(copy: Path) -> None:
    before = measure(load(copy)).trial
    mask_film(copy)
    after = measure(load(copy)).trial
    for name in ("path_mm", "speed_max_m_per_s"):
        was, now = before.results[name].quantity, after.results[name].quantity
        assert now.value == pytest.approx(was.value, abs=2 * (was.u + now.u)), name
    assert after.results["time_s"].quantity.value == pytest.approx(before.results["time_s"].quantity.value, abs=0.005)


def test_a_picture_that_cannot_be_read_keeps_its_place_and_shows_nothing(copy: Path) -> None:
    pictures = list(packets(copy / FILM))
    pictures[3] = pictures[3][: len(pictures[3]) // 2] + b"\xff\xd9"
    (copy / FILM).write_bytes(b"".join(pictures))
    numbers = [frame.sequence for frame in load(copy).frames()]
    assert 3 not in numbers
    mask_film(copy)
    assert [frame.sequence for frame in load(copy).frames()] == numbers
    assert len(list(packets(copy / FILM))[3]) < 100


def test_it_is_left_as_it_was_when_it_may_not_go_on_or_cannot(copy: Path) -> None:
    film = (copy / FILM).read_bytes()
    left = iter([True, True, False])
    assert not mask_film(copy, goes_on=lambda: next(left))
    assert (copy / FILM).read_bytes() == film
    (copy / "rig.toml").write_text("nonsense", encoding="utf-8")
    with pytest.raises(InputError, match=r"rig\.toml"):
        mask_film(copy)
    assert (copy / FILM).read_bytes() == film
    assert not is_masked(copy)
    assert sorted(path.name for path in copy.glob(".*")) == []
