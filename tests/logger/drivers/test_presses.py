"""A press counts once, from its first touch, however the contact bounces."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from logger.drivers.presses import LONGEST_NS, STILL_NS, Contact

MS = 1_000_000


def presses(*edges: tuple[float, bool], pressed: bool = False) -> list[float]:
    """The moments in ms of what counts as presses; each edge as (ms, pressed)."""
    contact = Contact(pressed=pressed)
    found = []
    for ms, closed in edges:
        contact.edge(round(ms * MS), pressed=closed)
        found += contact.past(round(ms * MS))
    return [t_ns / MS for t_ns in found + contact.past(10**12)]


def test_a_clean_press_counts_from_its_edge() -> None:
    assert presses((100, True), (200, False)) == [100]


def test_a_bouncing_press_counts_once_from_the_first_touch() -> None:
    assert presses((100, True), (100.5, False), (101, True), (103, False), (104, True), (300, False), (301, True),
                   (302, False)) == [100]  # fmt: skip


def test_two_presses_count_twice() -> None:
    assert presses((100, True), (180, False), (260, True), (350, False)) == [100, 260]


def test_a_spark_is_no_press() -> None:
    assert presses((100, True), (100.001, False)) == []


def test_a_spark_while_it_is_held_is_no_second_press() -> None:
    assert presses((100, True), (200, False), (200.001, True), (300, False)) == [100]


def test_who_holds_it_down_already_does_not_press_it() -> None:
    assert presses((100, False), (200, True), pressed=True) == [200]
    assert presses(pressed=True) == []


def test_a_loose_wire_presses_nothing_and_is_noticed() -> None:
    contact = Contact(pressed=False)
    for number in range(100):
        contact.edge(5 * MS * number, pressed=number % 2 == 0)
    assert contact.past(500 * MS) == []
    assert contact.chattered_ns is not None


def test_it_is_undecided_from_the_first_edge_until_it_is_still() -> None:
    contact = Contact(pressed=False)
    assert contact.undecided_ns is None
    contact.edge(100 * MS, pressed=True)
    assert contact.past(100 * MS + STILL_NS - 1) == []
    assert contact.undecided_ns == 100 * MS
    assert contact.past(100 * MS + STILL_NS) == [100 * MS]
    assert contact.undecided_ns is None


@given(st.lists(st.tuples(st.integers(1, 100 * MS), st.booleans()), max_size=40), st.integers(0, 5))
def test_presses_come_in_order_are_known_in_time_and_never_twice(steps: list[tuple[int, bool]], every: int) -> None:
    contact, t_ns, found = Contact(pressed=False), 0, []
    for number, (gap_ns, pressed) in enumerate(steps):
        t_ns += gap_ns
        undecided_ns = contact.undecided_ns
        contact.edge(t_ns, pressed=pressed)
        if number % (every + 1) == 0:
            found += [(press_ns, undecided_ns) for press_ns in contact.past(t_ns)]
        assert contact.undecided_ns is None or t_ns - contact.undecided_ns < LONGEST_NS
    found += [(press_ns, None) for press_ns in contact.past(t_ns + STILL_NS)]
    moments = [press_ns for press_ns, _ in found]
    assert moments == sorted(set(moments))
    assert contact.undecided_ns is None
    if steps and steps[-1][1] and found:
        assert contact.pressed or contact.chattered_ns is not None
