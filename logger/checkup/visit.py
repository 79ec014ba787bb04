"""A short visit to one device: open it, look at it, close it, whatever happens and however long it hangs.

A device that hangs must not hang the whole check. So the visit has a thread of its own and a limit; when the limit is
over we go on, and the thread closes the device as soon as it comes back.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from typing import Any, TypeVar

from logger.drivers.interface import Driver, Finding
from logger.errors import DriverError

T = TypeVar("T")
FAREWELL_S = 2.0
"""How long a device may take to come to its end after it was told to stop."""


class Until:
    """A `Stop` that is set when the visit is broken off, when its time is over, or by whoever listens."""

    def __init__(
        self, broken_off: threading.Event, for_s: float, *, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._broken_off, self._now_s = broken_off, now_s
        self._ends_s = now_s() + for_s
        self._enough = False

    def is_set(self) -> bool:
        """True when the driver should return."""
        return self._enough or self._broken_off.is_set() or self._now_s() >= self._ends_s

    def enough(self) -> None:
        """Set it."""
        self._enough = True


def visit(
    driver: AbstractContextManager[Any], look: Callable[[Any, threading.Event], T], *, part: str, within_s: float
) -> T | Finding:
    """Open `driver`, let `look` look at it (and break off when the event is set), close it.

    Args:
        driver: Not opened yet.
        look: Is given the opened driver and the event; returns what it saw.
        part: What the device is called in a finding.
        within_s: How long all of this may take.

    Returns:
        What `look` returned; or what is wrong with the device: it could not be opened, it failed, it hangs.
    """
    broken_off = threading.Event()
    answers: queue.SimpleQueue[T | Finding] = queue.SimpleQueue()

    def go() -> None:
        try:
            with driver as opened:
                answer: T | Finding = look(opened, broken_off)
        except DriverError as error:
            answer = of_error(part, error)
        except Exception as error:
            found = f"its driver failed ({type(error).__name__}: {' '.join(str(error).split())})"
            answer = Finding(part, "wrong", found, "report this driver")
        answers.put(answer)

    thread = threading.Thread(target=go, name=f"visit-{part}", daemon=True)
    thread.start()
    try:
        return answers.get(timeout=within_s)
    except queue.Empty:
        found = f"it did not answer within {within_s:g} s"
        return Finding(part, "wrong", found, "unplug it and plug it in again, or start the computer anew")
    finally:
        broken_off.set()
        thread.join(FAREWELL_S)


def listen(driver: Driver[T], stop: Until, *, hear: Callable[[T], None], until: Callable[[], bool]) -> bool:
    """Let `hear` have the driver's records until `until()` or `stop`; True if the driver came to its end by itself."""
    records: Any = driver.records(stop)
    with closing(records):
        for record in records:
            hear(record)
            if until():
                stop.enough()
            if stop.is_set():
                return False
    return not stop.is_set()


def of_error(part: str, error: Exception) -> Finding:
    """A finding from an error's words: what comes after the last semicolon is what to do."""
    words = " ".join(str(error).split()).removeprefix(f"{part}: ")
    found, _, cure = words.rpartition("; ")
    return Finding(part, "wrong", found or words, cure if found else "see what it says")
