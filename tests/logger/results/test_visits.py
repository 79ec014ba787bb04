"""A boat of 200 × 80 mm that goes along x: by eye when its bow and its stern come over a port."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.config import Zone
from logger.results import visits
from logger.results.case import case_of
from logger.results.measure import conclude
from logger.results.motion import smooth
from logger.results.trial import NotMeasured

PORT = Zone("Reed Bay", "port", outline_mm=((400.0, -50.0), (500.0, -50.0), (500.0, 300.0), (400.0, 300.0)), u_mm=2.0)
PILE = Zone("Pile", "obstacle", middle_mm=(800.0, 100.0), radius_mm=30.0, u_mm=1.0)


def run(shop: Any, way: Any, *zones: Zone, kind: str = "course", until_s: float = 9.0, **asked: Any) -> Any:
    rig = shop.rig(gates=False, zones=zones)
    recording = shop.recording(rig, kind=kind, events=[(0.5, "go")])
    return conclude(recording, rig, shop.track(way, until_s=until_s, **asked)).trial


def test_a_port_is_entered_by_the_bow_and_left_by_the_stern(shop: Any) -> None:
    """200 mm/s from -400: the bow, 100 mm ahead, is at 400 after 3.5 s, the stern at 500 after 5 s."""
    trial = run(shop, lambda t: 200 * t - 400, PORT)
    (visit,) = trial.visits
    assert (visit.zone, visit.kind, visit.is_sure) == ("Reed Bay", "port", True)
    assert (visit.from_ns - shop.zero_ns) / 1e9 == pytest.approx(3.5, abs=0.02)
    assert (visit.to_ns - shop.zero_ns) / 1e9 == pytest.approx(5.0, abs=0.02)
    assert visit.u_from_s == pytest.approx(np.hypot(2.0, 0.4) / 200, rel=0.15)
    assert trial.results["ports_count"].quantity.value == 1
    assert trial.results["port_dwell_s"].quantity.value == pytest.approx(1.5, abs=0.03)
    assert "rings_count" not in trial.results
    assert not any("counted by hand" in flag for flag in trial.flags)


def test_a_round_obstacle_is_touched_by_the_side(shop: Any) -> None:
    """The side runs at y = 60 + 40: 10 mm into a pile whose edge is at 70."""
    trial = run(shop, lambda t: 200 * t - 400, PILE, aside=lambda t: np.full_like(t, 40.0))
    (visit,) = trial.visits
    assert visit.kind == "obstacle"
    assert visit.is_sure
    assert trial.results["obstacle_touches_count"].quantity.value == 1


@pytest.mark.parametrize(("aside", "chance"), [(30.0, 0.5), (31.5, 0.92), (28.5, 0.08)])
def test_a_boat_that_just_reaches_or_misses_it_was_perhaps_there(shop: Any, aside: float, chance: float) -> None:
    """The side at 40 + aside, the pile's edge at 70; u of the border 1 mm, of the outline 0.4 mm."""
    trial = run(shop, lambda t: 200 * t - 400, PILE, aside=lambda t: np.full_like(t, aside), noise_mm=0.05)
    (visit,) = trial.visits
    assert not visit.is_sure
    assert visit.chance == pytest.approx(chance, abs=0.08)
    assert any("touched the obstacle “Pile” is not sure" in flag for flag in trial.flags)
    count = trial.results["obstacle_touches_count"].quantity
    assert 1 <= count.U < 1.01, "the other whole number is in the interval"


def test_ports_come_in_order_and_again(shop: Any) -> None:
    """Out and back: A, B, A; two different ports."""
    other = Zone("Stone Quay", "port", middle_mm=(1000.0, 0.0), radius_mm=40.0)
    trial = run(shop, lambda t: 900 * np.sin(t * np.pi / 8) ** 2, PORT, other, until_s=8.5, noise_mm=0.05)
    assert [visit.zone for visit in trial.visits] == ["Reed Bay", "Stone Quay", "Reed Bay"]
    assert trial.results["ports_count"].quantity.value == 2


def test_what_was_before_go_or_after_the_end_does_not_count(shop: Any) -> None:
    start = Zone("Start Dock", "port", middle_mm=(-400.0, 0.0), radius_mm=50.0)
    behind = Zone("Far Dock", "port", middle_mm=(1500.0, 0.0), radius_mm=50.0)
    trial = run(shop, lambda t: 400 * t - 900, start, behind, until_s=7.0)
    assert [visit.zone for visit in trial.visits] == ["Start Dock"]
    moved = run(shop, lambda t: 800 * t - 900, start, until_s=4.0)
    assert [visit.zone for visit in moved.visits] == ["Start Dock"]
    assert (moved.visits[0].from_ns - shop.zero_ns) / 1e9 == pytest.approx(0.5)


