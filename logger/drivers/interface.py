"""The border to the hardware: what a gate driver and a camera driver promise.

A driver is a context manager whose `records` is a generator. It owns no thread, no queue and no global: the loop owns
the threads. It opens, or raises `DriverError` saying why not and what to do; it never falls back to another driver.

Promises, checked for every driver by one contract suite (tests/logger/drivers/test_contract.py):
stamps of one driver never go back · a `Quiet` at least every 100 ms of its clock, never broken by a later record ·
`stop` obeyed within 200 ms · trouble arrives as a `Fault`, not as silence and not as an exception.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import TracebackType
from typing import Protocol, Self, TypeVar

from logger.records import Edge, Fault, Frame, Quiet

R_co = TypeVar("R_co", covariant=True)


class Stop(Protocol):
    """Anything that can say "enough": a threading.Event will do."""

    def is_set(self) -> bool:
        """True when the driver should return."""
        ...


class Driver(Protocol[R_co]):
    """A source of records, opened by `with`."""

    @property
    def name(self) -> str:
        """The source's name as every record of it carries it."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def records(self, stop: Stop) -> Iterator[R_co]:
        """Yield records in order of their stamps until `stop` is set or the source has ended."""
        ...


GateDriver = Driver[Edge | Quiet | Fault]
"""All gates of one device."""
CameraDriver = Driver[Frame | Quiet | Fault]
"""One camera."""
