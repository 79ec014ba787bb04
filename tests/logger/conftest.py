"""Recordings and photographs that are made once and that tests of several floors look at."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.simulator.live import SimulatedTank
from tests.calibration.board_views import SMALL, painted_at, places
from tests.logger.accept_rig import PULLS, TANK, accept_rig


@pytest.fixture(scope="session")
def filmed_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording with pictures, few of them a second so that it is quick; copy it before writing into it."""
    folder = tmp_path_factory.mktemp("filmed") / "run"
    SimulatedTank(kind="straight", seed=1003, frame_rate_hz=12.0).write(folder)
    return folder


@pytest.fixture
def filmed(filmed_once: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filmed_once, tmp_path / "filmed"))


@pytest.fixture(scope="session")
def board_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of twelve photos of the lens board through a known lens, 640 x 360, as PNG; do not write into it."""
    folder = tmp_path_factory.mktemp("photos")
    for index, place in zip(range(12), places(SMALL, np.random.default_rng(1), away_mm=(190.0, 360.0)), strict=False):
        cv2.imwrite(str(folder / f"photo-{index:02d}.png"), painted_at(SMALL, place, seed=index))
    return folder


@pytest.fixture(scope="session")
def pulled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A simulated rig with camera, and three pulls of its check boat, recorded; copy it before writing into it."""
    folder = tmp_path_factory.mktemp("pulled")
    accept_rig(folder, camera=True)
    for number, (seed, speed) in enumerate(PULLS, 1):
        tank = SimulatedTank(kind="straight", seed=seed, speed_mm_per_s=speed, **TANK)
        tank.write(folder / "recordings" / f"pull-{number}")
        card = folder / "recordings" / f"pull-{number}" / "recording.toml"
        card.write_text(re.sub(r'^id = ".*"$', f'id = "pull-{number}"', card.read_text(), flags=re.MULTILINE))
    return folder
