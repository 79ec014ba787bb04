"""Simulated gates with an invented person at them: for trying what asks for hands, without water. Only by its name.

The person does what `ask` says, as somebody at a real rig does what the screen says. Stamps are of the tub's own clock.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, ClassVar, Self

from logger.config import Count, Name, NotNegative, Positive
from logger.drivers.interface import Stop
from logger.drivers.pace import LONGEST_WAIT_S, QUIET_EVERY_NS, Mode, Pace
from logger.errors import DriverError
from logger.records import Edge, Fault, Quiet
from logger.settings import Range
from logger.simulator.attendant import Asked, Tub, dark_at_first, edges, walk_through

_STEP_NS = QUIET_EVERY_NS // 2


@dataclass(frozen=True, slots=True)
class AttendedGatesOptions:
    """What rig.toml says of the beams and of the person."""

    gates: tuple[Name, ...]
    """Their names, in the order in which they stand along the run."""
    seed: Count = 1
    """Same seed, same passes and crests."""
    straw_mm: Positive = 6.0
    beam_mm: Positive = 4.0
    """Diameter of a beam."""
    light_ratio: tuple[float, ...] = ()
    """For each gate: light that arrives, over its threshold; 5 if left out."""
    stray_share: NotNegative = 0.05
    """Of the light that comes by other ways while something stands in a beam."""
    above_water_mm: Positive = 40.0
    ripples_mm: NotNegative = 6.0
    """Height of the crests."""
    walks_through: bool = False
    """A hand goes through each beam, one a second, once it is opened."""
    begins_ns: Count = 1_000_000_000_000
    """The clock's reading as it is opened; as that of a simulated tank beside it."""
    length_s: Positive = 600.0
    """Then the person goes home, and it ends."""
    pace: Mode = "real_time"
    speed_ratio: Annotated[float, Range(above=0)] = 1.0
    """In real time: how many times faster."""


class SimulatedAttendedGates:
    """Beams and the person at them."""

    Options: ClassVar[type] = AttendedGatesOptions

    def __init__(self, options: AttendedGatesOptions, *, name: str, pace: Pace | None = None) -> None:
        self.name = name
        self._options, self._pace = options, pace or Pace(options.pace, options.speed_ratio)
        self._tub: Tub | None = None
        self._coming: list[Edge] = []

    def __enter__(self) -> Self:
        o = self._options
        if not o.gates:
            raise DriverError(f"{self.name}: found no gates; name at least one beam; write gates = [...] in its table")
        self._tub = Tub(
            o.gates, o.seed, o.straw_mm, o.beam_mm, o.light_ratio, o.stray_share, o.above_water_mm, o.ripples_mm
        )
        self._coming = dark_at_first(self._tub, t_ns=o.begins_ns + 1, source=self.name)
        if o.walks_through:
            self._coming += walk_through(self._tub, from_ns=o.begins_ns, source=self.name)
        return self

    def __exit__(self, *_: object) -> None:
        self._tub = None

    def ask(self, *, gate: str, from_ns: int, every_ns: int, times_count: int) -> None:
        """What the person is asked to do: straws through `gate`, one on each call; or ripples, if it is empty."""
        tub = self._opened()
        if gate and gate not in tub.gates:
            raise DriverError(f"{self.name}: there is no gate {gate!r}; there are {', '.join(tub.gates)}; see rig.toml")
        asked = Asked(gate, from_ns, every_ns, times_count)
        self._coming = sorted(
            [*self._coming, *edges(tub, asked, source=self.name)], key=lambda edge: (edge.t_ns, edge.gate)
        )

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault]:
        """What the beams do until `stop` is set or the person goes home."""
        self._opened()
        now_ns, begun_ns = self._options.begins_ns, self._pace.clock()
        end_ns = now_ns + round(self._options.length_s * 1e9)
        yield Quiet(now_ns, self.name)
        while now_ns < end_ns and not stop.is_set():
            now_ns += _STEP_NS
            if not self._is_due(now_ns, begun_ns, stop):
                return
            while self._coming and self._coming[0].t_ns < now_ns:
                yield self._coming.pop(0)
            yield Quiet(now_ns - 1, self.name)

    def _is_due(self, t_ns: int, begun_ns: int, stop: Stop) -> bool:
        while self._pace.mode == "real_time" and not stop.is_set():
            left_s = ((t_ns - self._options.begins_ns) / self._pace.speed_ratio - (self._pace.clock() - begun_ns)) / 1e9
            if left_s <= 0:
                break
            self._pace.wait(min(left_s, LONGEST_WAIT_S))
        return not stop.is_set()

    def _opened(self) -> Tub:
        if self._tub is None:
            raise DriverError(f"{self.name}: the simulated tub is not open; use it inside `with`")
        return self._tub
