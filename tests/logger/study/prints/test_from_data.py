from __future__ import annotations

from decimal import Decimal

from logger.study.bands import band, rounded
from logger.study.class_folder import Class
from logger.study.prints.from_data import awards, questions_of, speed_rows
from tests.logger.study.invented_class import TEAMS


def test_the_key_is_what_a_hand_gets_from_the_sheet(whole: Class) -> None:
    for grades in ("2-3", "4-5", "6-8"):
        for team in whole.teams:
            rows = speed_rows(whole, team, band(grades))
            assert rows
            for _run, distance, time, speed in rows:
                places = len(speed.partition(".")[2])
                assert rounded(Decimal(distance) / Decimal(time), places) == Decimal(speed)


def test_void_runs_are_not_on_the_sheet(whole: Class) -> None:
    assert len(speed_rows(whole, "Team Otter", band("4-5"))) == 5
    assert len(speed_rows(whole, "Team Carp", band("4-5"))) == 2


def test_questions_come_from_what_happened(whole: Class) -> None:
    told = questions_of(whole)
    assert "After the rebuild Team Smelt did less well. What would you look at first?" in told
    assert "For Team Wren the change is too close to call. How could you find out?" in told
    assert any(question.startswith("1 run did not finish.") for question in told)
    assert any("heavier boats drift farther" in question for question in told)
    assert all(question.endswith("?") for question in told)


def test_every_team_gets_a_certificate_and_no_title_for_the_first_twice(whole: Class) -> None:
    """By hand: Coot went from 1000/155 to 1000/195 s, the largest gain; Carp drifted farthest from the same speed."""
    given = {award.team: award for award in awards(whole)}
    assert set(given) == {f"Team {team}" for team in TEAMS}
    assert given["Team Coot"].title == "Best improvement"
    assert given["Team Coot"].because.startswith("1.33 s faster")
    assert given["Team Carp"].title == "Longest drift for its speed"
    titles = [award.title for award in given.values() if award.title != "Careful with data"]
    assert len(titles) == len(set(titles))
    assert sum(title == "Quick boat" for title in titles) <= 1
