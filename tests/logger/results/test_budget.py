"""Budgets of measures of a motion: what is shared, what is random, what noise does to a greatest value."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from calibration.quantity import Quantity, Source
from logger.results import budget
from logger.results.budget import Owner
from logger.results.motion import X, smooth
from logger.results.trial import NotMeasured


def asked(shop: Any, measure: Any, *, peaks: tuple[str, ...] = (), noise_mm: float = 0.5, **track: Any) -> Any:
    motion = smooth(shop.track(lambda t: 200 * t, noise_mm=noise_mm, **track))
    return budget.quantities(
        lambda m: {"q": measure(m)}, motion, Owner("run-1", shop.boat()), units={"q": "mm"}, seed=5, peaks=peaks
    ), motion


def test_of_a_linear_measure_the_draws_give_what_the_covariance_says(shop: Any) -> None:
    found, motion = asked(shop, lambda m: m.state[100, X])
    assert found["q"].u == pytest.approx(np.sqrt(motion.covariance[100, X, X]), rel=0.12)
    assert found["q"].value == motion.state[100, X]


def test_errors_near_in_time_stay_together(shop: Any) -> None:
    """The difference of two neighbours is far better known than two independent moments would be."""
    found, motion = asked(shop, lambda m: m.state[101, X] - m.state[100, X])
    apart = np.sqrt(motion.covariance[100, X, X] + motion.covariance[101, X, X])
    assert found["q"].u < 0.6 * apart


def test_each_systematic_source_has_its_own_signed_part(shop: Any) -> None:
    n = 240
    shifts = {"freeboard": np.tile([0.7, 0.0], (n, 1)), "camera height": np.tile([-0.2, 0.0], (n, 1))}
    found, _ = asked(shop, lambda m: 3 * m.state[100, X], shifts_mm=shifts)
    parts = {s.name: c for s, c in found["q"].contributions.items()}
    assert parts["freeboard"] == pytest.approx(2.1, abs=0.01)
    assert parts["camera height"] == pytest.approx(-0.6, abs=0.01)


def test_a_peak_is_freed_from_the_excess_that_noise_gives_it(shop: Any) -> None:
    """The greatest of many noisy zeros is not zero; its expected excess is taken off."""
    as_seen, kept = [], []
    for seed in range(12):
        found, motion = asked(shop, lambda m: float(np.abs(m.state[:, 3]).max()), peaks=("q",), seed=seed)
        as_seen.append(np.abs(motion.state[:, 3]).max())
        kept.append(found["q"].value)
    assert np.mean(as_seen) > 0.2
    assert abs(np.mean(kept)) < 0.6 * np.mean(as_seen)


def test_what_most_draws_cannot_answer_is_not_measured(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 200 * t))
    own = motion.state[0, X]
    found = budget.quantities(
        lambda m: {"q": 1.0} if m.state[0, X] == own else NotMeasured("no."),
        motion, Owner("r", shop.boat()), units={"q": "1"}, seed=1,
    )  # fmt: skip
    assert not found
    assert "too doubtful" in found.reason


def test_further_doubts_are_added_to_equal_sources_with_their_sign() -> None:
    a = Source("a")
    assert budget.plus(Quantity(1.0, "s", {a: 0.3}), {a: -0.1, Source("b"): 0.2}).u == pytest.approx(
        (0.04 + 0.04) ** 0.5
    )


def test_same_seed_same_digits(shop: Any) -> None:
    first, second = (asked(shop, lambda m: m.state[100, X])[0]["q"] for _ in range(2))
    assert dict(first.contributions) == dict(second.contributions)
