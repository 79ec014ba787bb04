"""The three tiers are steps of one ladder."""

from __future__ import annotations

from dataclasses import fields

from logger.simulator.tiers import TIERS

KINDER = {"jpeg_quality"}


def test_every_effect_grows_or_stays_from_tier_to_tier() -> None:
    for field in fields(TIERS["easy"]):
        easy, realistic, hard = (getattr(TIERS[name], field.name) for name in ("easy", "realistic", "hard"))
        if isinstance(easy, tuple):
            easy, realistic, hard = easy[1], realistic[1], hard[1]
        steps = (hard, realistic, easy) if field.name in KINDER else (easy, realistic, hard)
        assert steps[0] <= steps[1] <= steps[2], field.name
