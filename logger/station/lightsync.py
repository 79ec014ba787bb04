"""Blink a light before the camera and keep what is needed to work out the camera's delay.

The light is switched after random waits: equal ones could not tell a delay from the same plus one round, and would meet
the camera's pictures at the same few phases. No wait is shorter than 0.18 s, so that no second has more than six
switches, which is three flashes: the most that WCAG 2.2, success criterion 2.3.1, allows for the sake of people with
photosensitive epilepsy.

First the light is looked for in the whole picture (kept in blocks of 8 x 8), then only a small square around it is
kept, so that the memory needed does not grow with the picture.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from calibration.errors import CalibrationError
from calibration.light import Glimpses
from calibration.light_patch import Bytes, Region, Times, blocks, find_light, read_light
from calibration.light_pattern import SEARCHED_S, Switches
from logger.drivers.interface import CameraDriver, Light
from logger.errors import DriverError, InputError
from logger.records import Fault, Frame

SHORTEST_GAP_S, LONGEST_GAP_S = 0.18, 0.55
"""Between two switches: see above; and long enough for many in half a minute."""
SHORTEST_S = 10.0
"""A session shorter than this has too few switches."""
LOOK_S = (5.0, 4.0, 6.0)
"""How long to blink before the light is looked for; before it is looked for again; and for the last time."""
_REST_S = 0.3  # between a row of blinks and a look at the pictures
_TAIL_S = SEARCHED_S[1] + 0.2  # of pictures after the last switch, since the greatest delay may be as long
_PATIENCE_S = 5.0
_MOST_PICTURES = 20_000

Wait = Callable[[float], None]


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """What a session brought: raw enough to work everything out again."""

    switches: Switches
    glimpses: Glimpses
    region: Region
    faults: tuple[str, ...]
    """What the camera had to say against itself."""


def random_gaps_s(rng: np.random.Generator, length_s: float) -> list[float]:
    """Waits before switches, evenly spread over what is allowed, together about `length_s`; an even number of them."""
    count = round(length_s / ((SHORTEST_GAP_S + LONGEST_GAP_S) / 2))
    return [float(gap) for gap in rng.uniform(SHORTEST_GAP_S, LONGEST_GAP_S, count + count % 2)]


def watch(
    camera: CameraDriver,
    light: Light,
    *,
    length_s: float,
    region: Region | None = None,
    exposure_ns: int = 0,
    line_ns: int = 0,
    rng: np.random.Generator,
    wait: Wait = time.sleep,
    told: Callable[[str], None] = lambda _: None,
) -> Watched:
    """Blink and watch, for about `length_s` once it is known where the light is.

    Args:
        camera: open.
        light: open; it is left dark.
        length_s: at least SHORTEST_S.
        region: where the light is; None: look for it.
        exposure_ns: exposure of pictures that do not say it, as the rig has it; 0: not known.
        line_ns: the same of the time from row to row.
        rng: chance.
        wait: waits so many seconds.
        told: is told what goes on, a sentence at a time.

    Raises:
        CalibrationError: no place in the picture follows the switches.
        DriverError: the camera sent no pictures or stopped sending them.
        InputError: the length is too short, or the region is outside the picture.
    """
    if length_s < SHORTEST_S:
        raise InputError(f"light: found {length_s:g} s; at least {SHORTEST_S:g} s are wanted, for enough switches")
    pictures = _Pictures(region, exposure_ns=exposure_ns, line_ns=line_ns)
    blinker = _Blinker(light, rng, wait, pictures.check)
    stop = threading.Event()
    listener = threading.Thread(target=_listen, args=(camera, pictures, stop), name="light sync camera", daemon=True)
    listener.start()
    try:
        blinker.dark()
        wait(_TAIL_S)
        pictures.expect_one(within_s=_PATIENCE_S)
        if region is None:
            told("looking for the light in the picture")
            pictures.look_at(_find(blinker, pictures, wait))
        told(f"measuring for {length_s:g} s")
        blinker.blink(length_s)
        wait(_TAIL_S + _REST_S)
        pictures.expect_after(blinker.last_ns + round(_TAIL_S * 1e9), within_s=_PATIENCE_S)
    finally:
        stop.set()
        listener.join(_PATIENCE_S)
    return pictures.read(blinker.switches())


class _Blinker:
    """Switches the light at random and remembers when."""

    def __init__(self, light: Light, rng: np.random.Generator, wait: Wait, check: Callable[[], None]) -> None:
        self._light, self._rng, self._wait, self._check = light, rng, wait, check
        self._done: list[tuple[int, int, bool]] = []

    def dark(self) -> None:
        """Dark to begin with; not a switch that counts, as it may have been dark before."""
        self._light.switch(False)

    def blink(self, length_s: float) -> None:
        for gap_s in random_gaps_s(self._rng, length_s):
            self._wait(gap_s)
            self._check()
            on = len(self._done) % 2 == 0
            self._done.append((*self._light.switch(on), on))

    @property
    def last_ns(self) -> int:
        return self._done[-1][1]

    def switches(self) -> Switches:
        before, after, on = zip(*self._done, strict=True)
        return Switches(np.array(before, np.int64), np.array(after, np.int64), np.array(on, bool))


def _find(blinker: _Blinker, pictures: _Pictures, wait: Wait) -> Region:
    for more, length_s in enumerate(LOOK_S, 1):
        blinker.blink(length_s)
        wait(_REST_S)
        pictures.expect_after(blinker.last_ns, within_s=_PATIENCE_S)
        try:
            return pictures.find(blinker.switches())
        except CalibrationError:
            if more == len(LOOK_S):
                raise
    raise AssertionError("LOOK_S is empty")


@dataclass(slots=True)
class _Kept:
    """What is kept of each picture."""

    t_ns: list[int] = field(default_factory=list)
    exposure_ns: list[int] = field(default_factory=list)
    line_ns: list[int] = field(default_factory=list)
    cells: list[Bytes] = field(default_factory=list)

    def add(self, t_ns: int, exposure_ns: int, line_ns: int, cells: Bytes) -> None:
        self.t_ns.append(t_ns)
        self.exposure_ns.append(exposure_ns)
        self.line_ns.append(line_ns)
        self.cells.append(cells)

    def times(self) -> Times:
        columns = (self.t_ns, self.exposure_ns, self.line_ns)
        return Times(*(np.array(column[: len(self.cells)], np.int64) for column in columns))


class _Pictures:
    """What the camera's thread keeps, for the thread that blinks."""

    def __init__(self, region: Region | None, *, exposure_ns: int, line_ns: int) -> None:
        self._changed = threading.Condition()
        self._exposure_ns, self._line_ns = exposure_ns, line_ns
        self._region = region
        self._top_px = 0
        self._kept = _Kept()
        self._last_ns = -1
        self._faults: list[str] = []
        self._trouble: Exception | None = None

    def take(self, frame: Frame) -> None:
        """From the camera's thread."""
        with self._changed:
            region = self._region
        if region is None:
            cells = blocks(frame.image)
        else:
            cells, self._top_px = region.cut(frame.image)
        with self._changed:
            if region is self._region and len(self._kept.cells) < _MOST_PICTURES:
                exposure_ns, line_ns = frame.exposure_ns or self._exposure_ns, frame.line_ns or self._line_ns
                self._kept.add(frame.t_ns, exposure_ns, line_ns, cells)
            self._last_ns = frame.t_ns
            self._changed.notify_all()

    def fault(self, fault: Fault) -> None:
        with self._changed:
            self._faults.append(f"{fault.what}; {fault.cure}")
            if fault.lasting:
                self._trouble = DriverError(f"{fault.source}: {fault.what}; {fault.cure}")
            self._changed.notify_all()

    def fail(self, trouble: Exception) -> None:
        with self._changed:
            self._trouble = trouble
            self._changed.notify_all()

    def check(self) -> None:
        """Raise what has gone wrong with the camera, if anything has."""
        with self._changed:
            if self._trouble is not None:
                raise self._trouble

    def expect_one(self, *, within_s: float) -> None:
        """Wait for a first picture."""
        self._expect(lambda: self._last_ns >= 0, within_s, "sent no picture")

    def expect_after(self, t_ns: int, *, within_s: float) -> None:
        """Wait for a picture stamped later than `t_ns`."""
        self._expect(lambda: self._last_ns > t_ns, within_s, "stopped sending pictures")

    def _expect(self, there: Callable[[], bool], within_s: float, what: str) -> None:
        with self._changed:
            self._changed.wait_for(lambda: there() or self._trouble is not None, within_s)
            if self._trouble is not None:
                raise self._trouble
            if not there():
                raise DriverError(f"camera: it {what} within {within_s:g} s; check its cable and its driver")

    def find(self, switches: Switches) -> Region:
        with self._changed:
            times, small = self._kept.times(), np.array(self._kept.cells, np.uint8)
        return find_light(switches, times, small)

    def look_at(self, region: Region) -> None:
        """From now on keep only this square; what was kept of the whole picture is let go."""
        with self._changed:
            self._region, self._kept = region, _Kept()

    def read(self, switches: Switches) -> Watched:
        """Once the camera's thread has ended."""
        region = self._region
        if region is None:
            raise AssertionError("the light was not looked for")
        first_ns = self._kept.t_ns[0]
        glimpses = read_light(switches, self._kept.times(), np.array(self._kept.cells, np.uint8), top_px=self._top_px)
        # switches long before the first picture kept are those of the search; one is left to tell how it stood
        begin = max(int(np.searchsorted(switches.after_ns, first_ns - round(_TAIL_S * 1e9))) - 1, 0)
        used = Switches(switches.before_ns[begin:], switches.after_ns[begin:], switches.on[begin:])
        return Watched(used, glimpses, region, tuple(self._faults))


def _listen(camera: CameraDriver, pictures: _Pictures, stop: threading.Event) -> None:
    try:
        for record in camera.records(stop):
            if isinstance(record, Frame):
                pictures.take(record)
            elif isinstance(record, Fault):
                pictures.fault(record)
    except ValueError as error:
        pictures.fail(InputError(str(error)))
    except Exception as error:
        pictures.fail(error)
