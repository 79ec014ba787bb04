"""Listens to a driver as the station does: in a thread of its own, until it is told to stop."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from logger.drivers.interface import Driver
from logger.records import Edge, Fault, Frame, Quiet, Record

PATIENCE_S = 30.0
"""What has not come by then does not come. An emulated machine has bad moments."""

T = TypeVar("T")
R = TypeVar("R", bound=Record)


class Hearing:
    """Everything that a driver said so far."""

    def __init__(self, keep: Callable[[Record], object]) -> None:
        self._keep = keep
        self._records: list[Record] = []
        self._news = threading.Condition()
        self._error: BaseException | None = None
        self.is_over = False
        """The driver has ended of its own accord."""
        self.stop = threading.Event()

    def listen(self, driver: Driver[Any]) -> None:
        """Take in records until there are no more; the thread's work."""
        try:
            for record in driver.records(self.stop):
                self._keep(record)
                with self._news:
                    self._records.append(record)
                    self._news.notify_all()
        except BaseException as error:
            self._error = error
        with self._news:
            self.is_over = True
            self._news.notify_all()

    def records(self, kind: type[R]) -> list[R]:
        """Those of one kind, so far."""
        with self._news:
            return [record for record in self._records if isinstance(record, kind)]

    @property
    def edges(self) -> list[Edge]:
        """The edges so far."""
        return self.records(Edge)

    @property
    def doubts(self) -> list[Fault]:
        """The faults that throw doubt on records; not "late", which a slow machine earns without losing anything."""
        return [fault for fault in self.records(Fault) if fault.since_ns is not None]

    def until(self, is_enough: Callable[[], T], what: str) -> T:
        """Wait until that is true; AssertionError: it did not become so, the driver ended, or failed."""
        ends_s = time.monotonic() + PATIENCE_S
        with self._news:
            while not (found := is_enough()):
                left_s = ends_s - time.monotonic()
                if self._error is not None:
                    raise self._error
                assert not self.is_over, f"ended before {what}; said last {self._records[-3:]}"
                assert left_s > 0, f"{what}: not within {PATIENCE_S:g} s; said last {self._records[-3:]}"
                self._news.wait(left_s)
            return found

    def until_edges(self, count: int) -> list[Edge]:
        """Wait for so many edges in all."""
        return self.until(lambda: self.edges if len(self.edges) >= count else [], f"{count} edges")

    def until_frames(self, count: int) -> list[Frame]:
        """Wait for so many pictures in all."""
        frames = self.until(lambda: self.records(Frame) if len(self.records(Frame)) >= count else [], f"{count} frames")
        return list(frames)

    def until_fault(self, words: str) -> Fault:
        """Wait for a fault that says this."""
        return self.until(
            lambda: next((fault for fault in self.records(Fault) if words in fault.what), None), f"fault {words!r}"
        )  # type: ignore[return-value]

    def until_quiet(self, after_ns: int) -> None:
        """Wait until nothing up to that time can still come."""
        self.until(lambda: bool(self._records) and self._records[-1].t_ns >= after_ns, f"a word after {after_ns}")

    def until_at_work(self) -> None:
        """Wait until it has nothing to say again and again: the device is running, and nothing old waits in it."""
        self.until(lambda: len(self.records(Quiet)) > 3, "a few quiets")

    def until_over(self) -> list[Record]:
        """Wait until the driver has ended of its own accord."""
        with self._news:
            assert self._news.wait_for(lambda: self.is_over, PATIENCE_S)
            if self._error is not None:
                raise self._error
            return list(self._records)


@contextmanager
def hearing(driver: Driver[Any], keep: Callable[[Record], object] = lambda _: None) -> Iterator[Hearing]:
    """Open the driver and listen; stop and close it at the end. `keep` is handed every record first."""
    heard = Hearing(keep)
    with driver:
        thread = threading.Thread(target=heard.listen, args=(driver,), daemon=True)
        thread.start()
        try:
            yield heard
        finally:
            heard.stop.set()
            thread.join(PATIENCE_S)
    assert not thread.is_alive(), "deaf to stop"
    if heard._error is not None:
        raise heard._error
