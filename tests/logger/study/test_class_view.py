from __future__ import annotations

from collections.abc import Callable

from logger.study.class_view import class_views
from logger.study.leaf import Run

Make = Callable[..., Run]


def test_boats_that_differ_less_than_their_repeats_are_too_close_to_call(make_straight_run: Make) -> None:
    runs = [make_straight_run(*run) for run in (("A", 4.0), ("B", 4.1), ("A", 4.6), ("B", 4.5), ("A", 4.3), ("B", 4.2))]
    (view,) = class_views(runs)
    assert view.verdict.startswith("Too close to call")
    assert "too close to call" in view.pairs[0]


def test_a_clear_difference_is_called(make_straight_run: Make) -> None:
    runs = [make_straight_run("A", 4.0 + d) for d in (0, 0.05, 0.1)] + [
        make_straight_run("B", 9.0 + d) for d in (0, 0.05, 0.1)
    ]
    (view,) = class_views(runs)
    assert view.pairs[0].startswith("B took clearly longer than A")
    assert "larger than chance" in view.verdict
    assert view.verdict.endswith("Fastest: A.")


def test_the_first_share_their_place_where_the_runs_do_not_tell(make_straight_run: Make) -> None:
    times = {"A": (4.0, 4.1, 4.2), "B": (4.05, 4.15, 4.1), "C": (9.0, 9.1, 9.2)}
    (view,) = class_views([make_straight_run(boat, time) for boat, own in times.items() for time in own])
    assert view.verdict.endswith("Fastest, too close to call between them: B and A.") or view.verdict.endswith(
        "Fastest, too close to call between them: A and B."
    )


def test_how_many_repeats_would_tell_is_said(make_straight_run: Make) -> None:
    times = {"A": (4.0, 4.4, 4.8), "B": (4.6, 5.0, 5.4)}
    (view,) = class_views([make_straight_run(boat, time) for boat, own in times.items() for time in own])
    # two boats 0.6 s apart that spread by 0.4 s: d = 1.5 (statsmodels' power solver: 8.06 runs)
    assert "About 9 runs of each would probably tell." in view.pairs[0]


def test_single_runs_are_not_ranked(make_straight_run: Make) -> None:
    (view,) = class_views([make_straight_run("A", 1.0), make_straight_run("B", 9.0)])
    assert "Repeat the runs" in view.verdict
    assert view.pairs == ("A and B: not to be told from one run each.",)
    assert view.rows[0].spread == "one run: not known"


def test_spread_and_rig_uncertainty_stand_apart(make_straight_run: Make) -> None:
    (view,) = class_views([make_straight_run("A", 4.0), make_straight_run("A", 5.0), make_straight_run("B", 4.5)])
    row = view.rows[0]
    assert (row.count, row.mean) == (2, "4.5\u00a0s")
    assert row.spread == "0.71\u00a0s"
    assert row.rig == "± 0.0080\u00a0s"


# JCGM 100:2008, table E.1: the spread of three readings is good to 52 %, of two to 76 %
def test_the_spread_is_shown_with_its_own_doubt_beside_median_and_range(make_straight_run: Make) -> None:
    times = {"A": (4.1, 4.3, 4.6), "B": (5.0, 5.5), "C": (4.0,)}
    (view,) = class_views([make_straight_run(boat, time) for boat, own in times.items() for time in own])
    a, b, c = view.rows
    assert (a.median, a.range, a.spread, a.spread_doubt) == (
        "4.30\u00a0s", "0.50\u00a0s", "0.25\u00a0s", "itself good to about 52\u00a0%",
    )  # fmt: skip
    assert b.spread_doubt == "itself good to about 76\u00a0%"
    assert c.median == c.mean
    assert (c.range, c.spread, c.spread_doubt) == ("one run: not known", "one run: not known", "")


def test_of_runs_that_were_cut_short_only_the_median_may_be_known(make_drift_run: Make) -> None:
    runs = drifts(make_drift_run, "A", 600, 700) + drifts(make_drift_run, "A", 1000, at_least=True)
    runs += drifts(make_drift_run, "B", 600) + drifts(make_drift_run, "B", 1000, 1000, at_least=True)
    (view,) = class_views(runs)
    a, b = view.rows
    assert (a.median, b.median) == ("700\u00a0mm", "at least 1000\u00a0mm")
    assert (a.range, a.spread, a.spread_doubt) == ("cut short: not known", "cut short: not known", "")


