"""No row of edges is silently wrong."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.edge_watch import (
    CLOCK_SLACK_NS,
    FLICKER_COUNT,
    LATE_NS,
    MISSED_AFTER_NS,
    TOGETHER_NS,
    EdgeWatch,
    RawEdge,
)
from logger.records import Fault

MS = 1_000_000
OPENED, LOOKED = 1000 * MS, 1001 * MS


def watch(*, a: bool = False, b: bool = False) -> EdgeWatch:
    return EdgeWatch({"A": a, "B": b}, source="gates", opened_ns=OPENED, looked_ns=LOOKED)


def raw(t_ms: float, blocked: bool, count: int | None, *, gate: str = "A", read_ms: float | None = None) -> RawEdge:
    read = t_ms if read_ms is None else read_ms
    return RawEdge(gate, blocked, round(t_ms * MS), round(read * MS), count)


def said(it: EdgeWatch, *edges: RawEdge) -> list[Fault]:
    return [fault for edge in edges for fault in it.edge(edge)[0]]


def test_a_boat_gives_no_doubt() -> None:
    it = watch()
    assert said(it, raw(1100, True, 1), raw(1300, False, 2), raw(1350, True, 1, gate="B")) == []
    assert it.look({"A": False, "B": True}, looked_ns=1400 * MS) == []
    assert it.rest(1500 * MS) == []


def test_a_jump_of_the_number_says_how_many_are_lost_and_when() -> None:
    (fault,) = said(watch(), raw(1100, True, 1), raw(1300, False, 6))
    assert fault.what == "gate A: 4 edges lost"
    assert (fault.since_ns, fault.t_ns, fault.source) == (1100 * MS, 1300 * MS, "gates")
    assert "end other programs" in fault.cure


def test_edges_lost_before_the_first_that_came_are_noticed() -> None:
    (fault,) = said(watch(), raw(1100, True, 3))
    assert fault.what == "gate A: 2 edges lost"
    assert fault.since_ns == OPENED


@pytest.mark.parametrize(
    ("edges", "words"),
    [
        ((raw(1100, True, 1), raw(1300, True, 2)), "changes ran together into 1 edge"),
        ((raw(1100, True, None), raw(1300, True, None)), "changes ran together into 1 edge"),
        ((raw(1100, False, 1),), "changes ran together into 1 edge"),
        ((raw(1100, True, 1), raw(1300, True, 4)), "2 edges lost, changes ran together into 1 edge"),
        ((raw(1100, True, 1), raw(1300, False, 3)), "1 edge lost, changes ran together into 1 edge"),
        ((raw(1100, True, 1), raw(1300, False, 1)), "1 edge lost, changes ran together into 1 edge"),
    ],
)
def test_a_level_that_the_number_of_changes_does_not_make(edges: tuple[RawEdge, ...], words: str) -> None:
    (fault,) = said(watch(), *edges)
    assert fault.what == f"gate A: {words}"


def test_the_first_edge_may_be_older_than_the_first_look_at_the_level() -> None:
    assert said(watch(a=True), raw(1000.5, True, 1), raw(1200, False, 2)) == []
    assert len(said(watch(a=True), raw(1001.5, True, 1))) == 1


def test_a_look_that_agreed_says_when_the_edges_were_whole_but_for_what_was_under_way() -> None:
    it = watch()
    it.look({"A": False, "B": False}, looked_ns=1200 * MS)
    (fault,) = said(it, raw(1215, False, 1))
    assert fault.since_ns == 1200 * MS - LATE_NS


class TestADeafReader:
    def test_a_level_that_stays_changed_without_an_edge_is_found(self) -> None:
        it = watch()
        looks = [it.look({"A": t >= 1200, "B": False}, looked_ns=t * MS) for t in range(1020, 1300, 20)]
        (fault,) = [fault for look in looks for fault in look]
        assert fault.what == "gate A: the level changed without an edge"
        assert fault.t_ns == 1200 * MS + MISSED_AFTER_NS
        assert fault.since_ns is not None
        assert 1180 * MS - LATE_NS <= fault.since_ns < 1200 * MS

    def test_both_ends_of_a_pulse_of_300_ms_are_found(self) -> None:
        it = watch()
        looks = [it.look({"A": 1200 <= t < 1500, "B": False}, looked_ns=t * MS) for t in range(1020, 1700, 20)]
        assert len([fault for look in looks for fault in look]) == 2

    def test_an_edge_that_is_still_under_way_is_waited_for(self) -> None:
        it = watch()
        assert it.look({"A": True, "B": False}, looked_ns=1200 * MS) == []
        assert it.look({"A": True, "B": False}, looked_ns=1220 * MS) == []
        assert said(it, raw(1199, True, 1, read_ms=1221)) == []
        assert it.look({"A": True, "B": False}, looked_ns=1300 * MS) == []


class TestAnotherClock:
    @pytest.mark.parametrize(
        ("edge", "words"),
        [
            (raw(1_700_000_000_000, True, 1, read_ms=1100), "ahead of now"),
            (raw(500, True, 1, read_ms=1100), "before the gates were opened"),
        ],
    )
    def test_a_stamp_outside_the_time_since_opening_is_not_believed(self, edge: RawEdge, words: str) -> None:
        (fault,), is_believed = watch().edge(edge)
        assert not is_believed
        assert words in fault.what
        assert f"(number 1, blocked, {edge.t_ns} ns)" in fault.what
        assert fault.t_ns == 1100 * MS

    def test_a_stamp_that_goes_back_is_not_believed(self) -> None:
        it = watch()
        assert said(it, raw(1200, True, 1)) == []
        (fault,), is_believed = it.edge(raw(1150, False, 2, read_ms=1210))
        assert not is_believed
        assert "50.0 ms before the edge before it" in fault.what
        assert said(it, raw(1450, True, 3)) == []

    def test_clocks_of_two_cores_may_differ_a_little(self) -> None:
        edge = RawEdge("A", True, 1200 * MS + CLOCK_SLACK_NS, 1200 * MS, 1)
        assert watch().edge(edge) == ([], True)


def test_a_late_reading_does_not_spoil_the_stamp() -> None:
    (fault,) = said(watch(), raw(1100, True, 1, read_ms=1100 + 51))
    assert fault.what == "gate A: 1 edge read more than 50 ms late"
    assert fault.since_ns is None
    assert fault.t_ns == (1100 + 51) * MS, "not the edge's own time: nothing is said against that"


class TestFlicker:
    def test_a_lamp_of_100_hz_is_said_once_a_second_and_no_edge_is_kept_back(self) -> None:
        it = watch()
        results = [it.edge(raw(1100 + 5 * n, n % 2 == 0, n + 1)) for n in range(600)]  # 200 edges a second for 3 s
        faults = [fault for faults, _ in results for fault in faults]
        assert all(is_believed for _, is_believed in results)
        assert [fault.what for fault in faults] == ["gate A: the beam flickers, 100 edges within 500.0 ms"] * 3
        assert min(b.t_ns - a.t_ns for a, b in pairwise(faults)) >= 1000 * MS
        assert faults[0].since_ns == 1100 * MS
        assert it.seen("A").flickered_ns == faults[-1].t_ns

    def test_boats_do_not_flicker(self) -> None:
        edges = [raw(1100 + 20 * n, n % 2 == 0, n + 1) for n in range(FLICKER_COUNT // 2)]
        assert said(watch(), *edges) == []


def test_a_storm_of_doubts_is_no_storm_of_words() -> None:
    it = watch()
    faults = said(it, *(raw(1100 + n, True, 3 * n + 1) for n in range(1, 950)))
    lost = [fault for fault in faults if "lost" in fault.what]
    assert len(lost) <= 10
    assert min(b.t_ns - a.t_ns for a, b in pairwise(lost)) >= TOGETHER_NS
    (last,) = it.rest(2100 * MS)
    assert "edges lost" in last.what


def test_a_starved_reader_says_once_that_it_is_late_and_what_it_lost() -> None:
    it = watch()
    faults = said(it, *(raw(1100 + n, n % 2 == 0, 11 + n, read_ms=2000) for n in range(80)))
    assert [fault.what for fault in faults] == ["gate A: 10 edges lost, 1 edge read more than 50 ms late"]
    (rest,) = it.look({"A": False, "B": False}, looked_ns=2101 * MS)
    assert rest.what == "gate A: 79 edges read more than 50 ms late"


def test_what_was_seen_is_told() -> None:
    it = watch()
    assert (it.seen("A").ever_clear, it.seen("A").ever_blocked, it.seen("A").edges_count) == (True, False, 0)
    said(it, raw(1100, True, 1), raw(1101, False, 2))
    assert (it.seen("A").blocked, it.seen("A").ever_blocked, it.seen("A").edges_count) == (False, True, 2)
    assert not it.seen("A").is_doubtful
    said(it, raw(1300, False, 3))
    assert it.seen("A").is_doubtful


# --- by law ---

STEP = st.tuples(st.integers(1, 200), st.booleans(), st.integers(0, 3))
"""(ms since the edge before, level, by how much the number grows)"""


@given(first=st.booleans(), steps=st.lists(STEP, max_size=30), numbered=st.booleans())
def test_silent_means_that_levels_alternate_and_numbers_run_on(
    first: bool, steps: list[tuple[int, bool, int]], numbered: bool
) -> None:
    it = EdgeWatch({"A": first}, source="gates", opened_ns=OPENED, looked_ns=LOOKED)
    t_ms, count, level, odd, faults = 1001, 0, first, [], []
    for gap_ms, blocked, grows in steps:
        before_ms, t_ms, count = t_ms, t_ms + gap_ms, count + grows
        faults += it.edge(raw(t_ms, blocked, count if numbered else None))[0]
        if blocked == level or (numbered and grows != 1):
            odd.append((before_ms, t_ms))
        level = blocked
    faults += it.rest(t_ms * MS)
    faults = [fault for fault in faults if "flickers" not in fault.what]
    assert bool(faults) == bool(odd)
    for before_ms, at_ms in odd[1:]:  # the first one's edges may be missing since the opening
        assert any(f.since_ns is not None and f.since_ns <= before_ms * MS and f.t_ns >= at_ms * MS for f in faults)


@given(st.lists(st.tuples(st.integers(1, 30), st.integers(1, 4)), min_size=1, max_size=30))
def test_whatever_the_kernel_runs_together_or_drops_is_covered_unless_the_number_of_changes_hides_it(
    pieces: list[tuple[int, int]],
) -> None:
    """Each piece: so many ms after the last one, so many changes run together into one edge (real kernels do that)."""
    it = EdgeWatch({"A": False}, source="gates", opened_ns=OPENED, looked_ns=LOOKED)
    t_ms, level, faults, hidden = 1001, False, [], 0
    for number, (gap_ms, changes_count) in enumerate(pieces, 1):
        t_ms += gap_ms
        level ^= changes_count % 2 == 1
        hidden += changes_count == 3
        faults += it.edge(raw(t_ms, level, number))[0]
    faults += it.rest(t_ms * MS)
    uneven = [count for _, count in pieces if count % 2 == 0]
    assert any("ran together" in fault.what for fault in faults) == bool(uneven)
