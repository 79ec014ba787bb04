from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.records import Edge
from logger.results.passages import passages

MS = 1_000_000


def edges(*moments_ms: float, gate: str = "A", first: bool = True) -> list[Edge]:
    """Edges of alternating level."""
    return [Edge(round(t * MS), gate, (i % 2 == 0) == first, "box") for i, t in enumerate(moments_ms)]


def test_one_break_is_one_passage() -> None:
    (one,) = passages(edges(1000, 1400))
    assert (one.t_ns, one.cleared_ns, one.doubts) == (1000 * MS, 1400 * MS, ())
    assert one.blocked_s == one.dark_s == 0.4
    assert one.edges_count == 2


def test_mast_and_rigging_after_the_bow_belong_to_the_same_passage() -> None:
    (one,) = passages(edges(1000, 1200, 1300, 1310, 1700, 1705))
    assert one.t_ns == 1000 * MS
    assert one.cleared_ns == 1705 * MS
    assert one.dark_s == pytest.approx(0.215)
    assert one.edges_count == 6


def test_a_gate_re_arms_only_after_the_beam_was_clear_long_enough() -> None:
    assert len(passages(edges(1000, 1200, 1699, 1800))) == 1
    assert len(passages(edges(1000, 1200, 1700, 1800))) == 2
    assert len(passages(edges(1000, 1200, 1699, 1800), rearm_clear_s=0.2)) == 2


def test_a_lone_speck_is_doubtful_and_does_not_open_the_boats_passage() -> None:
    speck, boat = passages(edges(700, 700.4, 1000, 1400))
    assert speck.doubts == ("short",)
    assert (boat.t_ns, boat.doubts) == (1000 * MS, ())


def test_a_speck_after_the_boat_does_not_lengthen_its_passage() -> None:
    boat, speck = passages(edges(1000, 1400, 1800, 1800.4))
    assert boat.blocked_s == 0.4
    assert speck.doubts == ("short",)


def test_bounce_at_the_bow_counts_from_its_first_edge() -> None:
    (one,) = passages(edges(1000, 1000.3, 1000.9, 1001.1, 1001.5, 1400))
    assert (one.t_ns, one.doubts) == (1000 * MS, ())


def test_the_same_level_twice_means_a_lost_edge() -> None:
    (one,) = passages([*edges(1000), *edges(1200, 1400)])
    assert one.doubts == ("edges_lost",)
    assert (one.t_ns, one.cleared_ns) == (1000 * MS, 1400 * MS)
    first, second = passages([*edges(1000, 1200), *edges(3000, first=False)])
    assert first.doubts == ()
    assert second.doubts == ("edges_lost",)


def test_a_beam_that_is_already_broken_says_so() -> None:
    before, boat = passages(edges(500, 2000, 2400, first=False))
    assert before.doubts == ("blocked_before",)
    assert boat.doubts == ()


def test_a_beam_that_never_clears_says_so() -> None:
    (one,) = passages(edges(1000))
    assert one.doubts == ("still_blocked",)
    assert one.cleared_ns is None
    assert one.blocked_s == 0


def counted(*numbers: int) -> list[Edge]:
    return [replace(e, count=n) for e, n in zip(edges(1000, 1400, 3000, 3400), numbers, strict=True)]


@pytest.mark.parametrize(
    ("numbers", "doubts"),
    [((7, 8, 9, 10), [(), ()]), ((7, 9, 10, 11), [("edges_lost",), ()]), ((7, 8, 11, 12), [(), ("edges_lost",)])],
)
def test_a_jump_of_the_sources_own_number_means_a_lost_edge(numbers: tuple[int, ...], doubts: list[object]) -> None:
    assert [p.doubts for p in passages(counted(*numbers))] == doubts


def test_a_source_may_number_the_edges_of_all_its_gates_in_one_row() -> None:
    a = [replace(e, count=n) for e, n in zip(edges(1000, 1400), (1, 3), strict=True)]
    b = [replace(e, count=n) for e, n in zip(edges(1100, 1500, gate="B"), (2, 4), strict=True)]
    assert [p.doubts for p in passages([*a, *b], gate="A")] == [()]


def test_edges_of_two_gates_need_a_name() -> None:
    both = [*edges(1000, 1400), *edges(1100, 1500, gate="B")]
    assert [p.gate for p in passages(both, gate="B")] == ["B"]
    with pytest.raises(ValueError, match=r"edges of 2 gates \(A, B\); one is wanted"):
        passages(both)


gaps_ms = st.lists(st.integers(1, 900), min_size=0, max_size=24)


def train(gaps: list[int]) -> list[Edge]:
    moments, at = [], 1000
    for gap in gaps:
        moments.append(at)
        at += gap
    return edges(*moments)


@given(gaps_ms, st.randoms())
def test_the_order_and_the_doubling_of_edges_change_nothing(gaps: list[int], random: object) -> None:
    straight = train(gaps)
    shuffled = straight + straight[: len(straight) // 2]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert passages(shuffled) == passages(straight)


@given(gaps_ms, st.integers(0, 10**15))
def test_later_edges_make_the_same_passages_later(gaps: list[int], later_ns: int) -> None:
    found = passages(train(gaps))
    moved = passages([replace(e, t_ns=e.t_ns + later_ns) for e in train(gaps)])
    assert [(p.t_ns + later_ns, p.blocked_s, p.dark_s, p.doubts) for p in found] == [
        (p.t_ns, p.blocked_s, p.dark_s, p.doubts) for p in moved
    ]


@given(gaps_ms)
def test_every_edge_is_kept_once_and_the_boats_passages_lie_apart(gaps: list[int]) -> None:
    given_edges = train(gaps)
    found = passages(given_edges)
    assert sorted(e.t_ns for p in found for e in p.edges) == [e.t_ns for e in given_edges]
    boats = [p for p in found if "short" not in p.doubts]
    for before, after in pairwise(boats):
        assert after.t_ns - before.edges[-1].t_ns >= 500 * MS
