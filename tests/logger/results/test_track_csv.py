from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from logger.results.columns import TRACK
from logger.results.measure import conclude
from logger.results.track_csv import full_covariance, track_csv, u_speed_mm_per_s
from logger.results.trial import Trial


def test_one_line_per_picture_with_all_columns(shop: Any) -> None:
    rig = shop.rig(gates=False)
    track = shop.track(lambda t: 200 * t - 500, until_s=10, heading=lambda t: np.full_like(t, 0.1))
    outcome = conclude(shop.recording(rig), rig, track)
    rows = list(csv.DictReader(io.StringIO(track_csv(outcome))))
    assert tuple(rows[0]) == TRACK
    assert len(rows) == 300
    assert int(rows[10]["t_ns"]) == track.t_ns[10]
    assert float(rows[150]["x_mm"]) == pytest.approx(500, abs=0.5)
    assert float(rows[150]["speed_m_per_s"]) == pytest.approx(0.2, abs=0.003)
    assert float(rows[150]["heading_deg"]) == pytest.approx(5.73, abs=0.05)
    assert rows[150]["quality"] == "measured"
    # seconds count from the start line
    nearest = min(rows, key=lambda row: abs(float(row["t_s"])))
    assert float(nearest["x_mm"]) == pytest.approx(-100, abs=5)


def test_the_doubt_holds_the_systematic_part(shop: Any) -> None:
    rig = shop.rig(gates=False)
    shifts = {"camera height": np.tile([2.0, 0.0], (300, 1))}
    outcome = conclude(shop.recording(rig), rig, shop.track(lambda t: 200 * t - 500, until_s=10, shifts_mm=shifts))
    row = list(csv.DictReader(io.StringIO(track_csv(outcome))))[150]
    assert float(row["u_x_mm"]) == pytest.approx(2.0, abs=0.05)
    assert float(row["u_y_mm"]) < 0.5


@dataclass
class Blind:
    trial: Trial
    motion: None = None


def test_without_a_motion_there_is_only_the_header() -> None:
    assert track_csv(Blind(Trial("r", "straight", "valid", (), {}))) == ",".join(TRACK) + "\n"


def test_the_doubt_of_a_boat_at_rest_is_not_read_along_a_way_it_does_not_go(shop: Any) -> None:
    rig = shop.rig(gates=False)
    outcome = conclude(shop.recording(rig), rig, shop.track(np.zeros_like, until_s=5))
    motion = outcome.motion
    u = u_speed_mm_per_s(motion, full_covariance(motion))
    assert (u > 0).all()
