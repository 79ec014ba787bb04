from __future__ import annotations

from xml.etree import ElementTree

import pytest
from scipy import stats

from logger.study.class_folder import Class, read_class
from logger.study.rebuilds import drawing, rebuilds, told, usable
from tests.logger.study.invented_class import FINISH_MM, SPEEDS_MM_PER_S, write_class


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Class:
    return read_class(write_class(tmp_path_factory.mktemp("class")))


def test_the_sentence_counts_what_the_makers_of_the_data_know(whole: Class) -> None:
    """Five teams were made faster, one slower, one the same but for its scatter, and one has no second boat."""
    found = rebuilds(whole, "straight")
    assert found is not None
    assert told(found) == (
        "5 of 7 teams got clearly faster after the rebuild; 1 clearly the other way; 1 too close to call. All teams "
        "together, the change is too close to call. Without runs of both boats: Team Carp."
    )
    assert found.worse == ("Team Smelt",)


def test_which_changes_are_clear_is_what_welchs_test_says(whole: Class) -> None:
    """SciPy's own test with unequal variances is the judge; the rig's share of doubt is small beside the scatter."""
    found = rebuilds(whole, "straight")
    assert found is not None
    for team, (before, after) in SPEEDS_MM_PER_S.items():
        kept = before[1:] if team == "Otter" else before  # its first run is void
        if not after:
            continue
        times = [[FINISH_MM / v for v in side] for side in (kept, after)]
        chance = stats.ttest_ind(*times, equal_var=False).pvalue
        assert (f"Team {team}" in found.clear) == (chance < 0.05), team


def test_void_and_unfinished_runs_do_not_count(whole: Class) -> None:
    assert [one.id for one in whole.runs if not usable(one)] == ["s1-r002", "s1-r053"]


def test_nobody_rebuilt_nothing_to_say(whole: Class) -> None:
    assert rebuilds(whole, "drift") is None


def test_every_run_is_a_dot(whole: Class) -> None:
    found = rebuilds(whole, "straight")
    assert found is not None
    drawn = ElementTree.fromstring(drawing(found, key="r"))
    dots = [e.get("class") for e in drawn.iter() if e.tag.endswith("circle")]
    assert dots.count("run before") == 7 * 3 - 1
    assert dots.count("run") == 7 * 3
