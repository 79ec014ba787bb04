"""Noisy pulses of a real time signal through the passage code.

Data: sigrok-dumps, dcf77/pollin_dcf1_module (public domain): the output of a DCF77 receiver with interference. The
transmitter sends one pulse of 0.1 or 0.2 s at every second of coordinated time but the last of each minute (PTB, DCF77
code description; from memory). The receiver stretches or shortens them by some 10 ms.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.records import Edge
from logger.results.passages import Passage, passages


def pulses(folder: Path, name: str) -> tuple[Passage, ...]:
    """Gaps below 30 ms are interference, pulses below 50 ms are no pulses."""
    lines = (folder / "dcf77_edges" / f"{name}_edges.csv").read_text(encoding="ascii").splitlines()
    found = [
        Edge(round(float(row["time_s"]) * 1e9), "antenna", row["level"] == "1", name) for row in csv.DictReader(lines)
    ]
    return passages(found, rearm_clear_s=0.03, isolated_s=0.03, shortest_s=0.05)


def on_the_grid(times_s: NDArray[np.float64]) -> tuple[NDArray[np.intp], float, float]:
    """Numbers of the seconds that the good pulses stand for, length of a second, and the scatter about the grid, s."""
    numbers = np.round((times_s - times_s[len(times_s) // 2]) / 1.0005).astype(np.intp)
    keep = np.ones(len(times_s), bool)
    for _ in range(3):
        second_s, start_s = np.polyfit(numbers[keep], times_s[keep], 1)
        keep = np.abs(times_s - start_s - second_s * numbers) < 0.05
    scatter_s = float(np.std(times_s[keep] - start_s - second_s * numbers[keep]))
    return numbers[keep], float(second_s), scatter_s


@pytest.mark.parametrize(
    ("name", "raw_count", "pulses_count", "grid_count", "second_s", "scatter_ms"),
    [("dcf77_120s", 114, 100, 99, 1.000441, 10), ("dcf77_480s", 183, 172, 172, 1.000506, 9)],
)
def test_a_pulse_a_second_is_left_of_the_noise(
    real_data: Path,
    *,
    name: str,
    raw_count: int,
    pulses_count: int,
    grid_count: int,
    second_s: float,
    scatter_ms: float,
) -> None:
    found = pulses(real_data, name)
    assert sum(p.edges_count for p in found) == 2 * raw_count, "every raw edge is kept"
    good = [p for p in found if not p.doubts]
    assert len(good) == pulses_count
    assert {p.doubts for p in found} == {(), ("short",)}
    numbers, measured_s, scatter_s = on_the_grid(np.array([p.t_ns / 1e9 for p in good]))
    assert len(numbers) == grid_count
    assert len(set(numbers.tolist())) == grid_count, "no two pulses stand for one second"
    assert measured_s == pytest.approx(second_s, abs=20e-6)
    assert scatter_s * 1e3 == pytest.approx(scatter_ms, abs=1)


def test_the_missing_pulse_of_each_minute_is_missed(real_data: Path) -> None:
    good = [p.t_ns / 1e9 for p in pulses(real_data, "dcf77_480s") if not p.doubts]
    numbers, _, _ = on_the_grid(np.array(good))
    missing = sorted(set(range(int(numbers.min()), int(numbers.max()) + 1)) - set(numbers.tolist()))
    assert len(missing) in {2, 3}, missing
    assert set(np.diff(missing).tolist()) == {60}


def test_short_and_long_pulses_stay_apart(real_data: Path) -> None:
    """Zeros are 0.1 s and ones are 0.2 s long; nothing lies between."""
    blocked_s = np.array([p.blocked_s for p in pulses(real_data, "dcf77_480s") if not p.doubts])
    short, long = blocked_s[blocked_s < 0.145], blocked_s[blocked_s > 0.155]
    assert len(short) + len(long) >= len(blocked_s) - 2
    assert np.median(short) == pytest.approx(0.1, abs=0.02)
    assert np.median(long) == pytest.approx(0.2, abs=0.02)
