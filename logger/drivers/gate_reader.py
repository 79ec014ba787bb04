"""What a reader of gates on GPIO pins promises to the driver that owns it (gpio_gates.py)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from logger.drivers.edge_watch import RawEdge
from logger.drivers.gpio_chips import Chip, Pull
from logger.drivers.interface import Finding

CONSUMER = "boatrun gates"
"""Under this name the kernel shows others who has the pins."""


class GoneError(Exception):
    """The device can no longer be read; it has to be opened anew."""

    def __init__(self, what: str, cure: str) -> None:
        """What was found, and what to do."""
        super().__init__(what)
        self.what, self.cure = what, cure


@dataclass(frozen=True, slots=True)
class Wiring:
    """Which gate hangs on which pin, and how."""

    chip: Chip
    pins: Mapping[str, int]
    """Gate -> line of the chip."""
    blocked_is: Literal["low", "high"]
    """Level of the pin while the beam is broken."""
    pull: Pull
    where: str
    """Name of the driver, for messages."""

    def is_blocked(self, *, high: bool) -> bool:
        """What that level says of the beam."""
        return high == (self.blocked_is == "high")


class GateReader(Protocol):
    """Gets edges and levels of all gates of one wiring."""

    @property
    def numbers_edges(self) -> bool:
        """True if the numbers of its edges are the kernel's own, so that a jump means lost edges."""
        ...

    @property
    def settle_ns(self) -> int:
        """An edge that has not been read this long after its stamp is not coming any more."""
        ...

    def open(self) -> None:
        """Take the pins. DriverError: they cannot be had."""
        ...

    def close(self) -> None:
        """Let go of everything; does nothing when not open."""
        ...

    def read(self, most: int) -> list[RawEdge]:
        """Up to `most` edges in the order of reading, at once; fewer than `most` if there are no more. GoneError."""
        ...

    def levels(self) -> dict[str, bool]:
        """Gate -> blocked, now. GoneError: they cannot be read any more."""
        ...

    def findings(self) -> list[Finding]:
        """What is to be said of the reader itself."""
        ...
