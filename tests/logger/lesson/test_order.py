from __future__ import annotations

from collections import Counter
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from logger.lesson.order import turns
from tests.logger.lesson.lessons import plan

ORDERS = st.sampled_from(["fixed", "random", "balanced"])


@given(st.integers(1, 8), st.integers(1, 6), ORDERS, st.integers(0, 50))
def test_every_team_sails_once_in_every_round(teams: int, repeats: int, order: str, seed: int) -> None:
    found = turns(plan(teams, repeats=repeats, order=order, order_seed=seed))
    assert Counter((turn.team, turn.round) for turn in found) == Counter(
        (team, number) for team in range(1, teams + 1) for number in range(1, repeats + 1)
    )
    assert [turn.round for turn in found] == sorted(turn.round for turn in found)
    assert found == turns(plan(teams, repeats=repeats, order=order, order_seed=seed))


@given(st.integers(2, 8), st.integers(0, 50))
def test_in_a_balanced_order_what_grows_evenly_with_time_is_the_same_for_all(teams: int, seed: int) -> None:
    # water that gets dirtier from run to run: after two rounds every team has had as much of it
    found = turns(plan(teams, repeats=2, order="balanced", order_seed=seed))
    dirt = Counter[int]()
    for place, turn in enumerate(found):
        dirt[turn.team] += place
    assert max(dirt.values()) - min(dirt.values()) <= (2 if teams > 2 else 0)


@given(st.integers(3, 8), st.integers(1, 6), ORDERS, st.integers(0, 50))
def test_no_team_sails_twice_in_a_row(teams: int, repeats: int, order: str, seed: int) -> None:
    found = turns(plan(teams, repeats=repeats, order=order, order_seed=seed))
    assert all(one.team != after.team for one, after in pairwise(found))


def test_a_fixed_order_is_as_listed_and_a_random_one_is_not_always() -> None:
    assert [turn.team for turn in turns(plan(4, order="fixed"))] == [1, 2, 3, 4] * 2
    rows = {tuple(turn.team for turn in turns(plan(4, order="random", order_seed=seed)))[:4] for seed in range(20)}
    assert len(rows) > 5
