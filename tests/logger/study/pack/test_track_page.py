from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal

import numpy as np

from calibration.quantity import Quantity
from logger.results.trial import Result
from logger.study.bands import band, rounded
from logger.study.class_folder import Class
from logger.study.pack import shell
from logger.study.pack.track_page import facts_of, mean_told, results_for, thin, track_page
from logger.study.track_data import tracks_of


def test_by_hand_from_the_pages_own_numbers(whole: Class) -> None:
    """Every age: the shown distance over the shown time, to the last shown digit."""
    checked = 0
    for one in whole.runs:
        for name in ("4-5", "6-8"):
            told = mean_told(one.run, band(name))
            if not told:
                continue
            distance, time, speed = re.findall(r"\d+\.\d+", told)[:3]
            places = len(speed.partition(".")[2])
            assert rounded(Decimal(distance) / Decimal(time), places) == Decimal(speed), told
            checked += 1
    assert checked == 2 * 52


def test_the_youngest_are_told_about_and_no_doubt(whole: Class) -> None:
    told = {row.name: row.value for row in results_for(whole.runs[0].run, band("2-3"))}
    assert told == {"time": "about 4.2 seconds", "mean speed, line to line": "about 24 centimetres each second"}


def test_the_oldest_get_everything_with_its_doubt(whole: Class) -> None:
    told = {row.name: row.value for row in results_for(whole.of(kind="drift")[0].run, band("6-8"))}
    assert "±" in told["drift"]
    assert "drag, linear" in told
    assert told["mean speed, line to line"].startswith("0.5000 m ÷ 2.000 s = 0.2500 m/s, ±")


def test_the_speed_from_beam_to_beam_is_told_with_its_own_doubt_where_gates_timed_it(whole: Class) -> None:
    run = whole.runs[0].run
    for witness, is_told in (("gate", True), ("gate+camera", True), ("camera", False)):
        speed = Result(Quantity.of(0.2405, "m/s", u=0.0006, source="gate distance"), witness)
        timed = replace(run, trial=replace(run.trial, results=run.trial.results | {"speed_mean_m_per_s": speed}))
        told = {row.name: row.value for row in results_for(timed, band("6-8"))}
        assert ("mean speed, beam to beam" in told) is is_told
        if is_told:
            assert told["mean speed, beam to beam"] == "0.2405\u00a0±\u00a00.0012\u00a0m/s"  # k = 1.96
        assert "mean speed, beam to beam" not in {row.name for row in results_for(timed, band("4-5"))}


def test_nothing_that_was_written_freely_is_told(whole: Class, files: dict[str, str]) -> None:
    for text in files.values():
        assert "nobody else may read" not in text
        assert "a free word" not in text
        assert "T10:" not in text, "times of day tell who was where"
    assert ("Mass", "30 g") in facts_of(whole.runs[0].run)


def test_a_run_without_a_track_has_a_page_all_the_same(whole: Class) -> None:
    blind = replace(whole.runs[0], run=replace(whole.runs[0].run, series=None))
    text = track_page(blind, tracks_of(whole), shell.PACK, band="4-5")
    assert "This run has no track" in text
    assert "4.17" in text


def test_the_drawing_without_scripts_is_thin(whole: Class) -> None:
    series = whole.runs[0].run.series
    assert series is not None
    long = replace(series, **{
        name: np.repeat(getattr(series, name), 60)
        for name in ("t_s", "x_mm", "y_mm", "heading_rad", "along_m", "u_along_m", "speed_m_per_s", "u_speed_m_per_s",
                     "seen", "u_across_m")
    })  # fmt: skip
    few = thin(long)
    assert len(few.t_s) == 500
    assert (few.t_s[0], few.t_s[-1]) == (long.t_s[0], long.t_s[-1])
    assert thin(series) is series


def test_the_data_of_the_page_are_json(files: dict[str, str]) -> None:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', files["s1-r001.html"], re.S)
    assert found is not None
    data = json.loads(found[1])
    assert data["run"]["id"] == "s1-r001"
    assert data["band"] == "4-5"
