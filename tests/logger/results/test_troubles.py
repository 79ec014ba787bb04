"""What sources say against themselves reaches the trial: as sentences, as the camera's word instead, as doubt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.recording.folder import Event
from logger.recording.sensor_tables import event_of_clock_doubt, event_of_fault
from logger.records import ClockDoubt, Fault
from logger.results.measure import conclude
from logger.results.troubles import Trouble, told, troubles, u_clock_s

S = 1_000_000_000


def fault(what: str, t_s: float, since_s: float | None = None, source: str = "gates") -> Event:
    since_ns = None if since_s is None else round(since_s * S)
    return event_of_fault(Fault(round(t_s * S), source, what, "look at the cable", since_ns=since_ns))


def doubt(t_s: float, u_ms: float, source: str = "gates") -> Event:
    return event_of_clock_doubt(ClockDoubt(round(t_s * S), source, round(u_ms * 1e6), "12 of 40 answers"))


def test_a_fault_of_one_gate_concerns_that_gate_from_its_beginning_until_it_is_told() -> None:
    (one,) = troubles([fault("gate A: 3 edges lost", 8.0, 6.0)])
    assert one == Trouble("gates", "A", 6 * S, 8 * S, "gate A: 3 edges lost; look at the cable")
    assert [one.concerns("A", t_s * S) for t_s in (5, 6, 8, 9)] == [False, True, True, False]
    assert not one.concerns("B", 7 * S)


def test_any_other_fault_of_the_gates_concerns_all_of_them_and_one_of_the_camera_none() -> None:
    of_gates, of_camera = troubles([fault("the board is gone", 8.0, 6.0), fault("no pictures", 8.0, 6.0, "camera")])
    assert of_gates.concerns("A", 7 * S)
    assert of_gates.concerns("B", 7 * S)
    assert not of_camera.concerns("A", 7 * S)


def test_a_source_that_never_stops_complaining_is_cut_short() -> None:
    found = troubles([fault(f"gate A: {n} edges lost", float(n)) for n in range(1, 8)])
    sentences = told(found, origin_ns=0, from_ns=2 * S, until_ns=10 * S)
    assert sentences[0] == "Trouble at 2.000 s, told by gates: gate A: 2 edges lost; look at the cable."
    assert len(sentences) == 4
    assert sentences[-1].startswith("3 more times gates told of trouble")


def test_trouble_before_the_arming_is_not_told() -> None:
    found = troubles([fault("gate A: flickers", 1.0, 0.5), fault("gate A: flickers", 3.0, 1.0)])
    assert len(told(found, origin_ns=0, from_ns=2 * S, until_ns=10 * S)) == 1


def test_the_clock_s_doubt_is_the_worst_during_the_run_and_what_was_said_last_before_it() -> None:
    events = [doubt(1.0, 5.0), doubt(2.0, 0.3), doubt(4.0, 0.2), doubt(6.0, 0.4), doubt(9.0, 3.0)]
    assert u_clock_s(events, "gates", from_ns=3 * S, until_ns=5 * S) == pytest.approx(3e-4)
    assert u_clock_s(events, "gates", from_ns=3 * S, until_ns=7 * S) == pytest.approx(4e-4)
    assert u_clock_s(events, "gates", from_ns=0, until_ns=10 * S) == pytest.approx(5e-3)
    assert u_clock_s(events, "camera", from_ns=0, until_ns=10 * S) == 0.0


@given(st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=30))
def test_a_clock_s_doubt_in_words_of_others_is_a_second_at_most(words: str) -> None:
    assert 0 <= u_clock_s([Event(1, "clock_doubt", "gates", words)], "gates", from_ns=0, until_ns=2) <= 1.0


def steady(t: Any) -> Any:
    """Bow at the start line after 2 s, at the finish line (1200 mm) after 8 s."""
    return 200 * t - 500


def trial_of(shop: Any, *events: Event, camera: bool = True, end_s: float = 8.0) -> Any:
    rig = shop.rig(gate_distance_mm=1200.0)
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (end_s, end_s + 1))]
    moved = tuple(replace(event, t_ns=shop.zero_ns + event.t_ns) for event in events)
    recording = replace(shop.recording(rig, edges=edges), events=moved)
    track = shop.track(steady, until_s=10) if camera else None
    return conclude(recording, rig, track).trial


def test_a_gate_in_trouble_at_the_crossing_leaves_the_word_to_the_camera(shop: Any) -> None:
    """Three edges went missing before the finish beam's first seen break, 80 ms too late."""
    since = shop.zero_ns + 7 * S
    event = event_of_fault(Fault(round(8.08 * S), "gates", "gate B: 3 edges lost", "look", since_ns=since))
    trial = trial_of(shop, event, end_s=8.08)
    assert {c.line: c.witness for c in trial.crossings} == {"start": "gate", "finish": "camera"}
    assert abs(trial.results["time_s"].quantity.value - 6.0) < 3 * trial.results["time_s"].quantity.u
    assert any("Gate B: its driver reported trouble" in flag for flag in trial.flags)
    assert any("gate B: 3 edges lost" in flag for flag in trial.flags)


def test_without_a_camera_a_gate_in_trouble_still_counts_and_the_trouble_is_told(shop: Any) -> None:
    since = shop.zero_ns + 7 * S
    event = event_of_fault(Fault(8 * S, "gates", "gate B: 3 edges lost", "look", since_ns=since))
    trial = trial_of(shop, event, camera=False)
    assert trial.results["time_s"].quantity.value == pytest.approx(6.0)
    assert any("gate B: 3 edges lost" in flag for flag in trial.flags)


def test_the_gates_clock_is_shared_by_all_gates_so_it_cancels_between_two_and_not_against_go(shop: Any) -> None:
    """Start and finish on one board: u of their difference stays that of the stamps; against go the clock counts."""
    rig = shop.rig(gate_distance_mm=1200.0)
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))]
    recording = shop.recording(rig, edges=edges, events=[(1.0, "armed"), (1.5, "go")])
    said = replace(doubt(0.5, 4.0), t_ns=shop.ns(0.5))
    plain, doubted = (
        conclude(replace(recording, events=(*recording.events, *more)), rig, None).trial for more in ((), (said,))
    )
    for name in ("time_s", "speed_mean_m_per_s"):
        assert doubted.results[name].quantity.u == pytest.approx(plain.results[name].quantity.u, rel=1e-9), name
    u_plain, u_doubted = (trial.results["time_from_go_s"].quantity.u for trial in (plain, doubted))
    assert u_doubted**2 - u_plain**2 == pytest.approx(0.004**2, rel=1e-6)


def test_the_camera_s_clock_widens_what_the_camera_says(shop: Any) -> None:
    rig = shop.rig(gates=False)
    recording = shop.recording(rig, events=[(1.0, "armed"), (1.5, "go")])
    said = replace(doubt(0.5, 20.0, "camera"), t_ns=shop.ns(0.5))
    track = shop.track(steady, until_s=10)
    plain, doubted = (
        conclude(replace(recording, events=(*recording.events, *more)), rig, track).trial for more in ((), (said,))
    )
    u_plain, u_doubted = (trial.results["time_from_go_s"].quantity.u for trial in (plain, doubted))
    assert u_doubted**2 - u_plain**2 == pytest.approx(0.02**2, rel=1e-3)
