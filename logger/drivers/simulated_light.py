"""A simulated camera that is late, and a simulated light in its picture: `boatrun calibrate light` without hardware.

The two meet in the tub whose name both are given; the camera brings it, so it is opened first. Reachable only by name.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated, ClassVar, Self

import cv2
import numpy as np

from logger.config import Count, Name, NotNegative, Positive
from logger.drivers.interface import Stop
from logger.drivers.pace import quiets
from logger.errors import DriverError
from logger.records import Fault, Frame, Quiet
from logger.settings import Range
from logger.simulator.blinking import HEIGHT_PX, WIDTH_PX, BlinkingTub, BlinkWishes, set_up, standing

_QUIET_NS = 50_000_000
_WAIT_S = 0.02
_MARGIN_PX = 20


@dataclass(frozen=True, slots=True)
class BlinkingCameraOptions:
    """What rig.toml says of the simulated camera and of where the light is."""

    tub: Name = "tub"
    """What light and camera have in common."""
    seed: Count = 1
    delay_s: Annotated[float, Range(least=0, most=0.9)] = 0.045
    """How late its stamps are: what the light sync should find."""
    jitter_s: NotNegative = 0.0
    """Standard deviation of one stamp."""
    frame_rate_hz: Annotated[float, Range(least=5, most=120)] = 30.0
    exposure_s: Positive = 0.008
    line_s: NotNegative = 2e-5
    says_exposure: bool = True
    """False: as a camera that does not tell."""
    light_u_px: Count = 210
    light_v_px: Count = 90
    glow_levels: NotNegative = 110.0
    dropped_share: Annotated[float, Range(least=0, most=0.9)] = 0.0
    unplugged_after_s: Positive | None = None
    """When somebody pulls it out."""

    def wishes(self) -> BlinkWishes:
        """The same, in the simulation's own units."""
        return BlinkWishes(
            seed=self.seed,
            delay_ns=round(self.delay_s * 1e9),
            jitter_ns=round(self.jitter_s * 1e9),
            period_ns=round(1e9 / self.frame_rate_hz),
            exposure_ns=max(1, round(self.exposure_s * 1e9)),
            line_ns=round(self.line_s * 1e9),
            u_px=self.light_u_px,
            v_px=self.light_v_px,
            glow_levels=self.glow_levels,
            dropped_share=self.dropped_share,
        )


class SimulatedBlinkingCamera:
    """A camera above the tub, on the host's own clock."""

    Options: ClassVar[type] = BlinkingCameraOptions

    def __init__(
        self,
        options: BlinkingCameraOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._tub: BlinkingTub | None = None

    def __enter__(self) -> Self:
        o = self._options
        if not (
            _MARGIN_PX <= o.light_u_px < WIDTH_PX - _MARGIN_PX and _MARGIN_PX <= o.light_v_px < HEIGHT_PX - _MARGIN_PX
        ):
            raise DriverError(
                f"{self.name}: the light at {o.light_u_px}, {o.light_v_px} is outside the picture; wanted it "
                f"{_MARGIN_PX} px or more inside {WIDTH_PX}x{HEIGHT_PX}; change light_u_px, light_v_px"
            )
        self._tub = BlinkingTub(o.wishes(), begins_ns=self._clock())
        set_up(o.tub, self._tub)
        return self

    def __exit__(self, *_: object) -> None:
        self._tub = None

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault]:
        """A picture whenever one is due, until `stop` is set or it is unplugged."""
        if self._tub is None:
            raise DriverError(f"{self.name}: the simulated camera is not open; use it inside `with`")
        tub, last_ns, number, sequence = self._tub, self._clock() - 1, 0, 0
        begun_ns = last_ns
        yield Quiet(last_ns, self.name)
        while not stop.is_set():
            now_ns = self._clock()
            if self._is_pulled(now_ns - begun_ns):
                yield from quiets(self.name, since_ns=last_ns, until_ns=now_ns)
                yield Fault(max(now_ns, last_ns + 1), self.name, "it was pulled out", "plug it in again", lasting=True)
                return
            if tub.stamp_ns(number) <= last_ns or tub.is_dropped(number):
                number += 1
                continue
            if tub.due_ns(number) <= now_ns:
                frame = self._frame(tub, number, sequence)
                yield from quiets(self.name, since_ns=last_ns, until_ns=frame.t_ns)
                last_ns, number, sequence = frame.t_ns, number + 1, sequence + 1
                yield frame
                continue
            promised_ns = min(now_ns, tub.stamp_ns(number) - 1)
            if promised_ns - last_ns >= _QUIET_NS:
                yield from quiets(self.name, since_ns=last_ns, until_ns=promised_ns)
                last_ns = promised_ns
                yield Quiet(promised_ns, self.name)
            self._wait(min(_WAIT_S, max(tub.due_ns(number) - now_ns, 1) / 1e9))

    def _is_pulled(self, open_ns: int) -> bool:
        after_s = self._options.unplugged_after_s
        return after_s is not None and open_ns > after_s * 1e9

    def _frame(self, tub: BlinkingTub, number: int, sequence: int) -> Frame:
        shot, wishes = tub.shot(number), tub.wishes
        image = np.asarray(cv2.imdecode(np.frombuffer(shot.jpeg, np.uint8), cv2.IMREAD_COLOR), np.uint8)
        image.setflags(write=False)
        says = wishes.exposure_ns if self._options.says_exposure else 0
        return Frame(shot.t_ns, image, sequence, self.name, exposure_ns=says, line_ns=wishes.line_ns, jpeg=shot.jpeg)


@dataclass(frozen=True, slots=True)
class SimulatedLightOptions:
    """What rig.toml says of the simulated light."""

    tub: Name = "tub"
    """What light and camera have in common."""


class SimulatedLight:
    """The light in the tub."""

    Options: ClassVar[type] = SimulatedLightOptions

    def __init__(
        self, options: SimulatedLightOptions, *, name: str, clock: Callable[[], int] = time.monotonic_ns
    ) -> None:
        self.name = name
        self._options, self._clock = options, clock
        self._tub: BlinkingTub | None = None

    def __enter__(self) -> Self:
        self._tub = standing(self._options.tub)
        if self._tub is None:
            raise DriverError(
                f"{self.name}: there is no simulated tub {self._options.tub!r}; wanted the simulated_blinking_camera "
                "with the same tub to be open; give both the same name"
            )
        return self

    def __exit__(self, *_: object) -> None:
        self._tub = None

    def switch(self, on: bool) -> tuple[int, int]:
        """Switch it; (before_ns, after_ns) of the clock, between which it happened."""
        if self._tub is None:
            raise DriverError(f"{self.name}: the simulated light is not open; use it inside `with`")
        before_ns = self._clock()
        self._tub.switch(on, self._clock())
        return before_ns, self._clock()
