"""A few short runs that the tracker must never again do badly: limits with room, which nothing that is broken meets.

How good it is stands in the figures of this bench; here only a fall behind is caught.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from logger.simulator import simulate
from logger.simulator.tiers import TierName
from tests.bench.vision import judge

SHORT = {"tank_length_mm": 1000.0, "length_mm": 120.0, "width_mm": 60.0}


@dataclass(frozen=True, slots=True)
class Guarded:
    """A run, and what it must not exceed."""

    tier: TierName
    kind: str
    seed: int
    wishes: dict[str, Any]
    rms_mm: float
    p95_mm: float
    crossing_ms: float


RUNS = {
    "a blue boat coasts on calm water": Guarded(
        "easy", "drift", 1302, {"speed_mm_per_s": 350.0, "paint": "blue", "frame_rate_hz": 12.0},
        rms_mm=0.5, p95_mm=1.0, crossing_ms=12.0,
    ),
    "a red boat without a sail leaves a hand and crosses ripples": Guarded(
        "realistic", "straight", 1305, {"speed_mm_per_s": 450.0, "paint": "red", "frame_rate_hz": 15.0},
        rms_mm=1.0, p95_mm=2.5, crossing_ms=10.0,
    ),
}  # fmt: skip


@pytest.mark.parametrize("guarded", RUNS.values(), ids=RUNS)
def test_the_tracker_has_not_fallen_behind(guarded: Guarded, tmp_path: Path) -> None:
    simulate(tmp_path / "run", tier=guarded.tier, kind=guarded.kind, seed=guarded.seed, **{**SHORT, **guarded.wishes})
    seen = judge(tmp_path / "run")
    assert seen.trouble == ""
    assert seen.silent_share == 0
    assert seen.lost_share <= 0.02
    assert seen.doubtful_share <= 0.05, "a plain boat is measured, not doubtful"
    assert seen.rms_mm < guarded.rms_mm
    assert seen.p95_mm < guarded.p95_mm
    assert seen.within_2u_share > 0.85
    assert seen.mean_u_mm < 1.5, "a doubt so wide holds everything"
    assert len(seen.crossings_ms) == 2
    assert max(map(abs, seen.crossings_ms)) < guarded.crossing_ms
    assert seen.path_share is not None
    assert abs(seen.path_share) < 0.003
    if guarded.kind == "drift":
        assert seen.drift_mm is not None
        assert abs(seen.drift_mm) < 1.0
