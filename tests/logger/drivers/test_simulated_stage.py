from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.simulated_stage import Painted, Stage, broken_twice, turned_back
from logger.records import Edge

S = 10**9


def passing(gate: str, at_ns: int, lasts_ns: int) -> list[tuple[int, Edge]]:
    return [(t_ns, Edge(t_ns, gate, b, "tank")) for t_ns, b in ((at_ns, True), (at_ns + lasts_ns, False))]


def run(*, here_ns: int = 3 * S, there_ns: int = 7 * S) -> Painted:
    edges = (*passing("A", here_ns, S // 2), *passing("B", there_ns, S // 2))
    pictures = tuple((n * S // 5, b"%d" % n) for n in range(60))
    return Painted(edges, pictures, 4_000_000, 0, 2 * S)


def test_an_arm_behind_the_boat_breaks_the_first_beam_once_more() -> None:
    usual, more = run(), broken_twice(run())
    again = [one for one in more.edges if one not in usual.edges]
    assert [(t_ns - 3_500_000_000, edge.gate, edge.blocked) for t_ns, edge in again] == [
        (900_000_000, "A", True), (1_200_000_000, "A", False)
    ]  # fmt: skip
    assert [t_ns for t_ns, _ in more.edges] == sorted(t_ns for t_ns, _ in more.edges)
    assert more.pictures == usual.pictures


@given(st.integers(S, 5 * S), st.integers(S, 9 * S))
def test_a_boat_that_the_wind_brings_back_goes_out_by_the_beam_by_which_it_came_in(here: int, more: int) -> None:
    back = turned_back(run(here_ns=here, there_ns=here + S + more))
    assert [(edge.gate, edge.blocked) for _, edge in back.edges] == [("A", True), ("A", False)] * 2
    between = [later - earlier for (earlier, _), (later, _) in pairwise(back.edges)]
    assert between[0] == between[2], "the way back takes as long as the way there"
    assert between[1] > 0
    stamps = [t_ns for t_ns, _ in back.pictures]
    assert stamps == sorted(stamps)
    assert [one for _, one in back.pictures] == [one for _, one in back.pictures][::-1]


def test_a_stage_waits_for_the_word_where_it_obeys() -> None:
    for obeys in (True, False):
        stage: Stage[bytes] = Stage()
        stage.set(run().pictures, run().go_ns, obeys=obeys)
        stage.set_off(100 * S, on_go=True)
        assert stage.when_ns(S) == 101 * S, "before it is let go there is nothing to wait for"
        assert stage.when_ns(3 * S) == (None if obeys else 103 * S)
        stage.go(110 * S)
        assert stage.when_ns(3 * S) == (111_400_000_000 if obeys else 103 * S)
    stage.end()
    assert stage.begins_ns is None
