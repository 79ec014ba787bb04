"""The simulated tank as gates, camera and panel. Reachable only by its name; nothing ever falls back to it.

The three drivers of one tank are given the same options and so draw the same run; the tank's own clock stamps the
records.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar, Literal, Self, TypeAlias

from logger.drivers.interface import Stop
from logger.drivers.pace import Mode, Pace, R, tell
from logger.errors import DriverError, InputError
from logger.records import Edge, Fault, Frame, Key, Quiet
from logger.settings import Range
from logger.simulator.live import SimulatedTank

Tier: TypeAlias = Literal["easy", "realistic", "hard"]


@dataclass(frozen=True, slots=True)
class SimulatedOptions:
    """What rig.toml says of a simulated tank."""

    seed: Annotated[int, Range(least=0)]
    """Same seed, same world, same run."""
    tier: Tier = "easy"
    run_kind: Literal["straight", "drift"] = "drift"
    wishes: dict[str, Any] = field(default_factory=dict)
    """What is fixed instead of drawn; see logger/simulator/scene.py."""
    pace: Mode = "real_time"
    speed_ratio: Annotated[float, Range(above=0)] = 1.0
    """In real time: how many times faster."""


class _World:
    """The tank that the options ask for, once it is opened."""

    def __init__(self, options: SimulatedOptions, name: str, pace: Pace | None) -> None:
        self._options, self._name = options, name
        self._pace = pace or Pace(options.pace, options.speed_ratio)
        self._tank: SimulatedTank | None = None

    def open(self) -> SimulatedTank:
        o = self._options
        try:
            self._tank = SimulatedTank(tier=o.tier, kind=o.run_kind, seed=o.seed, source=self._name, **o.wishes)
        except (InputError, TypeError) as error:
            raise DriverError(f"{self._name}: {error}") from error
        return self._tank

    def close(self) -> None:
        self._tank = None

    @property
    def tank(self) -> SimulatedTank:
        if self._tank is None:
            raise DriverError(f"{self._name}: the simulated tank is not open; use it inside `with`")
        return self._tank

    def tell(self, records: Iterable[R], stop: Stop) -> Iterator[R | Quiet]:
        """The records, from just before anything can happen to the end of the run's recording."""
        span_ns = (self.tank.begins_ns - 1, self.tank.ends_ns)
        return tell(records, name=self._name, span_ns=span_ns, pace=self._pace, stop=stop)


class _Simulated:
    """One source of a simulated tank; it is made anew whenever the source is entered."""

    Options: ClassVar[type] = SimulatedOptions

    def __init__(self, options: SimulatedOptions, *, name: str, pace: Pace | None = None) -> None:
        self.name = name
        self._world = _World(options, name, pace)

    def __enter__(self) -> Self:
        self._world.open()
        return self

    def __exit__(self, *_: object) -> None:
        self._world.close()


class SimulatedGates(_Simulated):
    """The beams of a simulated tank."""

    def __enter__(self) -> Self:
        if not self._world.open().rig.gates:
            raise DriverError(f"{self.name}: this simulated tank has no gates; wish for gates, or use its camera only")
        return self

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault]:
        """Every edge of the run; ends with the run."""
        return self._world.tell(self._world.tank.edges(), stop)


class SimulatedCamera(_Simulated):
    """The camera above a simulated tank. Its pictures have been through its JPEG, as those of a real one."""

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault]:
        """Every picture of the run; ends with the run."""
        return self._world.tell(self._world.tank.frames(), stop)


class SimulatedPanel(_Simulated):
    """Somebody who arms a simulated run and says go."""

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """The keys of the run; ends with the run."""
        return self._world.tell(self._world.tank.pressed(), stop)
