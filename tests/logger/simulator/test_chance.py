"""Named chance."""

from __future__ import annotations

from logger.simulator.chance import stream


def test_the_same_name_draws_the_same_numbers_and_another_name_others() -> None:
    assert stream(7, "boat").random(3).tolist() == stream(7, "boat").random(3).tolist()
    assert stream(7, "boat").random() != stream(7, "light").random()
    assert stream(7, "boat").random() != stream(8, "boat").random()


def test_the_numbers_are_the_same_on_every_machine() -> None:
    """PCG64 seeded by SeedSequence is promised to stay (NumPy's policy on random streams); these were drawn once."""
    assert stream(7, "boat").integers(0, 10**9, 3).tolist() == [24095635, 592694419, 769977061]
