"""Whole runs by gates, by camera, by both: what is said, and that nothing beside the point changes it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.recording.folder import Recording
from logger.results.measure import conclude, measure
from logger.results.trial_json import to_json
from logger.vision.track import NotFound


def steady(t: Any) -> Any:
    """Bow at the start line after 2 s, at the finish line (1200 mm) after 8 s."""
    return 200 * t - 500


def gate_edges(shop: Any) -> Any:
    return [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))]


def test_gates_alone(shop: Any) -> None:
    rig = shop.rig(gate_distance_mm=1200.0)
    trial = measure(shop.recording(rig, edges=gate_edges(shop), events=[(1.0, "armed"), (1.5, "go")])).trial
    assert (trial.status, trial.end_reason) == ("valid", "finish")
    assert [(c.line, c.t_ns, c.witness) for c in trial.crossings] == [
        ("start", shop.ns(2.0), "gate"),
        ("finish", shop.ns(8.0), "gate"),
    ]
    values = {name: r.quantity.value for name, r in trial.results.items()}
    assert values == pytest.approx(
        {"time_s": 6.0, "time_from_go_s": 6.5, "speed_mean_m_per_s": 0.2, "speed_at_line_m_per_s": 0.2}
    )
    assert {r.witness for r in trial.results.values()} == {"gate"}
    assert set(trial.not_measured) == {
        "speed_max_m_per_s", "path_mm", "straightness", "sideways_mm", "heading_swing_deg", "stuck_s",
    }  # fmt: skip
    assert all(gap.reason == "There are no pictures of this run." for gap in trial.not_measured.values())
    assert trial.flags == ()


def test_the_camera_alone(shop: Any) -> None:
    rig = shop.rig(gates=False)
    outcome = conclude(shop.recording(rig, events=[(1.0, "armed"), (1.5, "go")]), rig, shop.track(steady, until_s=10))
    trial = outcome.trial
    assert (trial.status, trial.end_reason) == ("valid", "finish")
    truths = {
        "time_s": 6.0, "time_from_go_s": 6.5, "speed_mean_m_per_s": 0.2, "speed_at_line_m_per_s": 0.2,
        "speed_max_m_per_s": 0.2, "path_mm": 1200.0,
    }  # fmt: skip
    for name, truth in truths.items():
        found = trial.results[name]
        assert abs(found.quantity.value - truth) < 3 * found.quantity.u, name
        assert found.witness == "camera"
    assert trial.results["time_s"].quantity.u < 0.01
    assert trial.results["straightness"].quantity.value == pytest.approx(1.0, abs=1e-4)
    assert trial.results["sideways_mm"].quantity.value < 1.0
    assert outcome.motion is not None
    assert "drift_mm" not in trial.results.keys() | trial.not_measured.keys()


def test_both_agree_and_the_gate_is_believed(shop: Any) -> None:
    rig = shop.rig(gate_distance_mm=1200.0)
    trial = conclude(shop.recording(rig, edges=gate_edges(shop)), rig, shop.track(steady, until_s=10)).trial
    assert trial.results["time_s"].witness == "gate"
    assert trial.results["time_s"].quantity.value == pytest.approx(6.0)
    assert trial.results["speed_at_line_m_per_s"].witness == "camera"
    assert trial.flags == ()


def test_a_drift_run(shop: Any, coasting: Any) -> None:
    """dv/dt = −v from 300 mm/s: 290 mm to 10 mm/s."""
    rig = shop.rig(gates=False, last="mark")
    track = shop.track(lambda t: coasting(t, cut_s=5.0, speed=300.0, rate=1.0, at_mm=1100.0), until_s=13)
    trial = conclude(shop.recording(rig, kind="drift"), rig, track).trial
    assert (trial.status, trial.end_reason) == ("valid", "at_rest")
    truths = {"drift_mm": 290.0, "speed_at_line_m_per_s": 0.3, "time_s": 4.0, "path_mm": 1490.0}
    for name, truth in truths.items():
        found = trial.results[name]
        assert abs(found.quantity.value - truth) < 3 * found.quantity.u, name
        assert not found.at_least
    assert trial.results["drift_mm"].quantity.u < 1.0


def test_a_drift_that_ends_at_the_wall_is_a_lower_bound_and_says_so(shop: Any) -> None:
    rig = shop.rig(gates=False, last="mark")
    track = shop.track(lambda t: np.minimum(200 * t - 500, 1900.0), until_s=16)
    trial = conclude(shop.recording(rig, kind="drift"), rig, track).trial
    assert trial.end_reason == "wall"
    assert trial.results["drift_mm"].at_least
    assert trial.results["drift_mm"].quantity.value == pytest.approx(795, abs=2)
    assert any("lower bound" in flag for flag in trial.flags)


def test_a_boat_that_stops_in_the_finish_beam_has_no_speed_from_its_length(shop: Any) -> None:
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 10.5))]
    trial = measure(shop.recording(shop.rig(), edges=edges)).trial
    assert "does not fit the boat" in trial.not_measured["speed_at_line_m_per_s"].reason
    assert trial.results["time_s"].quantity.value == pytest.approx(6.0)


def test_a_boat_that_does_not_arrive_did_not_finish(shop: Any) -> None:
    rig = shop.rig()
    trial = measure(shop.recording(rig, edges=shop.edges("A", (2.0, 3.0)), events=[(1.5, "go")])).trial
    assert trial.status == "did_not_finish"
    assert trial.not_measured["time_s"].reason == "Gate B did not see the boat."
    assert not trial.results


@pytest.mark.parametrize(
    ("events", "reason"),
    [
        ([(1.5, "go"), (70.0, "note:late")], "time_cap"),
        ([(1.5, "go"), (5.0, "stop")], "stopped_by_hand"),
        ([], "recording_ended"),
    ],
)
def test_why_a_run_without_a_finish_was_over(shop: Any, events: Any, reason: str) -> None:
    trial = measure(shop.recording(shop.rig(), edges=shop.edges("A", (2.0, 3.0)), events=events)).trial
    assert trial.end_reason == reason


@pytest.mark.parametrize(
    ("event", "status"), [("void:a hand", "void"), ("freed:", "freed"), ("did_not_finish:", "did_not_finish")]
)
def test_what_people_decided_is_kept_beside_the_numbers(shop: Any, event: str, status: str) -> None:
    trial = measure(shop.recording(shop.rig(), edges=gate_edges(shop), events=[(1.5, "go"), (9.5, event)])).trial
    assert trial.status == status
    assert trial.results["time_s"].quantity.value == pytest.approx(6.0)
    assert trial.flags == (("Void: a hand",) if status == "void" else ())


def test_a_boat_that_the_camera_did_not_find_leaves_the_gates(shop: Any) -> None:
    rig = shop.rig()
    trial = conclude(shop.recording(rig, edges=gate_edges(shop)), rig, NotFound("all water")).trial
    assert trial.results["time_s"].witness == "gate"
    assert trial.not_measured["path_mm"].reason == "The camera did not find the boat: all water."


@pytest.mark.parametrize("kind", ["balance", "load"])
def test_tests_by_hand_measure_nothing(shop: Any, kind: str) -> None:
    trial = measure(shop.recording(shop.rig(), kind=kind, edges=gate_edges(shop))).trial
    assert not trial.results
    assert "entered by hand" in trial.flags[0]


@pytest.mark.parametrize("kind", ["course", "cargo", "rings", "distance"])
def test_other_kinds_get_what_applies(shop: Any, kind: str) -> None:
    trial = measure(shop.recording(shop.rig(), kind=kind, edges=gate_edges(shop))).trial
    assert trial.results["time_s"].quantity.value == pytest.approx(6.0)


def test_the_same_recording_gives_the_same_bits(shop: Any) -> None:
    rig = shop.rig()
    texts = {
        to_json(conclude(shop.recording(rig, edges=gate_edges(shop)), rig, shop.track(steady, until_s=10)).trial)
        for _ in range(2)
    }
    assert len(texts) == 1


def moved(recording: Recording, later_ns: int) -> Recording:
    return replace(
        recording,
        edges=tuple(replace(e, t_ns=e.t_ns + later_ns) for e in recording.edges),
        events=tuple(replace(e, t_ns=e.t_ns + later_ns) for e in recording.events),
    )


@settings(max_examples=5)
@given(st.integers(-(10**12), 10**15))
def test_when_the_clock_began_changes_no_result(shop: Any, later_ns: int) -> None:
    rig, track = shop.rig(), shop.track(steady, until_s=10)
    recording = shop.recording(rig, edges=gate_edges(shop), events=[(1.5, "go")])
    here = conclude(recording, rig, track).trial
    there = conclude(moved(recording, later_ns), rig, replace(track, t_ns=track.t_ns + later_ns)).trial
    for name, result in here.results.items():
        assert there.results[name].quantity.value == pytest.approx(result.quantity.value, rel=1e-12)
        assert there.results[name].quantity.u == pytest.approx(result.quantity.u, rel=1e-9)
    assert [c.t_ns + later_ns for c in here.crossings] == pytest.approx([c.t_ns for c in there.crossings], abs=2)


@settings(max_examples=5)
@given(st.floats(-3, 3), st.floats(-900, 900))
def test_how_the_tank_lies_in_the_room_changes_no_result(shop: Any, angle: float, x_mm: float) -> None:
    c, s = np.cos(angle), np.sin(angle)

    def put(x: Any, y: Any) -> Any:
        return c * x - s * y + x_mm, s * x + c * y - 40.0

    rig, track = shop.rig(gates=False), shop.track(steady, until_s=10)
    lines = tuple(replace(line, a_mm=put(*line.a_mm), b_mm=put(*line.b_mm)) for line in rig.lines)
    outline = tuple(put(*p) for p in rig.tank.outline_mm)
    elsewhere = replace(rig, lines=lines, tank=replace(rig.tank, outline_mm=outline))
    x, y = put(track.x_mm, track.y_mm)
    here = conclude(shop.recording(rig), rig, track).trial
    turned = replace(track, x_mm=x, y_mm=y, heading_rad=track.heading_rad + angle)
    there = conclude(shop.recording(elsewhere), elsewhere, turned).trial
    for name in ("time_s", "speed_mean_m_per_s", "speed_at_line_m_per_s", "path_mm"):
        assert there.results[name].quantity.value == pytest.approx(here.results[name].quantity.value, rel=1e-5)


@settings(max_examples=8)
@given(st.permutations(range(4)))
def test_the_order_in_which_edges_were_kept_changes_nothing(shop: Any, order: list[int]) -> None:
    rig = shop.rig()
    edges = gate_edges(shop)
    assert (
        measure(shop.recording(rig, edges=[edges[i] for i in order])).trial
        == measure(shop.recording(rig, edges=edges)).trial
    )


def test_a_speed_from_gate_to_gate_is_as_doubtful_as_the_gate_that_the_camera_denies(shop: Any) -> None:
    """The finish beam breaks 0.09 s early, 18 mm before the boat is there; 1200 mm in 5.91 s, ± 0.09/√3 s."""
    rig = shop.rig(gate_distance_mm=1200.0, u_gate_distance_mm=0.5)
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (7.91, 9.0))]
    trial = conclude(shop.recording(rig, edges=edges), rig, shop.track(steady, until_s=10)).trial
    found = trial.results["speed_mean_m_per_s"]
    assert found.witness == "gate"
    assert found.quantity.value == pytest.approx(1.2 / 5.91)
    assert found.quantity.u == pytest.approx(1.2 / 5.91 * (0.09 / 3**0.5) / 5.91, rel=0.05)
    assert abs(found.quantity.value - 0.2) < found.quantity.U


def test_rigging_that_breaks_the_beam_before_the_boat_stands_in_it_is_not_believed(shop: Any) -> None:
    """The finish beam breaks 0.2 s early, 40 mm before the bow; the camera knows it to 2 mm."""
    rig = shop.rig()
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (7.8, 9.0))]
    trial = conclude(shop.recording(rig, edges=edges), rig, shop.track(steady, until_s=10)).trial
    found = trial.results["time_s"]
    assert found.witness == "gate+camera"
    assert abs(found.quantity.value - 6.0) < found.quantity.U
    assert any("the bow was 40 mm before it" in flag for flag in trial.flags)


def test_a_boat_that_came_faster_than_it_passed_the_finish_beam_has_no_speed_from_its_length(shop: Any) -> None:
    """x = 75·t² - 150: its bow is at the lines after 0.816 and 4.082 s, there with 612 mm/s; it is stopped and
    no more pictures come. 0.5 s in the beam make 400 mm/s, and 184 mm of boat by the mean speed, which looks right."""
    rig = shop.rig(gate_distance_mm=1200.0)
    recording = shop.recording(rig, edges=[*shop.edges("A", (0.8165, 1.6)), *shop.edges("B", (4.0825, 4.5825))])
    blind = conclude(recording, rig, None).trial
    assert blind.results["speed_at_line_m_per_s"].quantity.value == pytest.approx(0.4)
    trial = conclude(recording, rig, shop.track(lambda t: 75 * t**2 - 150, until_s=4.12)).trial
    assert "does not fit the boat" in trial.not_measured["speed_at_line_m_per_s"].reason


def test_a_rig_with_a_start_line_alone_tells_how_far_and_along_which_way(shop: Any) -> None:
    both = shop.rig(gates=False)
    rig = replace(both, lines=both.lines[:1])
    rules = replace(shop.recording(rig).card.rules, time_cap_s=5.5)
    recording = shop.recording(rig, kind="distance", events=[(1.5, "go")], rules=rules)
    trial = conclude(recording, rig, shop.track(steady, until_s=10)).trial
    assert trial.end_reason == "time_cap"
    assert {c.line for c in trial.crossings} == {"start"}
    for name, truth in {"distance_mm": 1000.0, "path_mm": 1000.0, "stuck_s": 0.0, "speed_max_m_per_s": 0.2}.items():
        found = trial.results[name].quantity
        assert abs(found.value - truth) <= 3 * found.u + 1e-3, name
    assert trial.not_measured["time_s"].reason == "The rig has no finish or mark line."


def test_a_rig_with_a_finish_alone_tells_the_time_from_go(shop: Any) -> None:
    both = shop.rig()
    rig = replace(both, lines=both.lines[1:], gates=both.gates[1:])
    trial = measure(shop.recording(rig, edges=shop.edges("B", (8.0, 9.0)), events=[(1.5, "go")])).trial
    assert trial.results["time_from_go_s"].quantity.value == pytest.approx(6.5)
    assert trial.not_measured["time_s"].reason == "The rig has no start line."
    assert (trial.status, trial.end_reason) == ("valid", "finish")
