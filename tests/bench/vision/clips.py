"""Which simulated recordings are judged, and making them."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED, simulate
from logger.simulator.tiers import TierName

TIERS: tuple[TierName, ...] = ("easy", "realistic", "hard")
PAINTS = {"coloured": ("red", "black", "yellow", "blue", "green"), "pale": ("foil", "foil", "white", "white")}
"""Of boats without a tag, in turn."""
DECKS = (*PAINTS, "square", "disc")
"""Boats without a tag, and the two kinds of tag."""
FIRST_SEED, FIRST_JUDGING_SEED = DEVELOPMENT_SEED + 100, JUDGING_SEED + 720


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording: even numbers are drift runs, odd ones straight."""

    tier: TierName
    deck: str
    """One of `DECKS`."""
    number: int
    first_seed: int

    @property
    def seed(self) -> int:
        return self.first_seed + self.number

    @property
    def name(self) -> str:
        return f"{self.tier}-{self.deck}-{self.seed}"

    def made(self, place: Path) -> Path:
        """Its folder below `place`; drawn only if it is not there. One whose drawing was broken off is drawn anew."""
        folder, begun = place / self.name, place / f"{self.name}.begun"
        if not folder.exists():
            shutil.rmtree(begun, ignore_errors=True)
            kind = ("drift", "straight")[self.number % 2]
            simulate(begun, tier=self.tier, kind=kind, seed=self.seed, **self._wishes())
            begun.rename(folder)
        return folder

    def _wishes(self) -> dict[str, Any]:
        if (paints := PAINTS.get(self.deck)) is not None:
            return {"paint": paints[self.number % len(paints)]}
        return {"tag": self.deck}


def clips(*, tiers: Sequence[TierName], decks: Sequence[str], count: int, judging: bool) -> list[Clip]:
    """`count` of each tier and deck; with `judging` those that nothing was tuned on."""
    first = FIRST_JUDGING_SEED if judging else FIRST_SEED
    return [Clip(tier, deck, number, first) for tier in tiers for deck in decks for number in range(count)]