def test_leaving_by_less_than_the_doubt_is_not_leaving(shop: Any) -> None:
    wide = replace(PORT, u_mm=8.0)
    rocking = run(shop, lambda t: 340 + 5 * np.sin(3 * t) - 45, wide, until_s=8)
    assert len(rocking.visits) <= 1


def test_without_pictures_nothing_is_said_of_ports(shop: Any) -> None:
    rig = shop.rig(zones=(PORT,))
    recording = shop.recording(rig, kind="course", edges=shop.edges("A", (1, 1.5)) + shop.edges("B", (5, 5.5)))
    trial = conclude(recording, rig, None).trial
    assert trial.visits == ()
    assert isinstance(trial.not_measured["ports_count"], NotMeasured)


def test_a_boat_without_an_outline_is_where_its_middle_is(shop: Any) -> None:
    motion = smooth(shop.track(lambda t: 200 * t, outline_mm=np.zeros((0, 2))))
    assert visits.depth_mm(PORT, motion, np.array([2.25])) == pytest.approx([50], abs=0.5)
    assert visits.depth_mm(PILE, motion, np.array([4.0])) == pytest.approx([-70], abs=0.5)


def test_the_hull_is_turned_with_the_boat(shop: Any) -> None:
    """Heading to the left: its bow reaches 100 mm to +y."""
    motion = smooth(shop.track(lambda t: np.full_like(t, 800.0), heading=lambda t: np.full_like(t, np.pi / 2)))
    assert visits.depth_mm(PILE, motion, np.array([2.0])) == pytest.approx([30], abs=0.5)
    pond = Zone("Pond", "port", outline_mm=((780.0, 90.0), (820.0, 90.0), (820.0, 140.0), (780.0, 140.0)))
    assert visits.depth_mm(pond, motion, np.array([2.0])) == pytest.approx([10], abs=0.5)


def test_a_case_without_zones_has_no_visits(shop: Any) -> None:
    rig = shop.rig(gates=False)
    case = case_of(shop.recording(rig), rig, shop.track(lambda t: 200 * t))
    assert visits.answers(case, ()) == {}


def test_a_fast_boat_that_comes_from_far_outside_within_one_picture_is_not_cut_off_there(shop: Any) -> None:
    """900 mm/s and 10 pictures a second: 90 mm a picture. By eye: in at (400 - 100 + 1000)/900 s, out at 1600/900 s."""
    trial = run(shop, lambda t: 900 * t - 1000, PORT, until_s=3.5, rate_hz=10.0)
    (visit,) = trial.visits
    assert (visit.from_ns - shop.zero_ns) / 1e9 == pytest.approx(1300 / 900, abs=0.002)
    assert (visit.to_ns - shop.zero_ns) / 1e9 == pytest.approx(1600 / 900, abs=0.002)
    dwell = trial.results["port_dwell_s"].quantity
    assert dwell.value == pytest.approx(300 / 900, abs=0.003)
    parts = {source.name: part for source, part in dwell.contributions.items()}
    parts = {source.name: part for source, part in dwell.contributions.items()}
    assert parts["border of Reed Bay where it came"] == pytest.approx(2.0 / 900, rel=0.02)
    assert parts["border of Reed Bay where it left"] == pytest.approx(2.0 / 900, rel=0.02)
    assert parts["boat outline"] == pytest.approx(2 * 0.4 / 900, rel=0.02)


def test_a_round_port_that_is_larger_than_it_is_said_to_be_is_so_at_both_ends(shop: Any) -> None:
    """By eye: 200 mm of boat through a port of 60 mm along its middle; 2 x 1 mm of border at 200 mm/s."""
    port = replace(PILE, kind="port")
    trial = run(shop, lambda t: 200 * t - 400, port, until_s=11.0, aside=lambda t: np.full_like(t, 100.0))
    parts = {source.name: part for source, part in trial.results["port_dwell_s"].quantity.contributions.items()}
    assert parts["border of Pile"] == pytest.approx(2 * 1.0 / 200, rel=0.1)


@pytest.mark.parametrize("aside", [28.5, 31.5])
def test_a_port_that_was_only_grazed_has_a_time_that_may_be_nothing_or_more(shop: Any, aside: float) -> None:
    """1.5 mm short of it, or 1.5 mm in it; by eye: at 2 u = 2.2 mm more it is there for as long as the hull is near."""
    port = replace(PILE, kind="port")
    trial = run(shop, lambda t: 200 * t - 400, port, aside=lambda t: np.full_like(t, aside), noise_mm=0.05)
    dwell = trial.results["port_dwell_s"].quantity
    assert dwell.U > 0.3
    assert (dwell.value == 0) == (aside < 30)
