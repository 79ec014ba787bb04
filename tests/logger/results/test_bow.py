from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.results import bow
from logger.results.lines import ahead
from logger.results.motion import smooth

BOX = np.array([[75.0, 40.0], [-75.0, 40.0], [-75.0, -40.0], [75.0, -40.0]])


@pytest.mark.parametrize(("turned_deg", "leads_mm"), [(0, 75.0), (15, 82.80), (30, 84.95), (45, 81.32), (90, 40.0)])
def test_a_box_of_150_by_80_mm_leads_with_its_corner_when_it_slants(turned_deg: float, leads_mm: float) -> None:
    """Half length times cos plus half width times sin: the support function of a rectangle."""
    forward, _, foremost = bow.reach(BOX, np.radians([turned_deg]), np.array([1.0, 0.0]))
    assert forward[0] == pytest.approx(leads_mm, abs=0.01)
    assert foremost[0, 0] == pytest.approx(forward[0])


def test_the_turn_is_the_derivative_of_the_reach() -> None:
    normal = np.array([0.8, 0.6])
    angles = np.array([0.3, 0.3 + 1e-6])
    forward, turn, _ = bow.reach(BOX, angles, normal)
    assert turn[0] == pytest.approx((forward[1] - forward[0]) / 1e-6, rel=1e-4)


def test_without_an_outline_the_centroid_stands_for_the_boat() -> None:
    forward, turn, foremost = bow.reach(np.empty((0, 2)), np.zeros(3), np.array([1.0, 0.0]))
    assert not forward.any()
    assert not turn.any()
    assert foremost.shape == (3, 2)


def test_the_bow_is_half_a_boat_ahead_of_the_middle(shop: Any) -> None:
    rig = shop.rig()
    motion = smooth(shop.track(lambda t: 200 * t - 300))
    line = ahead(rig.lines[0], rig)
    assert bow.past_line_mm(motion, line)[60] == pytest.approx(200 * 2 - 300 + 100, abs=0.5)
    assert bow.past_line_at_mm(motion, line, np.array([2.017]))[0] == pytest.approx(200 * 2.017 - 200, abs=0.5)