def test_a_run_far_from_its_boats_others_is_pointed_to_and_kept(make_straight_run: Make) -> None:
    times = {"Ant": (9.9, 4.1, 4.3), "Bee": (4.2, 4.25, 4.24)}
    (view,) = class_views([make_straight_run(boat, time) for boat, own in times.items() for time in own])
    assert view.odd == (
        "Ant: one run (9.9\u00a0s) lies far from its others (4.1\u00a0s and 4.3\u00a0s). It counts. "
        "Look at what happened in it.",
    )
    assert (view.rows[0].count, view.rows[0].mean) == (3, "6\u00a0s")


def test_a_void_run_is_shown_but_does_not_count(make_straight_run: Make) -> None:
    runs = [make_straight_run("A", 4.0), make_straight_run("A", 99.0, status="void"), make_straight_run("A", 4.2)]
    (view,) = class_views(runs)
    assert view.rows[0].count == 2
    assert "left-out" in view.drawing
    assert "1 run shown but not counted" in view.caption


def test_each_kind_of_run_is_compared_by_its_own_result(make_straight_run: Make, make_drift_run: Make) -> None:
    runs = [
        make_straight_run("A", 4.0),
        make_drift_run("A"),
        make_straight_run("B", 4.4),
        make_drift_run("B", at_least=True),
    ]
    views = class_views(runs)
    assert [view.heading for view in views] == [
        "The straight runs of the class, by time",
        "The drift runs of the class, by drift",
    ]


def test_a_run_that_was_cut_short_makes_the_mean_a_floor(make_drift_run: Make) -> None:
    runs = [make_drift_run("A", 400.0), make_drift_run("A", 410.0), make_drift_run("A", 900.0, at_least=True)]
    (view,) = class_views([*runs, make_drift_run("B", 900.0, at_least=True)])
    assert [(row.boat, row.count, row.mean) for row in view.rows] == [
        ("A", 3, "at least 570\u00a0mm"), ("B", 1, "at least 900\u00a0mm"),
    ]  # fmt: skip
    assert view.drawing.count('class="more"') == 2
    assert "has no mean" in view.caption


def drifts(make_drift_run: Make, boat: str, *mm: float, at_least: bool = False) -> list[Run]:
    return [make_drift_run(boat, one, at_least=at_least) for one in mm]


def test_a_floor_that_is_clearly_more_is_called_at_least(make_drift_run: Make) -> None:
    runs = drifts(make_drift_run, "A", 900, 900, 900, at_least=True) + drifts(make_drift_run, "B", 300, 320, 340)
    (view,) = class_views(runs)
    assert "A drifted clearly farther than B (at least " in view.pairs[0]


def test_a_boat_that_the_wall_stopped_is_never_called_the_lesser(make_drift_run: Make) -> None:
    runs = drifts(make_drift_run, "A", 300, 300, 300, at_least=True) + drifts(make_drift_run, "B", 900, 920, 940)
    (view,) = class_views(runs)
    assert view.pairs[0].startswith("A and B: not to be told. A was cut short")
    assert view.verdict == "Too close to call: runs that were cut short say only “at least”."


def test_runs_that_a_wall_made_alike_do_not_look_repeatable(make_drift_run: Make) -> None:
    """B spreads by 100 mm. As exact values A's would be told 115 mm apart: t(5)/sqrt(6) = 1.05 spreads; as floors that
    spread no less than B they are not: t(10)*sqrt(2/6) = 1.29 spreads."""
    b = [500 + 100 * off for off in (-1, -1, -0.5, 0.5, 1, 1)]  # standard deviation 94.9 mm
    a = [500 + 1.15 * 94.9 + 0.1 * i for i in range(6)]
    (exact,) = class_views(drifts(make_drift_run, "A", *a) + drifts(make_drift_run, "B", *b))
    (floors,) = class_views(drifts(make_drift_run, "A", *a, at_least=True) + drifts(make_drift_run, "B", *b))
    assert "A drifted clearly farther" in exact.pairs[0]
    assert "too close to call" in floors.pairs[0]


def test_a_single_measured_run_needs_no_class(make_straight_run: Make) -> None:
    assert class_views([make_straight_run("A", 4.0)]) == []


def test_drift_is_shown_against_the_speed_at_the_line(make_drift_run: Make, make_straight_run: Make) -> None:
    (drifts,) = class_views([make_drift_run("A", 400.0), make_drift_run("B", 500.0)])
    (times,) = class_views([make_straight_run("A", 4.0), make_straight_run("B", 5.0)])
    assert "Drift against the speed at the line" in drifts.scatter
    assert "0.25 metres per second, 400 millimetres" in drifts.scatter
    assert times.scatter == ""
