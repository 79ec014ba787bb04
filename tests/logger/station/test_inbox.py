"""The inbox loses nothing, is bounded for each source by itself, and notices who has fallen silent."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np

from logger.records import Edge, Frame, Quiet, Record
from logger.station.inbox import Ended, Inbox

IMAGE = np.zeros((1, 1, 3), np.uint8)


def edge(t_ns: int) -> Edge:
    return Edge(t_ns, "A", bool(t_ns % 2), "gates")


def frame(t_ns: int) -> Frame:
    return Frame(t_ns, IMAGE, t_ns, "camera")


def in_thread(work: Callable[[], object]) -> threading.Thread:
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def wait_until(is_true: Callable[[], bool]) -> None:
    """Spin until another thread has come so far; a test that hangs here has failed."""
    for _ in range(2_000_000):
        if is_true():
            return
    raise AssertionError("the other thread never came so far")


def test_records_come_out_in_order_of_arrival() -> None:
    inbox = Inbox(["gates", "camera"])
    sent: list[Record] = [edge(5), frame(1), Quiet(9, "gates")]
    assert all(inbox.put(record) for record in sent)
    inbox.end("gates")
    assert inbox.take(0) == [*sent, Ended("gates")]
    assert inbox.take(0) == []


def test_no_more_is_taken_in_one_go_than_asked_and_nothing_is_skipped() -> None:
    inbox = Inbox(["gates"])
    for n in range(25):
        inbox.put(edge(n))
    assert [[record.t_ns for record in inbox.take(0, most=10)] for _ in range(4)] == [  # type: ignore[union-attr]
        [*range(10)], [*range(10, 20)], [*range(20, 25)], []
    ]  # fmt: skip


def test_taking_waits_for_something_to_come() -> None:
    inbox = Inbox(["gates"])
    thread = in_thread(lambda: inbox.put(edge(1)))
    assert inbox.take(60) == [edge(1)]
    thread.join()


def test_a_camera_at_its_limit_waits_and_edges_still_come_through() -> None:
    inbox = Inbox(["gates", "camera"], frames_count=2)
    thread = in_thread(lambda: [inbox.put(frame(n)) for n in range(3)])
    wait_until(lambda: inbox.frames_waiting("camera") == 2)
    assert all(inbox.put(edge(n)) for n in range(1000))
    taken = inbox.take(0, most=5000)
    assert sum(isinstance(record, Frame) for record in taken) == 2
    assert inbox.take(0) == [], "taken is not done with: the third picture still waits"
    inbox.release([record for record in taken if isinstance(record, Frame)][:1])
    thread.join(60)
    assert not thread.is_alive()
    assert [record.t_ns for record in inbox.take(0) if isinstance(record, Frame)] == [2]


def test_edges_at_their_limit_do_not_hold_up_pictures() -> None:
    inbox = Inbox(["gates", "camera"], others_count=3)
    thread = in_thread(lambda: [inbox.put(edge(n)) for n in range(4)])
    wait_until(lambda: inbox.fill.waiting_count == 3)
    assert inbox.put(frame(1))
    inbox.close()
    thread.join(60)
    assert not thread.is_alive()


def test_a_closed_inbox_refuses_and_sets_free() -> None:
    inbox = Inbox(["gates"], others_count=1)
    answers: list[bool] = []
    thread = in_thread(lambda: answers.extend(inbox.put(edge(n)) for n in range(2)))
    wait_until(lambda: inbox.fill.waiting_count == 1)
    inbox.close()
    thread.join(60)
    assert answers == [True, False]
    assert not inbox.put(edge(9))


def test_how_full_it_is_and_was() -> None:
    inbox = Inbox(["gates", "camera"])
    sent: list[Record] = [frame(1), frame(2), edge(1)]
    for record in sent:
        inbox.put(record)
    inbox.release(inbox.take(0)[:2])  # type: ignore[arg-type]
    fill = inbox.fill
    assert (fill.waiting_count, fill.peak_count, fill.frames_peak_count) == (1, 3, 2)


def test_whoever_says_nothing_is_noticed_and_whoever_waits_or_has_ended_is_not() -> None:
    now_ns = [0]
    inbox = Inbox(["gates", "camera", "panel"], frames_count=1, clock=lambda: now_ns[0])
    inbox.end("panel")
    thread = in_thread(lambda: [inbox.put(frame(n)) for n in range(2)])
    wait_until(lambda: inbox.frames_waiting("camera") == 1)
    now_ns[0] = 50
    inbox.put(Quiet(1, "gates"))
    assert inbox.silent(after_ns=60) == []
    now_ns[0] = 150
    wait_until(lambda: inbox.silent(after_ns=60) == ["gates"])
    inbox.close()
    thread.join(60)


def test_sources_that_all_wait_are_stuck_and_are_noticed() -> None:
    now_ns = [0]
    inbox = Inbox(["gates"], others_count=1, clock=lambda: now_ns[0])
    thread = in_thread(lambda: [inbox.put(edge(n)) for n in range(2)])
    wait_until(lambda: inbox.fill.waiting_count == 1)
    inbox.take(0)
    now_ns[0] = 100
    assert inbox.silent(after_ns=60) == ["gates"]
    inbox.close()
    thread.join(60)
