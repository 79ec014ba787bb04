from __future__ import annotations

from calibration.quantity import Quantity
from logger.study.compare import Repeats, compare_all, repeats_of
from logger.study.tongue import catalogue, speaking
from logger.study.verdict import in_a_row, pair_told, verdict


def boat(name: str, *times_s: float, floors_count: int = 0, unit: str = "s", step: float = 0.0) -> Repeats:
    runs = [Quantity(time, unit, {}) for time in times_s]
    return repeats_of(name, runs, floors_count=floors_count, step=step)


def said(*boats: Repeats, name: str = "time_s") -> str:
    return verdict(boats, compare_all(boats), name)


def pairs(*boats: Repeats, name: str = "time_s") -> list[str]:
    return [pair_told(pair, name, boats) for pair in compare_all(boats)]


ANT, BEE, CAT = boat("Ant", 9.9, 4.1, 4.3), boat("Bee", 4.2, 4.25, 4.24), boat("Cat", 2.9, 2.95, 3.0)
DOT = boat("Dot", 5.0)


def test_who_scatters_most_or_ran_once_is_not_called_the_fastest() -> None:
    assert said(ANT, BEE, CAT, DOT) == (
        "Of 6 pairs of boats, 1 difference is clear; the others are too close to call. Fastest of the boats that can "
        "be placed: Cat. Cannot be placed: Ant (its runs differ too much from each other) and Dot (only one run)."
    )


def test_every_pair_is_listed_those_with_a_single_run_too() -> None:
    told = pairs(ANT, BEE, CAT, DOT, boat("Eel", 5.0))
    assert len(told) == 10
    assert "Bee and Dot: not to be told from one run of Dot." in told
    assert "Dot and Eel: not to be told from one run each." in told


def test_two_boats_with_repeats_are_compared_though_a_third_ran_once() -> None:
    told = said(BEE, CAT, DOT)
    assert told.startswith("Of 3 pairs of boats, 1 difference is clear")
    assert told.endswith("Fastest of the boats that can be placed: Cat. Cannot be placed: Dot (only one run).")


def test_without_repeats_of_two_boats_nothing_is_said_but_to_repeat() -> None:
    assert said(DOT, BEE).endswith("Repeat the runs.")
    assert said(BEE) == "Only Bee has runs to show here, so there is nothing to compare."


def test_where_all_are_placed_the_first_is_said_plainly() -> None:
    assert said(BEE, CAT) == "Every difference between the boats is larger than chance explains. Fastest: Cat."


def test_a_boat_that_was_cut_short_before_others_is_not_placed() -> None:
    boats = (
        boat("Far", 900, 905, 910, unit="mm"), boat("Mid", 600, 605, 610, unit="mm"),
        boat("Short", 300, 301, 302, unit="mm", floors_count=3),
    )  # fmt: skip
    assert said(*boats, name="drift_mm").endswith(
        "Farthest of the boats that can be placed: Far. "
        "Cannot be placed: Short (cut short, so only “at least” is known)."
    )


def test_many_more_runs_than_were_made_are_not_asked_of_this_lesson() -> None:
    # d = 0.8: 26 of each (Cohen 1988, table 2.4.1, from memory); d = 1.5: 9 (statsmodels' power solver: 8.06)
    (far,) = pairs(boat("A", 3.6, 4.0, 4.4), boat("B", 3.92, 4.32, 4.72))
    assert far.endswith("About 26 runs of each would probably tell: not in this lesson.")
    (near,) = pairs(boat("A", 3.6, 4.0, 4.4), boat("B", 4.2, 4.6, 5.0))
    assert near.endswith("About 9 runs of each would probably tell.")


def test_two_alike_counts_do_not_beat_two_others() -> None:
    seven, eight = (boat(str(n), n, n, unit="1", step=1.0) for n in (7, 8))
    assert said(seven, eight, name="rings_count").startswith("Too close to call")


def test_it_is_said_in_spanish_too() -> None:
    with speaking(catalogue("es")):
        told = said(ANT, BEE, CAT, DOT)
    assert "No se pueden ordenar: Ant (sus recorridos difieren demasiado entre sí) y Dot (un solo recorrido)." in told
    assert "Más rápido de los barcos que se pueden ordenar: Cat." in told


def test_names_stand_in_a_row() -> None:
    assert [in_a_row(names) for names in (["A"], ["A", "B"], ["A", "B", "C"])] == ["A", "A and B", "A, B and C"]
