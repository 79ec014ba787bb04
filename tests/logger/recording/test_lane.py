"""A lane never makes its giver wait for the disk, loses nothing, keeps the order, and is bounded."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import pytest

from logger.errors import StoreError
from logger.recording.lane import AT_ONCE_BYTES, Lane

LONG_S = 60.0
"""What a test waits for comes at once; if it takes so long, the test has failed."""


class Device:
    """Takes what is written and synced; either can be made to hang, or to fail."""

    def __init__(self) -> None:
        self.goes_on = {"write": threading.Event(), "sync": threading.Event()}
        self.has_begun = {"write": threading.Semaphore(0), "sync": threading.Semaphore(0)}
        self.error: dict[str, Exception] = {}
        self.written: list[int] = []
        self.safe: list[int] = []
        self.syncs_count = 0
        for gate in self.goes_on.values():
            gate.set()

    def write(self, pieces: Sequence[int]) -> None:
        self._pass("write")
        self.written += pieces

    def sync(self) -> None:
        covered = list(self.written)
        self._pass("sync")
        self.syncs_count += 1
        self.safe = covered

    def _pass(self, what: str) -> None:
        self.has_begun[what].release()
        assert self.goes_on[what].wait(LONG_S)
        if what in self.error:
            raise self.error[what]

    def wait_for(self, what: str) -> None:
        assert self.has_begun[what].acquire(timeout=LONG_S)


@contextmanager
def lane(
    device: Device, *, group_s: float = 0.0, most_bytes: int = 1000, now_ns: Callable[[], int] = lambda: 0
) -> Iterator[Lane[int]]:
    made = Lane("test", write=device.write, sync=device.sync, group_s=group_s, most_bytes=most_bytes, now_ns=now_ns)
    try:
        yield made
    finally:
        for gate in device.goes_on.values():
            gate.set()
        try:
            made.close()
        except (StoreError, OSError):
            assert device.error


def hand_all(to: Lane[int], numbers: range) -> None:
    for number in numbers:
        assert to.hand(number, 1)


def test_everything_is_written_in_order_and_on_the_disk_when_closed() -> None:
    device = Device()
    with lane(device) as to:
        hand_all(to, range(500))
        to.flush()
        assert device.written == list(range(500))
        assert to.waiting_bytes == 0
    assert device.safe == list(range(500))


def test_a_write_that_hangs_makes_nobody_wait() -> None:
    device = Device()
    device.goes_on["write"].clear()
    with lane(device) as to:
        hand_all(to, range(300))
        device.wait_for("write")
        hand_all(to, range(300, 600))
        assert device.written == []
        assert to.waiting_bytes == 600
        device.goes_on["write"].set()
        to.flush()
        assert device.written == list(range(600))


def test_a_sync_that_hangs_holds_up_no_write_and_all_written_meanwhile_share_the_next() -> None:
    device = Device()
    device.goes_on["sync"].clear()
    with lane(device) as to:
        hand_all(to, range(3))
        device.wait_for("sync")
        hand_all(to, range(3, 100))
        to.flush()
        assert device.written == list(range(100))
        assert device.safe == []
        device.goes_on["sync"].set()
        device.wait_for("sync")
        to.close()
        assert device.safe == list(range(100))
        assert device.syncs_count <= 3  # of the first pieces; of all others; of a piece written between the two


def test_what_is_written_within_a_short_time_shares_a_sync_which_closing_does_not_wait_for() -> None:
    device = Device()
    with lane(device, group_s=LONG_S) as to:
        hand_all(to, range(50))
        to.flush()
        hand_all(to, range(50, 100))
        to.flush()
        assert device.syncs_count == 0
        to.close()
        assert (device.syncs_count, device.safe) == (1, list(range(100)))


def test_a_sync_comes_by_itself() -> None:
    device = Device()
    with lane(device, group_s=0.01) as to:
        to.hand(7, 1)
        device.wait_for("sync")
        assert device.written == [7]


def test_what_waits_is_bounded_and_the_giver_is_refused_or_waits() -> None:
    device = Device()
    device.goes_on["write"].clear()
    with lane(device, most_bytes=10) as to:
        hand_all(to, range(10))
        assert not to.hand(10, 1, can_wait=False)
        giver = threading.Thread(target=lambda: to.hand(10, 1), daemon=True)
        giver.start()
        assert to.waiting_bytes == 10
        device.goes_on["write"].set()
        giver.join(LONG_S)
        to.flush()
        assert device.written == list(range(11))


def test_a_piece_larger_than_the_bound_still_gets_through() -> None:
    device = Device()
    with lane(device, most_bytes=10) as to:
        assert to.hand(1, 50, can_wait=False)
        to.flush()
        assert to.hand(2, 50)
    assert device.written == [1, 2]


def test_no_more_is_written_in_one_go_than_is_soon_done() -> None:
    device, goes = Device(), []
    device.goes_on["write"].clear()

    def write(pieces: Sequence[int]) -> None:
        device.write(pieces)
        goes.append(len(pieces))

    to: Lane[int] = Lane("test", write=write, sync=device.sync, group_s=0, most_bytes=10 * AT_ONCE_BYTES)
    for number in range(9):
        to.hand(number, AT_ONCE_BYTES // 3)
    device.goes_on["write"].set()
    to.close()
    assert max(goes) == 3
    assert device.safe == list(range(9))


def test_the_age_of_what_is_not_on_the_disk_is_known() -> None:
    device, now_ns = Device(), [100]
    device.goes_on["write"].clear()
    device.goes_on["sync"].clear()
    with lane(device, now_ns=lambda: now_ns[0]) as to:
        assert to.unsafe_since_ns is None
        to.hand(1, 1)
        device.wait_for("write")
        now_ns[0] = 200
        to.hand(2, 1)
        assert to.unsafe_since_ns == 100, "being written"
        device.goes_on["write"].set()
        device.wait_for("sync")
        to.flush()
        now_ns[0] = 300
        to.hand(3, 1)
        assert to.unsafe_since_ns == 100, "written, being synced"
        device.goes_on["sync"].set()
        to.close()
        assert to.unsafe_since_ns is None


@pytest.mark.parametrize("what", ["write", "sync"])
def test_an_error_arrives_where_something_is_handed_over_next(what: str) -> None:
    device = Device()
    device.error[what] = StoreError("x: cannot be written")
    with lane(device) as to:
        to.hand(1, 1)
        device.wait_for(what)
        with pytest.raises(StoreError, match="x: cannot be written"):
            to.close()
        for ask in (to.check, to.close, lambda: to.hand(2, 1)):
            with pytest.raises(StoreError, match="x: cannot be written"):
                ask()


def test_a_giver_that_waits_for_room_is_told_of_an_error() -> None:
    device, told = Device(), []
    device.goes_on["write"].clear()
    device.error["write"] = StoreError("x: cannot be written")
    with lane(device, most_bytes=1) as to:
        to.hand(1, 1)

        def give() -> None:
            try:
                to.hand(2, 1)
            except StoreError as error:
                told.append(str(error))

        giver = threading.Thread(target=give, daemon=True)
        giver.start()
        device.goes_on["write"].set()
        giver.join(LONG_S)
        assert told == ["x: cannot be written"]
        with pytest.raises(StoreError, match="x: cannot"):
            to.flush()
