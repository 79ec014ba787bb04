"""An invented tank with exact truth: physics, camera, painter, gates. Shares no code with what measures.

`simulate` writes one recording folder with its truth; `simulate_many` several. `simulate_run` gives truth, edges and
noisy fixes of one run without drawing it, for counting over thousands. `SimulatedTank` hands out the same run's frames
and edges one by one, for a live driver. Same seed, same bytes.

Seeds: those from DEVELOPMENT_SEED on are for building and tuning, those from JUDGING_SEED on only for final figures.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from logger.simulator.live import SimulatedTank
from logger.simulator.run import SimulatedFixes, SimulatedRun, TrackerDoubt, simulate_run
from logger.simulator.scene import draw
from logger.simulator.tiers import TierName
from logger.simulator.wishes import wishes
from logger.simulator.write import write

DEVELOPMENT_SEED = 1_000
JUDGING_SEED = 700_000

__all__ = [
    "DEVELOPMENT_SEED",
    "JUDGING_SEED",
    "SimulatedFixes",
    "SimulatedRun",
    "SimulatedTank",
    "TrackerDoubt",
    "simulate",
    "simulate_many",
    "simulate_run",
]


def simulate(folder: Path, *, tier: TierName = "easy", kind: str = "drift", seed: int, **asked: Any) -> None:
    """Write a recording of one simulated run, with truth.csv and truth.json, into the new folder `folder`.

    Args:
        folder: new or empty.
        tier: easy, realistic or hard.
        kind: drift or straight.
        seed: same seed, same bytes.
        asked: what is fixed instead of drawn, the fields of `logger.simulator.wishes.Wishes`.

    Raises:
        InputError: an unknown tier, kind or option; the folder is not empty.
    """
    write(draw(tier=tier, kind=kind, seed=seed, asked=wishes(asked)), Path(folder))


def simulate_many(
    folder: Path, *, count: int, tier: TierName = "easy", first_seed: int = DEVELOPMENT_SEED, **asked: Any
) -> list[Path]:
    """Write `count` recordings, drift and straight runs in turn, into folders of their own below `folder`."""
    made = []
    for number in range(count):
        kind = ("drift", "straight")[number % 2]
        place = Path(folder) / f"{tier}-{kind}-{first_seed + number}"
        simulate(place, tier=tier, kind=kind, seed=first_seed + number, **asked)
        made.append(place)
    return made
