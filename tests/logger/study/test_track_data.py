from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from logger.study.class_folder import Class, read_class
from logger.study.track_data import (
    WINDOW_S,
    Tracks,
    as_json,
    coast_of,
    data_of,
    mean_speed,
    moments,
    reach_of,
    stretch_speed,
    tracks_of,
    way_of,
)
from tests.logger.study.invented_class import FINISH_MM, TAUS_S, Sail, coast_s, write_class


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")))


@pytest.fixture(scope="module")
def tracks(whole: Class) -> Tracks:
    return tracks_of(whole)


def test_speed_is_how_far_in_a_quarter_of_a_second_times_four() -> None:
    t_s = np.arange(0.0, 2.0001, 0.01)
    speed = stretch_speed(t_s, 300.0 * t_s**2)  # by hand: 300·((t + ⅛)² - (t - ⅛)²) / ¼ = 600·t
    inside = np.isfinite(speed)
    assert np.allclose(speed[inside], 600.0 * t_s[inside], rtol=1e-6, atol=0.05)
    assert np.isnan(speed[:12]).all()
    assert np.isnan(speed[-12:]).all()
    assert WINDOW_S == 0.25


def test_a_run_at_one_speed_has_that_speed_everywhere(whole: Class, tracks: Tracks) -> None:
    way = tracks.ways["s1-r001"]  # Heron at 240 mm/s
    assert np.nanmax(np.abs(way.speed_mm_per_s - 240.0)) < 0.2
    assert np.abs(way.along_mm - way.x_mm).max() < 1.0
    assert np.allclose(way.across_mm, 20.0)
    series = whole.runs[0].run.series
    assert series is not None
    assert np.allclose(way_of(series, whole.runs[0].run.rig).y_mm, 20.0)


def test_axes_are_the_same_for_every_run_of_a_kind_and_hold_all(tracks: Tracks, whole: Class) -> None:
    for kind in whole.kinds:
        ids = [one.id for one in whole.of(kind=kind)]
        told = [data_of(one, tracks)["axes"] for one in whole.of(kind=kind)]
        assert all(one == told[0] for one in told)
        for run_id in ids:
            way = tracks.ways[run_id]
            for name, values in (("time", way.t_s), ("along", way.along_mm), ("speed", way.speed_mm_per_s)):
                low, high = told[0][name]
                assert low <= np.nanmin(values)
                assert high > np.nanmax(values)
                assert low <= 0 <= high
    assert reach_of([]).time_s == (0.0, 1.0)


def test_the_mean_speed_is_distance_by_time_and_what_they_share_cancels(whole: Class) -> None:
    mean = mean_speed(whole.runs[0].run)
    assert mean is not None
    assert mean["distance"] == FINISH_MM
    assert mean["speed"] == pytest.approx(240.0, abs=1e-3)
    # by hand: the finish line's 0.4 mm, the gate's 1 ms; the start line's 0.4 mm shortens distance and time alike
    time_s = FINISH_MM / 240.0
    alone = np.hypot(0.4 / time_s, 240.0 * 0.001 / time_s)
    shared = abs(-0.4 / time_s - 240.0 * (0.4 / 240.0) / time_s)
    assert mean["U_speed"] == pytest.approx(1.96 * np.hypot(alone, shared), rel=0.01)


def test_a_run_that_was_not_timed_has_no_mean_speed(whole: Class) -> None:
    assert mean_speed(whole.runs[-1].run) is None


def test_moments_are_the_lines_and_the_rest(whole: Class) -> None:
    one = whole.of(kind="drift", team="Team Coot")[0]
    told = moments(one.run)
    assert [moment["role"] for moment in told] == ["start", "mark", "rest"]
    assert told[1]["t"] == pytest.approx(2.0)
    assert told[2]["t"] == pytest.approx(2.0 + coast_s(Sail("Coot", "drift", 2, 250.0)), abs=1e-4)
    walled = replace(one.run, trial=replace(one.run.trial, end_reason="wall"))
    assert [moment["role"] for moment in moments(walled)] == ["start", "mark"]


def test_the_coast_that_is_drawn_is_that_of_the_law(whole: Class, tracks: Tracks) -> None:
    one = whole.of(kind="drift", team="Team Coot")[0]
    fit = coast_of(one.run, tracks.ways[one.id])
    assert fit is not None
    assert fit["speed"] == pytest.approx(250.0, abs=0.01)
    assert 1 / fit["linear"] == pytest.approx(TAUS_S["Coot"])
    assert fit["squared"] == 0
    assert fit["along"] == pytest.approx(500.0, abs=0.6)
    assert coast_of(whole.runs[0].run, tracks.ways["s1-r001"]) is None


def test_ghosts_are_the_others_of_the_same_kind(whole: Class, tracks: Tracks) -> None:
    data = data_of(whole.of(kind="drift")[0], tracks)
    assert [ghost["name"] for ghost in data["ghosts"]][:2] == ["Team Otter, run 1", "Team Tern, run 1"]
    assert len(data["ghosts"]) == 7
    ghost, way = data["ghosts"][0], tracks.ways[data["ghosts"][0]["id"]]
    assert np.abs(np.interp(ghost["t"], way.t_s, way.along_mm) - ghost["along"]).max() < 0.2


def test_hidden_stretches_are_told(whole: Class, tracks: Tracks) -> None:
    data = data_of(whole.runs[0], tracks)
    ((first, last),) = data["unseen"]
    assert data["t"][first] > 1.0
    assert data["t"][last] < 1.2


def test_what_is_written_into_a_page_cannot_end_its_element(whole: Class, tracks: Tracks) -> None:
    text = as_json(data_of(whole.runs[0], tracks) | {"name": "</script><b>&"})
    assert "<" not in text
    assert json.loads(text)["name"] == "</script><b>&"


def test_lines_ports_and_gates_are_drawn(whole: Class, tracks: Tracks) -> None:
    tank = data_of(whole.runs[0], tracks)["tank"]
    assert [(line["name"], line["at"], line["gate"]) for line in tank["lines"]] == [
        ("start", 0.0, True), ("mark", 500.0, False), ("finish", 1000.0, True),
    ]  # fmt: skip
    assert {zone["kind"] for zone in tank["zones"]} == {"port", "obstacle"}


def test_a_run_without_a_track_has_no_numbers_to_draw(whole: Class, tracks: Tracks) -> None:
    blind = replace(whole.runs[0], run=replace(whole.runs[0].run, series=None))
    with pytest.raises(ValueError, match="has no track"):
        data_of(blind, tracks)
