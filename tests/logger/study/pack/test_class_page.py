from __future__ import annotations

import re
from dataclasses import replace

import pytest

from logger.study.class_folder import Class
from logger.study.pack import shell
from logger.study.pack.class_page import class_page, latest_runs, scatters_of


def test_the_page_says_the_classes_sentences(files: dict[str, str]) -> None:
    text = files["class.html"]
    assert "5 of 7 teams got clearly faster after the rebuild" in text
    assert "1 did not finish: that is a result too." in text
    assert "too close to call" in text


def test_only_the_latest_boat_of_each_team_is_compared(whole: Class) -> None:
    boats = {run.card.boat.name for run in latest_runs(whole, "straight")}
    assert boats == {"Heron 2", "Otter 2", "Tern 2", "Newt 2", "Coot 2", "Smelt 2", "Wren 2", "Carp"}


def test_dots_for_the_line_by_eye(whole: Class) -> None:
    by_mass, by_speed = scatters_of(whole)
    assert len(by_mass["points"]) == len(by_speed["points"]) == 8
    assert by_mass["x"][0] == by_mass["y"][0] == 0, "axes from nought"
    assert by_mass["fit"]["slope"] == pytest.approx(2.88, abs=1e-3)
    assert by_mass["spreads"]
    assert not by_speed["spreads"], "all came at one speed, and that is said"
    assert by_speed["fit"] is None


def test_links_to_standards_are_by_code(files: dict[str, str]) -> None:
    assert 'href="https://www.nextgenscience.org/pe/3-5-ets1-3"' in files["class.html"]


def test_what_a_wall_cut_short_is_a_point_and_forbids_a_computed_line_and_is_told_beside_the_bars(whole: Class) -> None:
    drift = next(one for one in whole.runs if one.run.trial.kind == "drift")
    cut = replace(drift.run.trial.results["drift_mm"], at_least=True)
    trial = replace(drift.run.trial, results={**drift.run.trial.results, "drift_mm": cut})
    runs = tuple(replace(one, run=replace(one.run, trial=trial)) if one is drift else one for one in whole.runs)
    found = replace(whole, runs=runs)
    by_mass, _by_speed = scatters_of(found)
    assert [point["floor"] for point in by_mass["points"]] == [True] + [False] * 7
    assert by_mass["fit"] is None
    assert by_mass["none"] == "Some runs were cut short, so no computed line can be trusted."
    text = class_page(found, shell.PACK, band="6-8")
    assert "1 run was cut short and says only “at least”: it is in no bar." in text
    assert "1 run did not finish: it is in no bar." in text


def test_materials_are_compared_boat_by_boat(files: dict[str, str]) -> None:
    text = files["class.html"]
    assert "What the boats are made of" in text
    assert "No material on the card: Carp" in text
    assert 'data-save="material-drift" data-as="png"' in text


def test_every_drawing_that_can_be_kept_is_there(files: dict[str, str]) -> None:
    for text in files.values():
        for key in re.findall(r'data-save="([^"]+)"', text):
            assert f'id="{key}"' in text, key
