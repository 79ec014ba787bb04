"""A real break-beam gate: a pendulum swings through it, and its period gives g.

Data: github.com/iorodeo/photogate_test (Apache-2.0), a photogate sampled 1000 times a second for 15 s, first line =
length of the pendulum in m. Truth: T = 2π·√(L/g)·(1 + θ²/16 + …) for an amplitude θ (any mechanics text), and g at the
Earth's surface lies between 9.76 and 9.84 m/s² (9.80665 by convention, 3rd CGPM 1901).
"""

from __future__ import annotations

import gzip
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.quantity import Quantity, Source
from logger.records import Edge
from logger.results.passages import Passage, passages

BLOCKED_BELOW_V, CLEAR_ABOVE_V = 1.5, 3.5
SAMPLE_S = 0.001
LARGEST_AMPLITUDE_RAD = math.radians(20)
NAMES = ("test2", "test5")


def read(path: Path) -> tuple[float, NDArray[np.float64]]:
    with gzip.open(path, "rt", encoding="ascii") as lines:
        return float(lines.readline()), np.loadtxt(lines)


def edges(samples: NDArray[np.float64]) -> list[Edge]:
    """Schmitt trigger: blocked below one threshold, clear above another."""
    found, blocked = [], False
    for time_s, volts in samples:
        if volts < BLOCKED_BELOW_V if not blocked else volts > CLEAR_ABOVE_V:
            blocked = not blocked
            found.append(Edge(round(time_s * 1e9), "pendulum", blocked, "photogate"))
    return found


def swings(name: str, folder: Path) -> tuple[float, tuple[Passage, ...]]:
    length_m, samples = read(folder / "photogate_pendulum" / f"{name}.txt.gz")
    return length_m, passages(edges(samples), rearm_clear_s=0.1)


def period(found: tuple[Passage, ...]) -> Quantity:
    """Mean time from one swing to the next but one (the same direction again), s; u from the scatter (GUM 4.2.3)."""
    middles_s = np.array([(p.t_ns + (p.cleared_ns or 0)) / 2e9 for p in found if not p.doubts])
    each_s = middles_s[2:] - middles_s[:-2]
    count = len(each_s)
    scatter = Source("scatter of the periods", dof=count - 1)
    mean = Quantity(float(each_s.mean()), "s", {scatter: float(each_s.std(ddof=1)) / math.sqrt(count)})
    return mean.plus_doubt(Source("sampling"), SAMPLE_S / math.sqrt(6) / (count / 2))


def gravity(length_m: float, period_s: Quantity) -> Quantity:
    """4π²·L/T² with L read to 1 mm and an amplitude that is only known to be less than 20°."""
    length = Quantity.rectangular(length_m, "m", half_width=0.001, source="length of the pendulum")
    widest = LARGEST_AMPLITUDE_RAD**2 / 16
    stretch = Quantity.rectangular(1 + widest / 2, "1", half_width=widest / 2, source="amplitude")
    small_swing = period_s.over(stretch, "s")
    return length.scaled(4 * math.pi**2, "m").over(small_swing.times(small_swing, "s2"), "m/s2")


@pytest.mark.parametrize(("name", "edges_count", "period_s"), [("test2", 54, 1.0852), ("test5", 73, 0.8149)])
def test_every_swing_is_one_passage(real_data: Path, name: str, edges_count: int, period_s: float) -> None:
    _, found = swings(name, real_data)
    assert sum(p.edges_count for p in found) == edges_count
    assert len(found) == math.ceil(edges_count / 2)
    whole = [p for p in found if not p.doubts]
    assert len(whole) == edges_count // 2
    assert all(0.07 < p.blocked_s < 0.13 for p in whole)
    measured = period(found)
    assert measured.value == pytest.approx(period_s, abs=0.0005)
    assert measured.u < 0.0005


def test_a_swing_that_the_recording_cuts_off_is_said_to_be_still_blocked(real_data: Path) -> None:
    _, found = swings("test5", real_data)
    assert [p.doubts for p in found if p.doubts] == [("still_blocked",)]
    assert found[-1].cleared_ns is None


@pytest.mark.parametrize("name", NAMES)
def test_the_period_gives_gravity_within_its_uncertainty(real_data: Path, name: str) -> None:
    length_m, found = swings(name, real_data)
    g = gravity(length_m, period(found))
    assert g.U < 0.15, f"an uncertainty that says nothing: {g}"
    assert abs(g.value - 9.80665) <= g.U, f"{g}"


def test_the_swing_slows_down_as_it_dies(real_data: Path) -> None:
    """A dying pendulum is slower at the bottom: the beam is blocked longer and longer."""
    for name in NAMES:
        _, found = swings(name, real_data)
        blocked_s = np.array([p.blocked_s for p in found if not p.doubts])
        slope_s = float(np.polyfit(np.arange(len(blocked_s)), blocked_s, 1)[0])
        assert 0 < slope_s < 0.001, f"{name}: {slope_s} s a swing"


def test_two_lengths_agree_on_gravity(real_data: Path) -> None:
    first, second = (gravity(length_m, period(found)) for length_m, found in (swings(n, real_data) for n in NAMES))
    apart = first - second
    assert abs(apart.value) <= apart.U
    assert math.hypot(first.U, second.U) > apart.U, "the amplitude's doubt is shared and must cancel"
