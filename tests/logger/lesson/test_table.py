from __future__ import annotations

from logger.config import Boat
from logger.lesson.entries import Began, Carded, Closed, Decided, Planned, Said
from logger.lesson.standing import fold, numbered
from logger.lesson.table import ranking
from logger.results.trial import Trial
from tests.logger.lesson.lessons import AT, plan, trial


def ran(times: dict[int, list[float]]) -> tuple[list[Said], dict[str, Trial]]:
    said: list[Said] = []
    trials = {}
    for team, values in times.items():
        for value in values:
            run_id = f"r{len(trials) + 1}"
            said += [Began(run_id, team, 1), Closed(run_id, "finish"), Decided(run_id, "valid")]
            trials[run_id] = trial(run_id, time_s=value)
    return said, trials


def places(times: dict[int, list[float]], *more: Said) -> dict[int, tuple[int | None, bool]]:
    said, trials = ran(times)
    here = fold(numbered([Planned(plan(3)), *said, *more], at=AT))
    return {one.who.team: (one.place, one.is_tied) for one in ranking(here, trials, "time_s")}


def test_clear_differences_are_ranked_and_close_ones_tied() -> None:
    clear = places({1: [4.0, 4.01, 3.99], 2: [6.0, 6.01, 5.99], 3: [9.0, 9.02, 8.99]})
    assert clear == {1: (1, False), 2: (2, False), 3: (3, False)}
    close = places({1: [4.0, 4.6, 3.5], 2: [4.1, 4.5, 3.6], 3: [9.0, 9.2, 8.9]})
    assert (close[1], close[2]) == ((1, True), (1, True))
    assert close[3] == (3, False)


def test_who_has_no_run_comes_last_and_void_runs_do_not_count() -> None:
    found = places({1: [4.0, 4.1], 2: [5.0, 5.1]})
    assert list(found)[-1] == 3
    assert found[3][0] is None
    said, trials = ran({1: [4.0]})
    said[-1] = Decided("r1", "void", "gust")
    here = fold(numbered([Planned(plan(3)), *said], at=AT))
    assert all(one.figure is None for one in ranking(here, trials, "time_s"))


def test_only_the_newest_version_of_a_boat_is_ranked() -> None:
    said, trials = ran({1: [4.0, 4.1], 2: [5.0, 5.1]})
    here = fold(numbered([Planned(plan(3)), *said, Carded(1, Boat(name="Boat 1", version=2))], at=AT))
    assert {one.who.team: one.runs_count for one in ranking(here, trials, "time_s")} == {1: 0, 2: 2, 3: 0}


def test_runs_that_a_wall_cut_short_count_for_at_least_so_much_and_never_put_a_team_behind() -> None:
    from dataclasses import replace

    said, trials = ran({1: [4.0, 4.01], 2: [2.0, 2.01]})
    for run_id in ("r3", "r4"):
        result = replace(trials[run_id].results["time_s"], at_least=True)
        trials[run_id] = replace(trials[run_id], results={"time_s": result})
    here = fold(numbered([Planned(plan(2)), *said], at=AT))
    found = {one.who.team: one for one in ranking(here, trials, "time_s")}
    assert found[2].figure is not None
    assert found[2].figure.at_least
    assert found[1].place == 1, "nobody knows that the other was quicker"


def test_who_ran_once_is_shown_behind_those_that_are_placed_and_has_no_place() -> None:
    found = places({1: [1.0], 2: [6.0, 6.01, 5.99], 3: [9.0, 9.02, 8.99]})
    assert list(found.items()) == [(2, (1, False)), (3, (2, False)), (1, (None, False))]
