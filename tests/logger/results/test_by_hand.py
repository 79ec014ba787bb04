"""By eye: seven pieces in 30 seconds are 14 a minute."""

from __future__ import annotations

from typing import Any

import pytest

from logger.config import Rules
from logger.results import by_hand
from logger.results.measure import conclude
from logger.results.trial import NotMeasured


def trial(shop: Any, *events: tuple[float, str], kind: str = "cargo", cap_s: float = 30.0) -> Any:
    rig = shop.rig()
    # an edge long after keeps the recording going
    edges = shop.edges("A", (2.0, 2.5), (90.0, 90.5))
    recording = shop.recording(rig, kind=kind, edges=edges, events=events, rules=Rules(time_cap_s=cap_s))
    return conclude(recording, rig, None).trial


def test_seven_pieces_in_half_a_minute(shop: Any) -> None:
    found = trial(shop, (1.0, "go"), (35.0, "cargo: 7"))
    assert found.results["cargo_count"].quantity.value == 7
    assert found.results["cargo_count"].quantity.u == 0
    assert found.results["cargo_count"].witness == by_hand.HAND
    rate = found.results["cargo_per_min"].quantity
    assert rate.unit == "/min"
    assert rate.value == pytest.approx(14)
    assert rate.u == pytest.approx(14 * 0.1 / 30, rel=1e-3)
    assert not any("counted by hand" in flag for flag in found.flags)


def test_the_last_word_counts_and_a_stop_ends_the_time(shop: Any) -> None:
    found = trial(shop, (1.0, "go"), (21.0, "stop"), (22.0, "cargo: 7"), (40.0, "cargo: 6"))
    assert found.results["cargo_count"].quantity.value == 6
    assert found.results["cargo_per_min"].quantity.value == pytest.approx(18)


def test_nothing_brought_is_a_result(shop: Any) -> None:
    found = trial(shop, (1.0, "go"), (35.0, "cargo: 0"))
    assert found.results["cargo_count"].quantity.value == 0
    assert found.results["cargo_per_min"].quantity.value == 0


def test_without_a_count_or_a_go_it_is_said(shop: Any) -> None:
    nobody = trial(shop, (1.0, "go"))
    assert isinstance(nobody.not_measured["cargo_count"], NotMeasured)
    assert "Nobody entered" in nobody.not_measured["cargo_count"].reason
    early = trial(shop, (35.0, "cargo: 7"))
    assert "go signal" in early.not_measured["cargo_per_min"].reason
    assert early.results["cargo_count"].quantity.value == 7
    short = trial(shop, (1.0, "go"), (35.0, "cargo: 7"), cap_s=300.0)
    assert "ended before" in short.not_measured["cargo_per_min"].reason


def test_rings_that_a_person_counted_go_before_what_the_camera_saw(shop: Any) -> None:
    found = trial(shop, (1.0, "go"), (35.0, "rings: 3"), kind="rings")
    assert found.results["rings_count"].quantity.value == 3
    assert found.results["rings_count"].witness == by_hand.HAND
    assert not any("counted by hand" in flag for flag in found.flags)
    assert "cargo_count" not in found.results


def test_touches_that_a_person_counted_go_before_what_the_camera_saw(shop: Any) -> None:
    found = trial(shop, (1.0, "go"), (35.0, "touches: 2"), kind="course")
    assert found.results["obstacle_touches_count"].quantity.value == 2
    assert any("ports and obstacles are counted by hand" in flag for flag in found.flags), "of the ports nobody spoke"
