from __future__ import annotations

import numpy as np
import pytest

from logger.study.class_folder import Class, read_class
from logger.study.class_story import counts, counts_told, drift_lines, drift_runs, story
from tests.logger.study.invented_class import MASSES_G, TEAMS, Sail, drift_mm, write_class


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")))


def test_nothing_is_hidden_in_the_counts(whole: Class) -> None:
    every = counts(whole, "straight")
    assert sum(count.made for count in every) == len(whole.of(kind="straight")) == 45
    by_team = {count.team: count for count in every}
    assert (by_team["Team Otter"].made, by_team["Team Otter"].counted, by_team["Team Otter"].void) == (6, 5, 1)
    assert (by_team["Team Carp"].made, by_team["Team Carp"].did_not_finish) == (3, 1)
    assert counts_told(whole, "straight") == (
        "45 runs were made; 43 count. 1 did not finish: that is a result too. 1 is void."
    )


def test_the_line_of_drift_against_mass_is_that_of_the_law_it_was_made_by(whole: Class) -> None:
    """By hand: (250 - 10) mm/s · (1 + 0.012·m) s is 240 mm + 2.88 mm/g · m."""
    (by_mass_of, _), (by_speed, _) = drift_lines(whole)
    by_mass = by_mass_of.line
    assert by_mass is not None
    assert (by_mass_of.through, by_mass_of.boats_count) == ("boats", 8)
    assert by_mass.slope == pytest.approx(2.88, abs=1e-3)
    assert by_mass.intercept == pytest.approx(240.0, abs=0.1)
    assert not by_speed.is_told, "all came at one speed: no line can be told"
    assert len(drift_runs(whole)) == len(TEAMS)
    slope = np.polyfit(list(MASSES_G.values()), [drift_mm(Sail(t, "drift", 2, 250.0)) for t in TEAMS], 1)[0]
    assert by_mass.slope == pytest.approx(slope, abs=1e-3)


def test_the_sentences_say_no_more_than_the_runs(whole: Class) -> None:
    told = story(whole)
    assert told[0].startswith("5 of 7 teams got clearly faster")
    assert any(
        "With more mass the drift was longer in these 8 boats (each counted once). Why, and" in one for one in told
    )
    assert not any("because" in one for one in told)
    assert any("did not finish" in one for one in told)
