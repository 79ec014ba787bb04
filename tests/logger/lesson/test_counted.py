from __future__ import annotations

from logger.lesson.counted import agrees, results
from logger.results.by_hand import HAND, counted
from tests.logger.lesson.lessons import trial


def test_a_count_stands_there_before_it_was_measured_with() -> None:
    plain = trial("r1")
    assert agrees(plain, {})
    assert not agrees(plain, {"cargo": 7})
    found = results(plain, {"cargo": 7, "weights": 3})
    assert (found["cargo_count"].quantity.value, found["cargo_count"].witness) == (7, HAND)
    assert found["time_s"] == plain.results["time_s"]
    assert set(results(None, {"rings": 2})) == {"rings_count"}


def test_what_followed_from_another_count_is_left_out() -> None:
    old = trial("r1", results={"cargo_count": counted(6), "cargo_per_min": counted(12)})
    assert agrees(old, {"cargo": 6})
    assert set(results(old, {"cargo": 6})) == {"cargo_count", "cargo_per_min"}
    assert results(old, {"cargo": 7}).keys() == {"cargo_count"}
    assert not agrees(old, {}), "it was taken back"
    assert results(old, {}) == {}
