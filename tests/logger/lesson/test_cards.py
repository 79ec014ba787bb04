from __future__ import annotations

import pytest

from logger.lesson.cards import card_of
from logger.lesson.entries import ClockTold, Planned
from logger.lesson.order import Turn
from logger.lesson.plan import Agreed
from logger.lesson.standing import fold, numbered
from tests.logger.lesson.lessons import AT, plan


def test_a_card_names_boat_team_and_rules() -> None:
    standing = fold(numbered([Planned(plan())], at=AT))
    card = card_of(standing, Turn(2, 1), run_id="r5", at=AT)
    assert (card.id, card.boat.name, card.boat.team, card.kind) == ("r5", "Boat 2", "2 Otter", "straight")
    assert card.rules == standing.plan.rules
    with pytest.raises(KeyError, match="9"):
        card_of(standing, Turn(9, 1), run_id="r5", at=AT)


@pytest.mark.parametrize("kind", ["cargo", "rings", "distance"])
def test_runs_with_a_time_of_their_own_end_after_it(kind: str) -> None:
    standing = fold(numbered([Planned(plan(kind=kind, agreed=Agreed(count_within_s=30.0)))], at=AT))
    assert card_of(standing, Turn(1, 1), run_id="r1", at=AT).rules.time_cap_s == 30.0


def test_the_time_that_a_browser_told_is_used_and_said() -> None:
    standing = fold(numbered([Planned(plan()), ClockTold(3600.0)], at=AT))
    card = card_of(standing, Turn(1, 1), run_id="r1", at=AT, clock_set_by="unknown")
    assert (card.recorded_at, card.clock_set_by) == ("2026-05-04T11:15:00+02:00", "browser")
    plain = fold(numbered([Planned(plan())], at=AT))
    assert card_of(plain, Turn(1, 1), run_id="r1", at=AT, clock_set_by="network").clock_set_by == "network"


def test_runs_of_two_lessons_are_never_called_alike() -> None:
    standing = fold(numbered([Planned(plan())], at=AT))
    names = {card_of(standing, Turn(1, 1), run_id="r1", at=AT, lesson=one).season_id for one in ("monday", "tuesday")}
    assert names == {"monday/r1", "tuesday/r1"}
    assert card_of(standing, Turn(1, 1), run_id="r1", at=AT).season_id == "r1"
