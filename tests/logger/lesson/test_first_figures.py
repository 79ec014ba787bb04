from __future__ import annotations

import pytest

from logger.config import Line, Rig, Tank
from logger.lesson.first_figures import U_PLACE_MM, live_results
from logger.recording.folder import Event
from logger.records import Fix

RIG = Rig(
    "r", Tank(((-100.0, -300.0), (1500.0, -300.0), (1500.0, 300.0), (-100.0, 300.0)), 90.0),
    (Line("start", "start", (0.0, -300.0), (0.0, 300.0)), Line("mark", "mark", (500.0, -300.0), (500.0, 300.0))),
)  # fmt: skip


def event(t_s: float, name: str, detail: str = "") -> Event:
    return Event(round(t_s * 1e9), name, "referee", detail)


def test_a_drift_run_is_told_from_the_last_place_of_the_bow() -> None:
    fixes = [Fix(10**9, 700.0, 20.0, 0.0, (1.0, 0.0, 1.0), "measured", "camera", bow_mm=80.0)]
    history = [event(1.0, "started"), event(3.5, "passed_mark"), event(6.0, "ended", "at_rest")]
    found = live_results(RIG, history, fixes)
    assert found["drift_mm"].quantity.value == pytest.approx(280.0)
    assert found["drift_mm"].quantity.u == U_PLACE_MM
    assert found["time_s"].quantity.value == pytest.approx(2.5)
    assert {result.witness for result in found.values()} == {"live"}
    assert not found["drift_mm"].at_least
    wall = live_results(RIG, [*history[:2], event(6.0, "ended", "wall")], fixes)
    assert wall["drift_mm"].at_least


def test_what_did_not_happen_is_not_told() -> None:
    assert live_results(RIG, [event(1.0, "started"), event(9.0, "ended", "time_cap")], []) == {}


def test_a_run_that_waits_for_the_word_is_told_from_it() -> None:
    history = [event(0.5, "released"), event(1.0, "started"), event(4.0, "ended", "finish")]
    found = live_results(RIG, history, [])
    assert {name: result.quantity.value for name, result in found.items()} == {"time_s": 3.0, "time_from_go_s": 3.5}
    assert "time_from_go_s" not in live_results(RIG, history[1:], [])
