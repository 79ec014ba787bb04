from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.study.class_folder import Class, read_class
from logger.study.experiment import Changed
from logger.study.experiment_file import KeptPlan, keep_plan
from logger.study.experiment_view import experiment_views, level_drawing, view_of
from tests.logger.study.invented_class import HEAVIER, MASSES_G, TAUS_S, write_class
from tests.logger.study.test_experiment import row


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")))


def test_the_experiment_of_a_class_is_read_with_what_it_came_to(whole: Class) -> None:
    """Drift = (250 - 10) mm/s times tau, tau = 1 s + 12 ms per g: 2.88 mm more for each gram, by NumPy's own fit."""
    view = experiment_views(whole)["heavier"]
    assert (view.made_count, view.wanted_count) == (4, 8)
    assert view.changed == "mass: 30, 60, 90, 150\u00a0g"
    assert view.held == "power, fan setting"
    assert view.found.line is not None
    teams = [team for team in MASSES_G if MASSES_G[team] in HEAVIER.changed.levels]
    slope, intercept = np.polyfit([MASSES_G[t] for t in teams], [240 * TAUS_S[t] for t in teams], 1)
    assert view.found.line.slope == pytest.approx(slope)
    assert view.found.line.intercept == pytest.approx(intercept)
    assert slope == pytest.approx(2.88)
    assert "mass 30\u00a0g: 1 of 2 runs." in view.found.warnings
    assert any(one.startswith("Left out, at no level of the plan: s1-r0") for one in view.found.warnings)
    assert view.found.with_it[0] == "boat"
    assert not view.is_clear, "every mass was another boat"


def test_without_a_plan_there_is_nothing_to_show(whole: Class) -> None:
    assert experiment_views(replace(whole, plans=())) == {}
    broken = KeptPlan("broken", None, "why")
    assert list(experiment_views(replace(whole, plans=(broken, *whole.plans)))) == ["heavier"]
    with pytest.raises(ValueError, match="broken: why"):
        view_of(broken, [])


def test_what_a_wall_cut_short_is_shown_and_counted_as_made() -> None:
    plan = replace(HEAVIER, changed=Changed("power", choices=("fan", "hand")), held_equal=())
    rows = [row("Coot", 50, 400), row("Coot", 50, 300, power="hand"), row("Teal", 50, 900, drift_at_least="true")]
    view = view_of(KeptPlan("power", plan), rows)
    assert [(point.value, point.at_least) for point in view.points] == [(400, False), (300, False), (900, True)]
    assert [(cell.values, cell.floors) for cell in view.found.cells] == [((400.0,), (900.0,)), ((300.0,), ())]
    drawn = level_drawing(view)
    assert drawn.count("left-out") == 1
    assert "power fan: 2; power hand: 1." in drawn
    assert not view.is_clear


def test_runs_of_other_boats_and_void_ones_are_no_points() -> None:
    plan = replace(HEAVIER, boats=("Coot",))
    rows = [row("Coot", 60, 400), row("Teal", 60, 500), row("Coot", 60, 450, counted="false", status="void")]
    assert [point.value for point in view_of(KeptPlan("x", plan), rows).points] == [400.0]
    assert level_drawing(view_of(KeptPlan("x", plan), [])) == ""


def test_plans_kept_beside_a_class_are_read_with_it(whole: Class, tmp_path: Path) -> None:
    assert whole.folder is not None
    keep_plan(tmp_path, replace(HEAVIER, question="Does the fan matter?"), name="fan")
    found = read_class(whole.folder, plans_beside=[tmp_path])
    assert [kept.name for kept in found.plans] == ["fan", "heavier"]
