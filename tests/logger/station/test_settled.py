"""Records of many sources leave in the order in which they happened, whatever the order in which they came."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.records import Edge, Fault, Fix, Frame, Key, Quiet, Record
from logger.station.settled import Settled


def edge(t_ns: int, gate: str = "start", *, blocked: bool = True, source: str = "gates") -> Edge:
    return Edge(t_ns, gate, blocked, source)


def frame(t_ns: int) -> Frame:
    return Frame(t_ns, np.zeros((1, 1, 3), np.uint8), sequence=0, source="camera")


def fed(settled: Settled, *records: Record) -> list[Record]:
    out: list[Record] = []
    for record in records:
        settled.feed(record)
        while (popped := settled.pop()) is not None:
            out.append(popped)
    return out


def test_nothing_leaves_before_every_source_has_spoken() -> None:
    settled = Settled(["gates", "camera"])
    assert fed(settled, edge(10), Quiet(50, "gates")) == []
    assert fed(settled, Quiet(9, "camera")) == []
    assert fed(settled, Quiet(10, "camera")) == [edge(10)]
    assert settled.settled_ns == 10


def test_the_slower_source_comes_first_if_it_was_first() -> None:
    settled = Settled(["gates", "panel"])
    early = Key(5, "arm", "panel")
    assert fed(settled, edge(10), Quiet(60, "gates"), early, Quiet(60, "panel")) == [early, edge(10)]


def test_two_edges_may_share_a_nanosecond_so_one_alone_does_not_settle_it() -> None:
    settled = Settled(["gates"])
    assert fed(settled, edge(10, "start")) == []
    assert settled.settled_ns == 9
    assert fed(settled, edge(10, "finish"), edge(11, "start", blocked=False)) == [edge(10, "finish"), edge(10, "start")]


def test_a_picture_settles_its_own_time() -> None:
    settled = Settled(["camera"])
    picture = frame(10)
    assert fed(settled, picture) == [picture]


def test_a_lasting_fault_frees_the_others_and_takes_its_place_in_the_order() -> None:
    settled = Settled(["gates", "camera"])
    dead = Fault(20, "camera", "unplugged", "plug it in", lasting=True)
    assert fed(settled, edge(10), edge(30, blocked=False), Quiet(40, "gates")) == []
    assert fed(settled, dead) == [edge(10), dead, edge(30, blocked=False)]
    assert settled.live == {"gates"}


def test_a_passing_fault_does_not_silence_its_source() -> None:
    settled = Settled(["gates"])
    hiccup = Fault(5, "gates", "late", "none")
    assert fed(settled, hiccup, edge(6), Quiet(7, "gates")) == [hiccup, edge(6)]
    assert settled.live == {"gates"}


def test_when_all_have_ended_the_rest_leaves() -> None:
    settled = Settled(["gates", "panel"])
    assert fed(settled, edge(10), edge(20, blocked=False)) == []
    settled.end("panel")
    settled.end("gates")
    assert [settled.pop(), settled.pop(), settled.pop()] == [edge(10), edge(20, blocked=False), None]
    assert settled.settled_ns == 20


def test_a_record_that_breaks_its_word_becomes_a_fault_that_tells_all_of_it() -> None:
    settled = Settled(["gates"])
    (fault,) = fed(settled, Quiet(100, "gates"), edge(90, blocked=False))
    assert isinstance(fault, Fault)
    assert fault.what == (
        "edge of gate start (clear) stamped 90 left out of the order of time: "
        "its source had promised nothing more up to 100"
    )
    assert (fault.since_ns, fault.t_ns, fault.lasting) == (90, 100, False)


def test_a_second_edge_of_one_gate_at_one_time_is_a_fault() -> None:
    settled = Settled(["gates"])
    out = fed(settled, edge(10), edge(10, blocked=False), Quiet(20, "gates"))
    assert [type(record) for record in out] == [Edge, Fault]


def test_what_a_source_says_after_its_end_is_kept_as_a_fault() -> None:
    settled = Settled(["gates", "panel"])
    over = Fault(10, "gates", "unplugged", "plug it in", lasting=True)
    out = fed(settled, over, edge(12), Quiet(50, "panel"))
    assert out[0] == over
    assert isinstance(out[1], Fault)
    assert "its source had already ended" in out[1].what
    assert out[1].t_ns == 12


def test_a_stranger_is_not_let_in() -> None:
    with pytest.raises(ValueError, match="a record from 'gate2'; known are gates"):
        Settled(["gates"]).feed(edge(1, source="gate2"))


def test_a_position_made_from_a_picture_joins_the_order() -> None:
    settled = Settled(["camera", "gates"])
    picture = frame(10)
    fix = Fix(13, 0.0, 0.0, 0.0, (1.0, 0.0, 1.0), "measured", "tracker")
    assert fed(settled, picture, edge(12), Quiet(20, "gates")) == [picture]
    settled.add(fix)
    assert fed(settled, Quiet(20, "camera")) == [edge(12), fix]


def stream(source: str, kinds: st.SearchStrategy[str]) -> st.SearchStrategy[list[Record]]:
    """What one source says: stamps never go back, no Quiet is broken, a Quiet at the end."""

    def build(steps: Sequence[tuple[str, int]]) -> list[Record]:
        records: list[Record] = []
        floor, t_ns = 0, 0
        for number, (kind, step) in enumerate(steps):
            t_ns = max(floor, t_ns + step)
            if kind == "quiet":
                records.append(Quiet(t_ns, source))
                floor = t_ns + 1
            elif kind == "key":
                records.append(Key(t_ns, "note", source, str(number)))
            else:
                floor = t_ns + 1 if records and records[-1] == edge(t_ns, kind, source=source) else floor
                t_ns = max(t_ns, floor)
                records.append(Edge(t_ns, f"{source}-{kind}-{number}", True, source))
        return [*records, Quiet(t_ns + 1, source), Quiet(1000, source)]

    return st.lists(st.tuples(kinds, st.integers(0, 3)), max_size=12).map(build)


@st.composite
def interleaved(draw: st.DrawFn) -> tuple[list[Record], list[Record]]:
    """The same streams of three sources in two different orders of arrival."""
    streams = [
        draw(stream("gates", st.sampled_from(["a", "b", "quiet"]))),
        draw(stream("more", st.sampled_from(["a", "b", "quiet"]))),
        draw(stream("panel", st.sampled_from(["key", "quiet"]))),
    ]
    orders = []
    for _ in range(2):
        names = draw(st.permutations([n for n, records in enumerate(streams) for _ in records]))
        queues = [iter(records) for records in streams]
        orders.append([next(queues[n]) for n in names])
    return orders[0], orders[1]


@given(interleaved())
def test_any_interleaving_leaves_in_the_same_order_and_nothing_is_lost(
    orders: tuple[list[Record], list[Record]],
) -> None:
    one, other = (fed(Settled(["gates", "more", "panel"]), *order) for order in orders)
    assert one == other
    assert len(one) == sum(not isinstance(record, Quiet) for record in orders[0])
    assert [record.t_ns for record in one] == sorted(record.t_ns for record in one)
