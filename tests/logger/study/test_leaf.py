from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from calibration.quantity import Quantity
from logger.study import graphs, pathmap
from logger.study.graphs import Curve
from logger.study.leaf import Run, leaf_of


def test_the_table_holds_every_result_and_every_reason(make_drift_run: Callable[..., Run]) -> None:
    leaf = leaf_of(make_drift_run(), "k")
    assert [(row.name, bool(row.value), row.missing) for row in leaf.rows] == [
        ("drift", True, ""),
        ("speed at the line", True, ""),
        ("time", False, "The boat never reached the finish line."),
    ]


def test_causes_of_doubt_come_largest_first_and_add_up(make_drift_run: Callable[..., Run]) -> None:
    budget = leaf_of(make_drift_run(), "k").budgets[0]
    assert [cause.source for cause in budget.rows] == ["freeboard", "mark line place", "camera noise"]
    assert sum(cause.share_percent for cause in budget.rows) == pytest.approx(100, abs=0.2)
    # shares of the squares: 1.1² : 1.0² : 0.8²
    assert budget.rows[0].share_percent == pytest.approx(100 * 1.21 / 2.85, abs=0.05)


def test_the_slider_tells_the_same_moment_on_map_and_graphs(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run()
    assert run.series is not None
    moments = json.loads(leaf_of(run, "k").moments_json)
    told, on_map, on_distance, on_speed = moments[-1]
    series = run.series
    assert told.startswith(f"{series.t_s[-1]:.2f} s after")
    assert on_map == pytest.approx(pathmap.chart_of(run.rig).px(*series.bow_at(series.t_s[-1])), abs=0.06)
    across, upright = graphs.axes_for(Curve(series.t_s, series.speed_m_per_s, series.u_speed_m_per_s, series.seen))
    assert on_speed == pytest.approx([across.px(series.t_s[-1]), upright.px(series.speed_m_per_s[-1])], abs=0.06)
    assert on_distance[0] == on_speed[0]


def test_the_coast_is_shaded_in_a_drift_run_only(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run()
    straight = replace(run, trial=replace(run.trial, kind="straight"))
    assert "coasting" in leaf_of(run, "k").graphs[1]
    assert "coasting" not in leaf_of(straight, "k").graphs[1]


def test_a_crossing_seen_twice_is_drawn_once_by_the_better_witness(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run()
    worse = replace(run.trial.crossings[0], t_ns=2 * 10**9, u_s=0.5)
    leaf = leaf_of(replace(run, trial=replace(run.trial, crossings=(*run.trial.crossings, worse))), "k")
    assert leaf.graphs == leaf_of(run, "k").graphs


def test_a_run_without_a_track_still_has_its_map_and_results(make_straight_run: Callable[..., Run]) -> None:
    leaf = leaf_of(make_straight_run("Coot", 4.2), "k")
    assert leaf.graphs == ()
    assert "gates alone" in leaf.map_caption
    assert leaf.rows[0].seen_by == "the gates"


def test_guesses_are_owned_up_to(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run()
    assert run.series is not None
    whole = replace(run, series=replace(run.series, seen=np.ones(len(run.series.t_s), bool)))
    assert "Hollow dots" in leaf_of(run, "k").map_caption
    assert "Hollow dots" not in leaf_of(whole, "k").map_caption


def test_a_result_without_doubt_has_no_budget(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run()
    result = replace(run.trial.results["drift_mm"], quantity=Quantity(3.0, "mm"))
    leaf = leaf_of(replace(run, trial=replace(run.trial, results={"drift_mm": result})), "k")
    assert leaf.budgets == ()
    assert leaf.rows[0].doubt == ""
