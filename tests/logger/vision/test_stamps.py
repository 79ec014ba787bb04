from __future__ import annotations

import numpy as np

from logger.config import CameraSetup, Rig, Tank
from logger.recording.folder import FrameStamps
from logger.vision.stamps import forwards, times_ns


def test_a_time_is_that_of_the_middle_of_the_exposure_of_its_row() -> None:
    stamps = FrameStamps(np.array([1_000, 2_000_000]), np.array([400, 4_000]), np.array([10, 20]))
    rig = Rig("toy", Tank(((0, 0), (1, 0), (1, 1)), 100.0), (), camera=CameraSetup(None, "", delay_s=100e-9))
    found = times_ns(stamps, rig, np.array([1, 0]), np.array([50.0, 3.0]))
    assert found.tolist() == [2_000_000 + 50 * 20 + 2_000 - 100, 1_000 + 3 * 10 + 200 - 100]


def test_a_time_before_another_one_is_left_out() -> None:
    assert forwards(np.array([5, 8, 7, 8, 9])).tolist() == [True, True, False, False, True]


def test_a_picture_stamped_with_nearly_the_time_of_another_is_left_out() -> None:
    t_ns = np.arange(6) * 33_000_000
    t_ns[3] = t_ns[2] + 97
    assert forwards(t_ns).tolist() == [True, True, True, False, True, True]
    assert forwards(t_ns[:1]).tolist() == [True]
    assert forwards(t_ns[:0]).tolist() == []
