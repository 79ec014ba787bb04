"""What the truth files say, against its own definition."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator import simulate_run, truth
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes

SHORT = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0}


def test_the_truth_of_a_frame_is_at_the_moment_of_the_boats_own_row() -> None:
    scene = draw(tier="easy", kind="straight", seed=31, asked=wishes({"line_ns": 30_000, "exposure_ns": 6_000_000}))
    times = truth.row_times_s(scene)
    pose = scene.voyage.pose(times)
    rows = scene.eye.see(np.column_stack([pose[:, :2], np.zeros(len(pose))]))[:, 1]
    begins = scene.shutter.begins_ns / 1e9
    np.testing.assert_allclose(times, begins + rows * 30e-6 + 3e-3, atol=1e-10)


def test_the_bow_is_on_the_line_at_the_crossing() -> None:
    facts = simulate_run(seed=12, kind="straight").truth
    places = {line["name"]: line for line in facts["lines"]}
    assert len(facts["crossings"]) == 2
    for crossing in facts["crossings"]:
        line = places[crossing["line"]]
        normal = np.array([np.cos(np.radians(line["normal_deg"])), np.sin(np.radians(line["normal_deg"]))])
        assert np.dot(crossing["bow_mm"], normal) == pytest.approx(line["place_mm"], abs=1e-6)


def test_a_boat_that_reaches_the_wall_says_so_and_its_drift_ends_there() -> None:
    run = simulate_run(seed=2, wall_contact=True, **{**SHORT, "speed_mm_per_s": 900.0})
    assert run.truth["end_reason"] == "wall"
    assert run.truth["end_ns"] < run.truth["wall_contact_ns"] < run.truth["ended_ns"]
    front = max(x for x, _ in run.truth["tank"]["outline_mm"])
    assert run.truth["end_bow_mm"][0] == pytest.approx(front - 5.0, abs=1e-6)


def test_a_drift_is_the_way_of_the_bow_from_the_mark_to_the_end() -> None:
    run = simulate_run(seed=3, wall_contact=False)
    mark = next(line for line in run.truth["lines"] if line["role"] == "mark")
    normal = np.radians(mark["normal_deg"])
    bow = np.array(run.truth["end_bow_mm"])
    assert run.truth["end_reason"] == "at_rest"
    assert bow @ [np.cos(normal), np.sin(normal)] - mark["place_mm"] == pytest.approx(run.truth["drift_mm"], abs=1e-9)


def test_the_truth_of_a_tag_leads_from_it_to_the_bow() -> None:
    boat = simulate_run(seed=5, tier="hard", tag="square", tag_number=11, tag_turn_deg=1.0, **SHORT).truth["boat"]
    tag = boat["tag"]
    assert (tag["kind"], tag["number"], tag["turn_deg"]) == ("square", 11, pytest.approx(1.0))
    assert tag["ahead_mm"] + tag["bow_ahead_mm"] == pytest.approx(max(x for x, _ in boat["outline_mm"]))
    assert "tag" not in simulate_run(seed=5, tier="hard", **SHORT).truth["boat"]
