from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.simulator.live import SimulatedTank
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes
from logger.simulator.write import write

Maker = Callable[..., Path]


@pytest.fixture
def gates_only(tmp_path: Path) -> Maker:
    """Makes a recording without pictures: two crossings, timed by beams."""

    def make(name: str = "gates", seed: int = 1000) -> Path:
        folder = tmp_path / name
        write(draw(tier="easy", kind="straight", seed=seed, asked=wishes({})), folder, video=False)
        return folder

    return make


@pytest.fixture(scope="session")
def filmed_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording with pictures, few of them a second so that it is quick; copy it before writing into it."""
    folder = tmp_path_factory.mktemp("filmed") / "run"
    SimulatedTank(kind="straight", seed=1003, frame_rate_hz=12.0).write(folder)
    return folder


@pytest.fixture
def filmed(filmed_once: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filmed_once, tmp_path / "filmed"))
