"""Which simulated recordings are judged, and making them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED, simulate
from logger.simulator.tiers import TierName

TIERS: tuple[TierName, ...] = ("easy", "realistic", "hard")
TAGS = ("none", "square", "disc")
FIRST_SEED, FIRST_JUDGING_SEED = DEVELOPMENT_SEED + 100, JUDGING_SEED + 500


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording: even numbers are drift runs, odd ones straight."""

    tier: TierName
    tag: str
    """none, square or disc."""
    number: int
    first_seed: int

    @property
    def seed(self) -> int:
        return self.first_seed + self.number

    @property
    def name(self) -> str:
        return f"{self.tier}-{self.seed}" if self.tag == "none" else f"{self.tier}-{self.tag}-{self.seed}"

    def made(self, place: Path) -> Path:
        """Its folder below `place`; drawn only if it is not there."""
        folder = place / self.name
        if not (folder / "truth.json").exists():
            wishes: dict[str, Any] = {} if self.tag == "none" else {"tag": self.tag}
            kind = ("drift", "straight")[self.number % 2]
            simulate(folder, tier=self.tier, kind=kind, seed=self.seed, **wishes)
        return folder


def clips(*, tiers: Sequence[TierName], tags: Sequence[str], count: int, judging: bool) -> list[Clip]:
    """`count` of each tier and tag; with `judging` those that nothing was tuned on."""
    first = FIRST_JUDGING_SEED if judging else FIRST_SEED
    return [Clip(tier, tag, number, first) for tier in tiers for tag in tags for number in range(count)]
