"""Records leave in the order of their stamps, and no Quiet is ever broken."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.in_order import LONGEST_QUIET_NS, InOrder, Ordered
from logger.records import ClockDoubt, Edge, Fault, Key, Quiet

MS = 1_000_000


def edge(t_ms: float, gate: str = "A") -> Edge:
    return Edge(round(t_ms * MS), gate, True, "gates", 7)


def test_what_was_read_the_wrong_way_round_leaves_the_right_way_round() -> None:
    order = InOrder(source="gates", begins_ns=0)
    order.add(edge(12, "B"))
    order.add(edge(10, "A"))
    assert list(order.up_to(20 * MS)) == [Quiet(0, "gates"), edge(10, "A"), edge(12, "B")]


def test_a_fault_leaves_before_the_edge_that_it_doubts() -> None:
    order = InOrder(source="gates", begins_ns=0)
    fault = Fault(10 * MS, "gates", "2 edges lost", "look")
    order.add(fault)
    order.add(edge(10))
    assert list(order.up_to(20 * MS))[1:] == [fault, edge(10)]


def test_nothing_leaves_before_it_is_promised() -> None:
    order = InOrder(source="gates", begins_ns=0)
    order.add(edge(30))
    assert list(order.up_to(29 * MS)) == [Quiet(0, "gates")]
    assert list(order.up_to(31 * MS)) == [edge(30)]


def test_an_edge_that_comes_too_late_is_told_as_a_fault_with_all_that_it_said() -> None:
    order = InOrder(source="gates", begins_ns=0)
    list(order.up_to(60 * MS))
    order.add(edge(20))
    (fault, *_) = order.up_to(80 * MS)
    assert isinstance(fault, Fault)
    assert fault.what == (
        "gate A: an edge (blocked, number 7) of 20000000 ns came 40.0 ms too late for the order of time and is left out"
    )
    assert (fault.t_ns, fault.since_ns) == (60 * MS + 1, 20 * MS)


def test_other_records_that_come_too_late_are_told_of_too() -> None:
    order = InOrder(source="gates", begins_ns=0)
    list(order.up_to(60 * MS))
    order.add(Fault(20 * MS, "gates", "2 edges lost", "look", since_ns=5 * MS))
    order.add(Key(30 * MS, "void", "gates"))
    order.add(ClockDoubt(40 * MS, "gates", 3, "ten answers"))
    lost, key, clock = order.up_to(61 * MS)
    assert lost == Fault(60 * MS + 1, "gates", "2 edges lost", "look", since_ns=5 * MS)
    assert isinstance(key, Fault)
    assert isinstance(clock, Fault)
    assert key.what.startswith("key void of 30000000 ns")
    assert "ten answers" in clock.what


def test_a_long_silence_is_filled() -> None:
    order = InOrder(source="gates", begins_ns=0)
    order.add(edge(250))
    told = list(order.up_to(420 * MS))
    assert [(type(r).__name__, r.t_ns // MS) for r in told] == [
        ("Quiet", 0), ("Quiet", 100), ("Quiet", 200), ("Edge", 250), ("Quiet", 350), ("Quiet", 420),
    ]  # fmt: skip


def test_the_rest_leaves_at_the_end() -> None:
    order = InOrder(source="gates", begins_ns=0)
    assert list(order.rest()) == []
    list(order.up_to(10 * MS))
    order.add(edge(30, "B"))
    order.add(edge(20))
    assert [r for r in order.rest() if not isinstance(r, Quiet)] == [edge(20), edge(30, "B")]


DEED = st.one_of(
    st.tuples(st.just("add"), st.integers(-150, 60)),  # stamped so many ms from now
    st.tuples(st.just("wait"), st.integers(0, 300)),
)


@given(st.lists(DEED, max_size=40))
def test_whatever_comes_when_stamps_never_go_back_and_silences_are_short_and_kept(deeds: list[tuple[str, int]]) -> None:
    order, now_ms, told, added_count = InOrder(source="gates", begins_ns=1000 * MS), 1000, [], 0
    for what, ms in deeds:
        if what == "add":
            record: Ordered = edge(now_ms + ms, f"gate {added_count}")
            order.add(record)
            added_count += 1
        else:
            now_ms += ms
            told += list(order.up_to((now_ms - 50) * MS))
    told += list(order.rest())
    stamps = [record.t_ns for record in told]
    assert stamps == sorted(stamps)
    assert len([record for record in told if not isinstance(record, Quiet)]) == added_count
    assert all(b - a <= LONGEST_QUIET_NS for a, b in pairwise(stamps))
    promised = 0
    for record in told:
        assert isinstance(record, Quiet) or record.t_ns > promised
        promised = max(promised, record.t_ns if isinstance(record, Quiet) else 0)
