from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import InputError
from logger.lesson import entries as log
from logger.lesson.order import Turn
from logger.lesson.plan import Team
from logger.lesson.standing import Standing, fold, numbered
from tests.logger.lesson.lessons import AT, plan


def after(*said: log.Said, **fields: object) -> Standing:
    made = plan(3, order="fixed", **fields)
    return fold(numbered((log.Planned(made), *said), at=AT))


def ran(run_id: str, team: int, number: int = 1, closing: str = "finish") -> tuple[log.Said, ...]:
    return log.Began(run_id, team, number), log.Closed(run_id, closing)  # type: ignore[arg-type]


def teams(standing: Standing) -> list[int]:
    return [turn.team for turn in standing.owed]


def test_a_turn_is_owed_until_a_run_of_it_counts() -> None:
    assert teams(after(*ran("r1", 1))) == [1, 2, 3, 1, 2, 3]
    for status in ("valid", "freed", "did_not_finish"):
        assert teams(after(*ran("r1", 1), log.Decided("r1", status))) == [2, 3, 1, 2, 3]  # type: ignore[arg-type]
    assert teams(after(*ran("r1", 1), log.Decided("r1", "void", "x", "now"))) == [1, 2, 3, 1, 2, 3]
    assert teams(after(*ran("r1", 1), log.Decided("r1", "void", "x", "last"))) == [2, 3, 1, 2, 3, 1]
    assert teams(after(*ran("r1", 1), log.Decided("r1", "void", "x"))) == [2, 3, 1, 2, 3], "not repeated at all"


def test_a_decision_that_is_changed_later_is_as_if_it_had_been_the_first() -> None:
    first = (*ran("r1", 1), log.Decided("r1", "valid"), *ran("r2", 2), log.Decided("r2", "valid"))
    assert teams(after(*first)) == [3, 1, 2, 3]
    standing = after(*first, log.Decided("r1", "void", "touched", "last"))
    assert teams(standing) == [3, 1, 2, 3, 1]
    assert standing.owed[-1] == Turn(1, 1)
    assert teams(after(*first, log.Decided("r1", "void", "touched", "last"), log.Decided("r1", "valid"))) == [
        3,
        1,
        2,
        3,
    ]


def test_a_run_called_off_or_begun_early_changes_nothing_but_is_kept() -> None:
    standing = after(*ran("r1", 1, closing="called_off"), *ran("r2", 1, closing="early_start"))
    assert teams(standing) == [1, 2, 3, 1, 2, 3]
    assert [attempt.state for attempt in standing.attempts] == ["no_run", "no_run"]
    assert standing.open_attempt is None
    assert standing.early_starts(Turn(1, 1)) == 1


def test_undone_entries_leave_no_trace_but_stay_in_the_log() -> None:
    said = (*ran("r1", 1), log.Decided("r1", "valid"), log.Moved(3, "now"))
    assert teams(after(*said)) == [3, 2, 1, 2, 3]
    assert after(*said).can_undo == 5
    assert teams(after(*said, log.Undone(5))) == [2, 3, 1, 2, 3]
    assert after(*said, log.Undone(5)).can_undo == 4
    assert teams(after(*said, log.Undone(5), log.Undone(4))) == [1, 2, 3, 1, 2, 3]


def test_a_run_given_to_another_team_pays_that_teams_turn() -> None:
    standing = after(*ran("r1", 1), log.Decided("r1", "valid"), log.Reassigned("r1", 2))
    assert teams(standing) == [1, 3, 1, 2, 3]
    assert standing.attempts[0].team == 2


def test_teams_join_and_are_renamed() -> None:
    from logger.config import Boat

    standing = after(log.Joined(Team(9, "Coot", Boat(name="c"))), log.Renamed(1, "Grebe"))
    assert teams(standing)[-2:] == [9, 9]
    renamed = standing.team(1)
    assert renamed is not None
    assert renamed.nickname == "Grebe"


def test_pause_end_and_resume() -> None:
    assert after(log.Paused("bell")).is_paused
    assert not after(log.Paused(), log.Resumed()).is_paused
    assert after(log.Ended()).next_turn is None
    assert after(log.Ended(), log.Resumed()).next_turn == Turn(1, 1)


def test_a_log_without_a_plan_is_refused() -> None:
    with pytest.raises(InputError, match="does not begin with its plan"):
        fold([])


STATUS = st.sampled_from(["valid", "freed", "did_not_finish"])


@given(st.lists(st.tuples(st.booleans(), STATUS, st.sampled_from(["now", "last"])), max_size=40))
def test_whatever_is_decided_every_team_sails_as_often_as_planned(
    choices: list[tuple[bool, log.Status, log.Again]],
) -> None:
    """By law: counted runs and owed turns of a team always make up its repeats."""
    said: list[log.Said] = []
    for number, (is_void, status, again) in enumerate(choices, start=1):
        standing = after(*said)
        if standing.next_turn is None:
            break
        run_id = f"r{number}"
        said += [*ran(run_id, standing.next_turn.team, standing.next_turn.round)]
        said.append(log.Decided(run_id, "void", "x", again) if is_void else log.Decided(run_id, status))
    standing = after(*said)
    for team in (1, 2, 3):
        counted = sum(a.team == team and a.status not in (None, "void") for a in standing.attempts)
        assert counted + teams(standing).count(team) == 2
