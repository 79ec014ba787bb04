"""Devices at the driver border, for tests of the check: each says what it is told to say, and remembers its closing."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from logger.drivers.interface import Finding, Stop, Weighing
from logger.records import Edge, Frame, Quiet, Record

MS = 1_000_000


@dataclass(frozen=True, slots=True)
class Options:
    """What a rig file may ask of any of them."""

    rate_hz: float = 30.0
    device: str = ""


class FakeDevice:
    """A device that opens, tests itself, tells some records, and closes."""

    Options: ClassVar[type] = Options

    def __init__(
        self,
        records: Callable[[int], Iterable[Record]] = lambda now_ns: [Quiet(now_ns, "device")],
        *,
        opens: Exception | None = None,
        finds: list[Finding] | None = None,
        hangs: bool = False,
    ) -> None:
        self._records, self._opens, self._hangs = records, opens, hangs
        self.name = "device"
        self.is_open, self.times_opened = False, 0
        self.freed = threading.Event()
        if finds is not None:
            self.self_test = lambda: finds  # only a device that has it can test itself

    def __enter__(self) -> Self:
        if self._opens is not None:
            raise self._opens
        self.is_open, self.times_opened = True, self.times_opened + 1
        return self

    def __exit__(self, *_: object) -> None:
        self.is_open = False

    def records(self, stop: Stop) -> Iterator[Record]:
        if self._hangs:
            self.freed.wait(30)
        for record in self._records(time.monotonic_ns()):
            if stop.is_set():
                return
            yield record


class FakeLight(FakeDevice):
    """A light; `ahead_ns` is how far its clock is ahead."""

    def __init__(self, ahead_ns: int = 0) -> None:
        super().__init__()
        self.ahead_ns, self.switched = ahead_ns, []

    def switch(self, on: bool) -> tuple[int, int]:
        self.switched.append(on)
        now_ns = time.monotonic_ns() + self.ahead_ns
        return now_ns, now_ns + 40_000


class FakeScale(FakeDevice):
    """A scale that shows 12.5 g."""

    def __init__(self, *, is_steady: bool) -> None:
        super().__init__()
        self._is_steady = is_steady

    def weigh(self, timeout_s: float) -> Weighing:
        return Weighing(time.monotonic_ns(), 12.5, 0.03, self._is_steady)


def opener(**devices: Any) -> Callable[..., Any]:
    """Opens these devices, by kind; anything else would be a device that nobody named."""

    def made(kind: str, options: Mapping[str, object], *, name: str, place: str) -> Any:
        device = devices[kind]
        if isinstance(device, Exception):
            raise device
        device.name = name
        return device

    return made


def edges(*told: tuple[str, bool, float]) -> Callable[[int], Iterator[Record]]:
    """Edges (gate, blocked, seconds from the beginning), and that the device lives until a second after the last."""

    def records(now_ns: int) -> Iterator[Record]:
        for gate, blocked, at_s in told:
            yield Edge(now_ns + round(at_s * 1e9), gate, blocked, "gates")
        yield Quiet(now_ns + round(max((at_s for *_, at_s in told), default=0) * 1e9) + 1_000 * MS, "gates")

    return records


def pictures(
    image: np.ndarray, *, rate_hz: float = 30.0, missing: int = 0, jpeg: bytes | None = b"x" * 50_000, count: int = 90
) -> Callable[[int], Iterator[Record]]:
    """The same picture again and again; of every ten numbers the first `missing` are left out."""

    def records(now_ns: int) -> Iterator[Record]:
        for number in range(count):
            if number % 10 >= missing:
                t_ns = now_ns + round(number * 1e9 / rate_hz)
                yield Frame(t_ns, image, number, "camera", exposure_ns=4 * MS, jpeg=jpeg)

    return records
