from __future__ import annotations

from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from calibration.files import load_view
from logger.records import Frame
from logger.simulator.live import SimulatedTank
from logger.vision.calm import Calm


def watched(tier: str, folder: Path, count: int = 10) -> Calm:
    tank = SimulatedTank(tier=tier, kind="drift", seed=4, frame_rate_hz=8.0)  # type: ignore[arg-type]
    file = folder / "camera.toml"
    file.write_text(tank.camera_text, encoding="utf-8")
    calm = Calm(load_view(file), tank.rig.tank)
    assert calm.water == "unknown"
    for frame in islice(tank.frames(), count):
        calm.feed(frame)
    return calm


@pytest.mark.parametrize(("tier", "water"), [("easy", "calm"), ("realistic", "moving"), ("hard", "moving")])
def test_still_water_is_told_from_rippled(tier: str, water: str, tmp_path: Path) -> None:
    assert watched(tier, tmp_path).water == water


def test_light_that_changes_as_a_whole_is_no_ripple_and_a_hand_is(tmp_path: Path) -> None:
    calm = watched("easy", tmp_path, 1)
    t_ns, lamp = 10**15, np.random.default_rng(1)
    picture = np.full((720, 1280), 90, np.uint8)
    for number in range(12):
        calm.feed(Frame(t_ns + number * 250_000_000, picture + np.uint8(lamp.integers(0, 20)), number, "camera"))
    assert calm.water == "calm"
    for number in range(12, 24):
        hand = picture.copy()
        hand[300:420, 400 + 20 * number : 640 + 20 * number] = 170
        calm.feed(Frame(t_ns + number * 250_000_000, hand, number, "camera"))
    assert calm.water == "moving"
    assert calm.moved_grey is not None
    assert calm.moved_grey > 10
