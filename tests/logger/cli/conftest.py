from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

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
