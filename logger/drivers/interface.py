"""The border to the hardware: what drivers of gates, camera, panel, light and scale promise.

A driver is a context manager whose `records` is a generator. It owns no thread, no queue and no global: the loop owns
the threads. It opens, or raises `DriverError` saying why not and what to do; it never falls back to another driver.

Promises, checked for every driver by one contract suite (tests/logger/drivers/test_contract.py):
stamps of one driver never go back · a `Quiet` at least every 100 ms of its clock, never broken by a later record ·
`stop` obeyed within 200 ms · trouble arrives as a `Fault`, not as silence and not as an exception.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Literal, Protocol, Self, TypeAlias, TypeVar, runtime_checkable

from logger.config import RunCard
from logger.records import ClockDoubt, Edge, Fault, Frame, Key, Quiet

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


GateDriver = Driver[Edge | Quiet | Fault | ClockDoubt]
"""All gates of one device."""
CameraDriver = Driver[Frame | Quiet | Fault | ClockDoubt]
"""One camera."""

Health: TypeAlias = Literal["well", "doubtful", "wrong"]
"""As it should be · a run is possible, but look at it · no run can be trusted."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What looking at one part of the rig came to, in plain words."""

    part: str
    """What was looked at, such as "gate start" or "camera"."""
    health: Health
    found: str
    """What was found, with its unit."""
    cure: str = ""
    """What to do about it; empty where all is well."""


@runtime_checkable
class SelfTesting(Protocol):
    """A driver that can tell, once it is open and before anything is asked of it, whether it is fit for a run."""

    def self_test(self) -> list[Finding]:
        """Look at every part of the device; takes less than two seconds, moves nothing, needs nobody's help."""
        ...


@runtime_checkable
class Attended(Protocol):
    """Gates with an invented person at them, who is asked what people at real ones are told. No real device has one."""

    def ask(self, *, gate: str, from_ns: int, every_ns: int, times_count: int) -> None:
        """Pass a straw through `gate`, once within each `every_ns` from `from_ns` on, so many times; with an empty
        `gate`: make ripples for as long.
        """
        ...


Shown: TypeAlias = Literal["not_ready", "ready", "armed", "running", "done", "trouble"]
"""What lamp and buzzer can say: not to be armed now · may be armed · hands out · a boat is under way · it is over ·
something is wrong."""


@runtime_checkable
class Panel(Driver[Key | Quiet | Fault], Protocol):
    """Buttons of people, and a lamp and a buzzer for them."""

    def show(self, shown: Shown) -> None:
        """Say by lamp and buzzer where the run stands; returns at once. Without either, nothing happens."""
        ...


class Light(Protocol):
    """A light that the camera sees, switched by us; opened by `with`."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def switch(self, on: bool) -> tuple[int, int]:
        """Switch it; (before_ns, after_ns) of the one clock, between which it happened."""
        ...


@dataclass(frozen=True, slots=True)
class Weighing:
    """One reading of a scale."""

    t_ns: int
    mass_g: float
    u_mass_g: float
    """Of the reading's last digit: a step d is read to d/√12 (JCGM 100:2008, F.2.2.1)."""
    is_steady: bool
    """Several readings in a row agreed."""


class Scale(Protocol):
    """A scale; opened by `with`."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def weigh(self, timeout_s: float) -> Weighing:
        """The next steady reading, or the last one where it does not become steady in time. DriverError: none came."""
        ...


@runtime_checkable
class Peopled(Protocol):
    """A device of an invented tank with an invented class at it. No real device has one.

    At a real rig people put the called boat into the water and let it go. Here the tank is told of it.
    """

    def expect(self, card: RunCard) -> None:
        """This boat is called; returns at once."""
        ...

    def launch(self, card: RunCard) -> None:
        """Put the boat into the water; takes as long as it takes to paint its run."""
        ...

    def set_off(self, t_ns: int, *, on_go: bool) -> None:
        """Its run begins at `t_ns`, by itself or once the word is given; told when it is next asked for records."""
        ...

    def go(self, t_ns: int) -> None:
        """The word is given."""
        ...
