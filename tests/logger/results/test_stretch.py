from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.config import CameraSetup, Rules
from logger.results import stretch, witnesses
from logger.results.case import case_of
from logger.results.times import U_GO_S
from logger.results.trial import NotMeasured


def asked(shop: Any, way: Any, *, until_s: float = 10.0, kind: str = "straight", **of: Any) -> Any:
    rig = shop.rig(gates=False, last="mark" if kind == "drift" else "finish")
    case = case_of(shop.recording(rig, kind=kind, **of), rig, shop.track(way, until_s=until_s))
    heard = witnesses.testimony(case)
    end = stretch.ending(case, heard)
    return end, stretch.answers(case, heard, end)


def test_a_straight_run_ends_at_its_finish(shop: Any) -> None:
    end, found = asked(shop, lambda t: 200 * t - 500)
    assert end.reason == "finish"
    assert end.t_ns == pytest.approx(shop.ns(8.0), abs=2e7)
    assert "drift_mm" not in found


def test_without_a_finish_the_path_goes_on_to_the_cap(shop: Any) -> None:
    end, found = asked(shop, lambda t: 100 * t - 300, rules=Rules(time_cap_s=4.0), events=[(1.0, "go")])
    assert end.reason == "time_cap"
    assert found["path_mm"].quantity.value == pytest.approx(100 * (5.0 - 2.0), abs=3)


def test_the_doubt_of_a_line_is_in_the_path_and_the_outline_cancels_between_two(shop: Any) -> None:
    _, found = asked(shop, lambda t: 200 * t - 500)
    parts = {s.name: c for s, c in found["path_mm"].quantity.contributions.items()}
    assert parts["start line place"] == -0.5
    assert parts["finish line place"] == 0.5
    assert "boat outline" not in parts


def test_a_drift_has_mark_and_outline_in_it(shop: Any, coasting: Any) -> None:
    _, found = asked(
        shop, lambda t: coasting(t, cut_s=5.0, speed=300.0, rate=1.0, at_mm=1100.0), until_s=13, kind="drift"
    )
    parts = {s.name: c for s, c in found["drift_mm"].quantity.contributions.items()}
    assert parts["mark line place"] == -0.5
    assert parts["boat outline"] == 0.4


def test_a_boat_that_never_passed_the_mark_has_no_drift(shop: Any) -> None:
    _, found = asked(shop, lambda t: 60 * t - 200, kind="drift")
    assert isinstance(found["drift_mm"], NotMeasured)
    assert "did not see the bow reach the mark line" in found["drift_mm"].reason
    assert not isinstance(found["path_mm"], NotMeasured)


def test_a_run_whose_time_is_up_before_the_finish_ends_there(shop: Any) -> None:
    """The bow is at the finish after 8 s; the time is up 4 s after go."""
    end, found = asked(shop, lambda t: 200 * t - 500, rules=Rules(time_cap_s=4.0), events=[(1.0, "go")])
    assert end.reason == "time_cap"
    assert found["path_mm"].quantity.value == pytest.approx(200 * (5.0 - 2.0), abs=3)


def test_a_distance_hangs_on_the_clocks_as_far_as_the_boat_goes_in_their_doubt(shop: Any) -> None:
    setup = CameraSetup(driver=None, calibration="camera.toml", u_delay_s=0.002)
    rig = shop.rig(gates=False, camera=setup)
    recording = shop.recording(rig, kind="distance", rules=Rules(time_cap_s=4.0), events=[(1.0, "go")])
    case = case_of(recording, rig, shop.track(lambda t: 200 * t - 500, until_s=9.0))
    heard = witnesses.testimony(case)
    found = stretch.answers(case, heard, stretch.ending(case, heard))["distance_mm"]
    assert found.quantity.value == pytest.approx(200 * 5.0 - 500 + 100, abs=1)
    parts = {source.name: part for source, part in found.quantity.contributions.items()}
    assert parts["camera delay"] == pytest.approx(200 * 0.002, rel=0.02)
    assert parts["go signal stamp"] == pytest.approx(200 * U_GO_S, rel=0.02)


def test_at_a_wall_a_longer_bow_ends_the_coast_sooner_and_the_camera_s_clock_counts_against_a_gate(shop: Any) -> None:
    """100 mm/s all the way: 0.4 mm of outline are 4 ms at the mark and at the wall, and cancel between the two. Seen by
    a gate at the mark, the wall's 4 ms are alone, and so are the 2 ms of the camera."""
    setup = CameraSetup(driver=None, calibration="camera.toml", u_delay_s=0.002)
    track = shop.track(lambda t: np.minimum(100 * t + 300, 1900.0), until_s=18.0)
    parts = {}
    for gates in (False, True):
        rig = shop.rig(gates=gates, last="mark", camera=setup)
        edges = [*shop.edges("A", (0.5, 0.9)), *shop.edges("B", (8.0, 10.0))] if gates else []
        case = case_of(shop.recording(rig, kind="drift", edges=edges), rig, track)
        heard = witnesses.testimony(case)
        end = stretch.ending(case, heard)
        assert end.reason == "wall"
        found = stretch.answers(case, heard, end)["coast_time_s"].quantity.contributions
        parts[gates] = {source.name: part for source, part in found.items()}
    assert parts[True]["boat outline"] == pytest.approx(-0.004, rel=0.1)
    assert parts[True]["camera delay"] == pytest.approx(-0.002)
    assert parts[False].get("boat outline", 0.0) == pytest.approx(0.0, abs=5e-4)
    assert parts[False].get("camera delay", 0.0) == pytest.approx(0.0, abs=1e-9)


def test_the_farthest_place_is_doubted_for_the_smoothness_too(shop: Any) -> None:
    _, found = asked(shop, lambda t: 200 * t - 500)
    parts = {source.name: part for source, part in found["sideways_mm"].quantity.contributions.items()}
    assert parts["how smooth the way was"] == pytest.approx(0.4 * parts["noise of the positions"])


def test_a_way_begins_where_the_camera_saw_it_if_the_gate_broke_while_the_boat_still_stood(shop: Any) -> None:
    """It stands 15 mm before the line until 2 s and goes at 200 mm/s then, over the line at 2.075 s; the beam breaks at
    1.2 s. By eye: 1200 mm to the finish, and not the 15 mm more from where it stood."""
    rig = shop.rig()
    edges = [*shop.edges("A", (1.2, 3.2)), *shop.edges("B", (8.075, 9.075))]
    track = shop.track(lambda t: -115 + 200 * np.maximum(t - 2.0, 0.0), until_s=10.0)
    case = case_of(shop.recording(rig, edges=edges), rig, track)
    heard = witnesses.testimony(case)
    assert any("hardly moved" in flag for flag in heard.flags)
    found = stretch.answers(case, heard, stretch.ending(case, heard))
    assert found["path_mm"].quantity.value == pytest.approx(1200, abs=2)
