"""A written recording: its bytes, its truth, stamps and marks."""

from __future__ import annotations

import csv
import json
from itertools import pairwise
from pathlib import Path

import cv2
import pytest

from logger.recording.card_toml import read_card
from logger.recording.rig_toml import read_rig
from logger.simulator import simulate

SMALL = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0, "frame_rate_hz": 5.0}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("simulated") / "run"
    simulate(place, seed=5, wall_contact=True, **SMALL)
    return place


def test_the_same_seed_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    simulate(tmp_path / "again", seed=5, wall_contact=True, **SMALL)
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted(path.name for path in (tmp_path / "again").iterdir())
    for name in names:
        assert (folder / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_another_seed_gives_another_run(folder: Path, tmp_path: Path) -> None:
    simulate(tmp_path / "other", seed=6, **SMALL)
    assert (folder / "truth.csv").read_bytes() != (tmp_path / "other" / "truth.csv").read_bytes()


def test_everything_says_that_it_is_simulated(folder: Path) -> None:
    assert read_rig(folder / "rig.toml").simulated
    assert read_card(folder / "recording.toml").simulated
    assert json.loads((folder / "truth.json").read_text())["simulated"]


def test_there_is_a_stamp_and_a_truth_for_every_picture(folder: Path) -> None:
    video = cv2.VideoCapture(str(folder / "video.mjpeg"))
    count = 0
    while video.read()[0]:
        count += 1
    stamps, truths = rows(folder / "frames.csv"), rows(folder / "truth.csv")
    assert count == len(stamps) == len(truths) > 20
    assert all(int(a["t_ns"]) < int(b["t_ns"]) for a, b in pairwise(stamps))
