from __future__ import annotations

from dataclasses import replace

import pytest

from logger.study.class_folder import Class
from logger.study.experiment import Changed
from logger.study.experiment_file import KeptPlan
from logger.study.experiment_view import experiment_views, view_of
from logger.study.pack import shell
from logger.study.pack.experiment_page import cells_of, experiment_page, page_name, scatter_of
from logger.study.tongue import catalogue, speaking
from tests.logger.study.invented_class import HEAVIER
from tests.logger.study.test_experiment import row


def test_the_list_leads_to_every_experiment_and_says_how_far_it_is(files: dict[str, str]) -> None:
    text = files["experiments.html"]
    assert f'href="{page_name("heavier")}.html"' in text
    assert "4 of 8 runs made." in text
    assert "Does a heavier boat drift farther?" in text
    assert 'href="experiments.html"' in files["index.html"]


def test_the_page_has_plan_order_runs_and_what_may_be_said(files: dict[str, str]) -> None:
    text = files[f"{page_name('heavier')}.html"]
    before, after = text.split('id="h-runs"')
    for said in ("Before the first run we said:", "mass: 30, 60, 90, 150\u00a0g", "power, fan setting", "Drawn by lot"):
        assert said in before
    for said in ("With more mass the drift grew", "mass 30\u00a0g: 1 of 2 runs.", "More things changed: mass, boat"):
        assert said in after
        assert said not in before, "it is guessed first"


def test_a_plan_without_runs_yet_is_shown_as_it_is(whole: Class) -> None:
    view = view_of(KeptPlan("new", replace(HEAVIER, kind="rings", result="rings_count")), [])
    text = experiment_page(view, whole, shell.PACK, band="2-3")
    assert "0 of 8 runs made." in text
    assert "There are too few runs yet." in text
    assert "<svg" not in text.split("<script")[0]


def test_values_have_fewer_digits_for_the_younger() -> None:
    view = view_of(KeptPlan("x", HEAVIER), [row("Coot", 30, 412.34), row("Coot", 30, 408.06)])
    (cell,) = [cell for cell in cells_of(view) if cell["count"]]
    assert cell["values"] == {"2-3": "412, 408", "4-5": "412, 408", "6-8": "412.3, 408.1"}
    assert cell["mean"]["6-8"] == "410.2"


def test_the_line_by_eye_has_every_run_and_marks_what_was_cut_short() -> None:
    rows = [row("Coot", 30, 400), row("Coot", 60, 500), row("Teal", 90, 900, drift_at_least="true")]
    found = scatter_of(view_of(KeptPlan("x", HEAVIER), rows))
    places = [(p["x"], p["y"], p["floor"]) for p in found["points"]]
    assert places == [(30, 400, False), (60, 500, False), (90, 900, True)]
    assert found["x"][0] == found["y"][0] == 0
    assert found["x"][1] >= 150


def test_words_are_compared_in_a_drawing_without_a_line(whole: Class) -> None:
    plan = replace(HEAVIER, changed=Changed("power", choices=("fan", "hand")), held_equal=())
    rows = [row("Coot", 50, v, power=p) for p, v in (("fan", 400), ("fan", 410), ("hand", 300), ("hand", 310))]
    text = experiment_page(view_of(KeptPlan("x", plan), rows), whole, shell.PACK, band="6-8")
    assert "Analysis of variance: F = 200.00" in text  # means 405, 305: 4 * 50^2 over (4 * 25 / 2)
    assert "scatter-changed" not in text


def test_in_spanish_nothing_of_ours_is_english(whole: Class) -> None:
    with speaking(catalogue("es")):
        text = experiment_page(experiment_views(whole)["heavier"], whole, shell.PACK, band="4-5")
    assert "Con más «masa», creció «deriva»" in text
    assert "masa 30\u00a0g: 1 de 2 recorridos." in text
    for english in ("runs", "The plan", "mass"):
        assert f">{english}<" not in text


@pytest.mark.parametrize("name", ["heavier"])
def test_its_name_is_no_runs(name: str, whole: Class) -> None:
    assert page_name(name) not in {one.id for one in whole.runs}
