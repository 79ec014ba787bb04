from __future__ import annotations

import statistics
from dataclasses import replace

import pytest

from calibration.quantity import Quantity
from logger.results.trial import Result
from logger.study.class_folder import Class, read_class
from logger.study.materials import materials
from tests.logger.study.invented_class import MATERIALS, TAUS_S, TEAMS, write_class


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")))


def test_a_boat_is_one_case_however_many_runs_it_made(whole: Class) -> None:
    found = materials(whole, "drift")
    assert found is not None
    assert [row.name for row in found.rows] == ["clay", "foil"]
    assert found.rows[1].boats == "Heron 2, Tern 2, Coot 2, Wren 2", "Foil and foil are one material"
    foil = [240 * TAUS_S[team] for team in TEAMS if MATERIALS[team].casefold() == "foil"]
    assert found.rows[1].spread == f"{statistics.stdev(foil):.0f}\u00a0mm"
    assert found.without == ("Carp 2",)
    assert found.drawing.count('class="run"') == 7


def test_a_difference_that_boats_of_one_material_also_have_is_not_called(whole: Class) -> None:
    found = materials(whole, "drift")
    assert found is not None
    assert found.told == ("clay and foil: too close to call.",)
    assert found.is_open


def with_material(whole: Class, by_team: dict[str, str]) -> Class:
    runs = tuple(
        replace(one, run=replace(one.run, card=replace(
            one.run.card, boat=replace(one.run.card.boat, material=by_team.get(one.run.card.boat.name, "")))))
        for one in whole.runs
    )  # fmt: skip
    return replace(whole, runs=runs)


def test_a_clear_difference_is_said_with_what_chance_would_explain(whole: Class) -> None:
    light, heavy = ("Heron", "Otter", "Tern"), ("Smelt", "Wren", "Carp")
    found = materials(with_material(whole, dict.fromkeys(light, "foil") | dict.fromkeys(heavy, "clay")), "drift")
    assert found is not None
    (told,) = found.told
    assert told.startswith("Boats of clay: drift larger than of foil (")
    assert not found.is_open


def test_one_boat_of_a_material_tells_nothing_of_the_material(whole: Class) -> None:
    found = materials(with_material(whole, {"Heron": "foil", "Carp": "clay", "Wren": "clay"}), "drift")
    assert found is not None
    assert "One boat of foil does not tell" in found.told[0]


# JCGM 100:2008, F.2.2.1: a count is known to its step over the square root of 12 at best
def test_counts_that_are_alike_are_no_proof_of_their_own(whole: Class) -> None:
    clay = ("Smelt", "Wren", "Carp")
    counts = {one.boat: Quantity(7.0 + (one.run.card.boat.name in clay), "1", {}) for one in whole.of(kind="straight")}
    counted = replace(whole, runs=tuple(
        replace(one, run=replace(one.run,
            card=replace(one.run.card, kind="cargo"),
            trial=replace(one.run.trial, kind="cargo", results={"cargo_count": Result(counts[one.boat], "camera")})))
        for one in whole.of(kind="straight")
    ))  # fmt: skip
    by_team = dict.fromkeys(("Heron", "Otter"), "foil") | dict.fromkeys(clay[:2], "clay")
    found = materials(with_material(counted, by_team), "cargo")
    assert found is not None
    assert found.told == ("clay and foil: too close to call.",)


def test_a_rebuilt_boat_is_one_boat(whole: Class) -> None:
    found = materials(whole, "straight")
    assert found is not None
    assert found.rows[1].boats == "Heron 2, Tern 2, Coot 2, Wren 2"


def test_without_two_materials_there_is_nothing_to_compare(whole: Class) -> None:
    assert materials(with_material(whole, {"Heron": "foil"}), "drift") is None
