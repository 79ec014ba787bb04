from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.recording.folder import load
from logger.simulator import simulate
from logger.simulator.tiers import TIERS
from logger.vision.plane import Plane
from logger.vision.track import MEASURED, Track
from logger.vision.tracker import track_boat
from logger.vision.watch.knocks import knocks
from logger.vision.watch.moves import Move
from tests.bench.vision import off_mm as off_truth_mm
from tests.bench.vision import truth_of, two_u_mm
from tests.logger.vision.painted import camera

PLANE = Plane(camera(), 20.0)
SIZE = (720, 1280)
STILL = Move(np.zeros(8), np.zeros((8, 8)), True, SIZE)
UNKNOWN = Move(np.zeros(8), np.eye(8) * 4, False, SIZE)
U_PX = 0.03


def moved(u_px: float, v_px: float) -> Move:
    return Move(np.array([u_px, v_px, 0, 0, 0, 0, 0, 0.0]), np.eye(8) * U_PX**2, True, SIZE)


def places(count: int) -> np.ndarray:
    return np.column_stack([np.linspace(300, 900, count), np.zeros(count)])


def test_a_camera_that_stood_still_adds_nothing() -> None:
    found = knocks([STILL] * 20, PLANE, places(20))
    assert found.flags == ()
    assert found.shift_mm is None
    assert found.is_sure.all()
    assert not found.noise_mm2.any()


def test_what_was_put_right_is_told_in_millimetres_and_doubted() -> None:
    found = knocks([STILL] * 10 + [moved(6, 0)] + [moved(2, 0)] * 20, PLANE, places(31))
    step = PLANE.step_mm(np.array([600.0, 0.0]))
    assert found.is_sure.all()
    (flag,) = found.flags
    assert f"by up to {6 * step:.1f} mm" in flag
    assert f"stayed {2 * step:.1f} mm aside" in flag
    assert "calibrate again" in flag
    assert not found.noise_mm2[:10].any()
    np.testing.assert_allclose(np.sqrt(found.noise_mm2[15, 0, 0]), U_PX * step, rtol=0.6)
    assert found.shift_mm is not None
    assert not found.shift_mm[:10].any()
    # 40 mm of 1400 mm, and 0.04 px
    expected = step * np.hypot(2 * 40 / 1400, 0.04)
    np.testing.assert_allclose(np.hypot(*found.shift_mm[15]), expected, rtol=0.02)


def test_a_swing_that_came_back_is_told_so() -> None:
    swing = [moved(5 * np.cos(n), 0) for n in range(8)]
    (flag,) = knocks([STILL] * 10 + swing + [STILL] * 20, PLANE, places(38)).flags
    assert "came back" in flag
    assert "calibrate" not in flag


def test_two_odd_pictures_are_no_knock() -> None:
    found = knocks([STILL] * 10 + [moved(0.6, 0.2)] * 2 + [STILL] * 10, PLANE, places(22))
    assert found.flags == ()
    assert found.noise_mm2[10:12].any()


@pytest.mark.parametrize(("gap", "sure"), [(20, True), (60, False)])
def test_marks_hidden_for_a_while_between_two_times_of_rest_matter_only_if_it_is_long(gap: int, sure: bool) -> None:
    found = knocks([STILL] * 10 + [UNKNOWN] * gap + [STILL] * 10, PLANE, places(20 + gap))
    assert found.is_sure.all() == sure
    assert (found.flags == ()) == sure
    assert found.noise_mm2.any() != sure


def test_what_is_not_known_to_the_end_is_doubtful_and_told() -> None:
    found = knocks([STILL] * 10 + [UNKNOWN] * 10, PLANE, places(20))
    assert found.is_sure.tolist() == [True] * 10 + [False] * 10
    (flag,) = found.flags
    assert "10 of 20 pictures" in flag


def test_marks_hidden_while_the_camera_is_moved_are_doubtful() -> None:
    found = knocks([STILL] * 10 + [UNKNOWN] * 5 + [moved(2, 1)] * 10, PLANE, places(25))
    assert found.is_sure.tolist() == [True] * 10 + [False] * 5 + [True] * 10


def test_a_move_too_large_to_be_put_right_is_doubtful() -> None:
    found = knocks([STILL] * 10 + [moved(9, 8)] * 10, PLANE, places(20))
    assert found.is_sure.tolist() == [True] * 10 + [False] * 10
    assert "calibrate again" in found.flags[0]


def test_a_knock_in_a_simulated_run_is_put_right_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, chance in (("still", 0.0), ("knocked", 1.0)):
        monkeypatch.setitem(TIERS, "easy", replace(TIERS["easy"], bump=chance))
        simulate(
            tmp_path / name, tier="easy", kind="straight", seed=1151, tank_length_mm=1000.0, length_mm=120.0,
            width_mm=60.0, speed_mm_per_s=450.0, frame_rate_hz=20.0,
        )  # fmt: skip
    facts, true = truth_of(tmp_path / "knocked")
    tracks = {}
    for name in ("still", "knocked"):
        recording = load(tmp_path / name)
        found = track_boat(recording, recording.rig)
        assert isinstance(found, Track), found
        assert recording.rig.camera is not None
        # the delay's own doubt is the rig's, not the track's
        late_ns = round(recording.rig.camera.delay_s * 1e9) - facts["camera"]["delay_ns"]
        tracks[name] = replace(found, t_ns=found.t_ns + late_ns)
    off, two_u = off_truth_mm(tracks["knocked"], true), two_u_mm(tracks["knocked"])
    after = tracks["knocked"].t_ns > facts["bump_ns"]
    assert after.sum() > 10
    view = load(tmp_path / "knocked").view
    assert view is not None
    left_mm = np.hypot(*facts["bump_px"]) * Plane(view, 0.0).step_mm(np.array([300.0, 0.0]))
    assert left_mm > 2
    assert np.hypot(*off[after].T).max() < 0.4
    assert (np.abs(off) < two_u).mean() > 0.9
    assert tracks["still"].flags == ()
    (flag,) = tracks["knocked"].flags
    stayed = re.search(r"stayed ([\d.]+) mm aside", flag)
    assert stayed is not None
    assert float(stayed[1]) == pytest.approx(left_mm, abs=0.3)
    assert (tracks["knocked"].quality == MEASURED).all()
    assert np.hypot(*tracks["knocked"].shifts_mm["camera moved during the run"][after].T).min() > 0.02
    same = np.isin(tracks["still"].frame, tracks["knocked"].frame[after])
    more = np.median(tracks["knocked"].noise_mm2[after, 0, 0]) - np.median(tracks["still"].noise_mm2[same, 0, 0])
    assert more > 0.01**2


def test_of_two_answers_about_one_camera_either_may_be_right() -> None:
    step = PLANE.step_mm(np.array([600.0, 0.0]))
    alone = knocks([STILL] * 6 + [moved(2, 0)] * 14, PLANE, places(20)).shift_mm
    found = knocks([STILL] * 6 + [moved(2, 0)] * 7 + [moved(1, 1)] + [moved(2, 0)] * 6, PLANE, places(20)).shift_mm
    assert alone is not None
    assert found is not None
    assert np.hypot(*alone[10]) < 0.1 * step
    np.testing.assert_allclose(np.hypot(*found[10]), np.sqrt(2) * step, rtol=0.05)
    assert not found[:6].any()
