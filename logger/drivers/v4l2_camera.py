"""A camera of Video4Linux, such as a USB webcam, read by OpenCV. Its JPEGs go into the recording as they come.

What a stamp means. The kernel stamps a picture by CLOCK_MONOTONIC; for a USB camera at the moment when its first data
arrived. That is later than the start of the exposure of the first row, which `Frame.t_ns` is about, by the exposure
and whatever the camera does before it sends: a time that is nearly the same for every picture of one setting. The
driver does not guess it. The light in the picture measures it (`camera.delay_s` in rig.toml), and that holds only as
long as exposure, size and rate stay the same: so lock the exposure.

A stamp of another clock is of no use beside the gates. Then the time of arrival is taken, which is not silent: a Fault
says so, and a ClockDoubt says how wide it is.

Unplugged, the camera is waited for and opened again with the same settings; if they are not granted then, no picture
is passed on. Its numbers go on, with the missing ones left out.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator, Iterator
from typing import ClassVar, Self

from logger.drivers.camera_flow import Flow, Taken, Trouble
from logger.drivers.frame_stamps import S_NS, Gaps, StampClock
from logger.drivers.interface import Finding, Stop
from logger.drivers.v4l2_check import findings
from logger.drivers.v4l2_settings import V4l2Options
from logger.drivers.v4l2_stream import NO_PICTURES_CURE, GoneError, Packet, Stream
from logger.errors import DriverError
from logger.recording import jpeg
from logger.records import ClockDoubt, Fault, Frame, Quiet

NONE_FOR_NS, NONE_FOR_PERIODS = 2 * S_NS, 5
"""No picture for so long, and so many periods, is trouble."""
TRY_EVERY_NS, DEAF_S = S_NS // 2, 0.05
_ARRIVAL_WORDS = "pictures are stamped when they arrive, up to two periods after they begin"
TORN = Trouble("pictures that came torn and were left out", "use a shorter cable and a port without a hub")
AHEAD = Trouble("pictures stamped in the future and left out", 'try another camera, or stamps = "arrival"')

Said = Frame | Quiet | Fault | ClockDoubt


class V4l2Camera:
    """One camera. Not for two threads at once."""

    Options: ClassVar[type] = V4l2Options

    def __init__(
        self,
        options: V4l2Options,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._stream: Stream | None = None

    def __enter__(self) -> Self:
        self._stream = self._open()
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _open(self) -> Stream:
        try:
            return Stream.open(self._options)
        except DriverError as error:
            raise DriverError(f"{self.name}: {error}") from error

    def _close(self) -> None:
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def self_test(self) -> list[Finding]:
        """Settings, stamps, rate and pictures as they are over about a second."""
        return findings(self._opened(), self._options, name=self.name, clock=self._clock)

    def _opened(self) -> Stream:
        if self._stream is None:
            raise DriverError(f"{self.name}: the camera is not open; use it inside `with`")
        return self._stream

    def records(self, stop: Stop) -> Iterator[Said]:
        """Every picture from now on, until `stop`, or until the camera was away for `come_back_s`."""
        film = _Film(self._opened(), self._options, name=self.name, clock=self._clock)
        yield from film.flow.begin()
        while not stop.is_set():
            try:
                yield from film.roll(self._opened(), stop)
            except GoneError as gone:
                yield from film.gone(gone)
                self._close()
                if not (yield from self._come_back(film, stop)):
                    return

    def _come_back(self, film: _Film, stop: Stop) -> Generator[Said, None, bool]:
        """Wait for the camera and open it again; False if that is over."""
        while not stop.is_set():
            now_ns = self._clock()
            if film.is_given_up(now_ns):
                yield from film.give_up()
                return False
            if now_ns >= film.try_again_ns:
                film.try_again_ns = now_ns + TRY_EVERY_NS
                try:
                    self._stream = self._open()
                    return True
                except DriverError as error:
                    yield from film.not_back(str(error))
            yield from film.flow.waited(since_ns=now_ns)
            self._wait(DEAF_S)
        return False


class _Film:
    """What goes on over several openings of one camera."""

    def __init__(self, stream: Stream, options: V4l2Options, *, name: str, clock: Callable[[], int]) -> None:
        self._options, self._clock = options, clock
        self._gaps = Gaps(stream.granted.period_ns)
        self._by_arrival = options.stamps == "arrival"
        self._told: set[str] = set()
        self._seen_ns = clock()
        self._gone_ns: int | None = None
        self.try_again_ns = 0
        self.flow = Flow(name, begun_ns=self._seen_ns, gaps=self._gaps)

    def roll(self, stream: Stream, stop: Stop) -> Iterator[Said]:
        """What one opening of the camera gives, until `stop`. GoneError: it gives nothing more."""
        begun_ns = self._clock()
        self._seen_ns = begun_ns
        judge = StampClock(begun_ns)
        is_judged = self._by_arrival
        if self._by_arrival:
            yield from self._doubt(stream)
        stream.drain()
        while not stop.is_set():
            asked_ns = self._clock()
            packet = stream.take()
            if packet is None:
                yield from self.flow.waited(since_ns=asked_ns)
                self._check_alive()
                continue
            now_ns = self._clock()
            self._seen_ns = now_ns
            if not is_judged:
                judged = judge.judge(packet.stamp_ns, arrived_ns=now_ns)
                if judged == "stale":
                    continue
                is_judged = True
                if judged == "foreign":
                    yield from self._foreign(stream, packet, now_ns)
            yield from self._picture(stream, packet, now_ns)

    def _check_alive(self) -> None:
        silent_ns = self._clock() - self._seen_ns
        if silent_ns > max(NONE_FOR_NS, NONE_FOR_PERIODS * self._gaps.nominal_ns):
            raise GoneError(f"no picture came for {silent_ns / S_NS:.0f} s", NO_PICTURES_CURE)

    def _picture(self, stream: Stream, packet: Packet, now_ns: int) -> Iterator[Said]:
        if not self._by_arrival and packet.stamp_ns > now_ns:
            self.flow.note(AHEAD, t_ns=now_ns)
            yield from self.flow.tell(now_ns)
            return
        t_ns = now_ns if self._by_arrival else packet.stamp_ns
        image = jpeg.decode(packet.data, grey=False)
        if image is None or image.shape[:2] != (self._options.height_px, self._options.width_px):
            self.flow.note(TORN, t_ns=t_ns)
            yield from self.flow.tell(now_ns)
            return
        yield from self._back(now_ns)
        image.setflags(write=False)
        whole = packet.data[: jpeg.look(packet.data).end_index]
        counted_ns = packet.stamp_ns or now_ns  # a driver without any stamps gives zeros
        granted = stream.granted
        taken = Taken(t_ns, counted_ns, image, whole, granted.exposure_ns, self._options.line_ns)
        yield from self.flow.picture(taken, now_ns=now_ns)

    def _foreign(self, stream: Stream, packet: Packet, now_ns: int) -> Iterator[Said]:
        """The stamps are of another clock: from here on the time of arrival counts."""
        self._by_arrival = True
        apart_s = (packet.stamp_ns - now_ns) / S_NS
        driver = f"the driver {stream.facts.driver}" if stream.facts.driver else "the driver"
        what = f"{driver} stamps pictures by another clock ({apart_s:+.3f} s from this computer's); {_ARRIVAL_WORDS}"
        cure = "use gates for times that matter, or a camera whose driver stamps by the monotonic clock"
        yield from self.flow.fault(what, cure)
        yield from self._doubt(stream)

    def _doubt(self, stream: Stream) -> Iterator[Said]:
        if _ARRIVAL_WORDS not in self._told:
            self._told.add(_ARRIVAL_WORDS)
            u_ns = round(2 * stream.granted.period_ns / math.sqrt(12))  # rectangular, JCGM 100:2008, 4.3.7
            yield from self.flow.clock_doubt(u_ns, _ARRIVAL_WORDS)

    def gone(self, error: GoneError) -> Iterator[Said]:
        """The opening has ended; told once until pictures come again."""
        if self._gone_ns is None:
            self._gone_ns = self._seen_ns
            self._told &= {_ARRIVAL_WORDS}
            if not self.is_given_up(self._clock()):
                yield from self.flow.fault(str(error), error.cure, since_ns=self._seen_ns)

    def not_back(self, words: str) -> Iterator[Said]:
        """It could not be opened again; each reason is told once, but for its mere absence."""
        if words not in self._told and "no such camera" not in words:
            self._told.add(words)
            what, _, cure = words.rpartition("; ")
            yield from self.flow.fault(what or words, cure, since_ns=self._gone_ns)

    def is_given_up(self, now_ns: int) -> bool:
        """It has been away for too long."""
        return self._gone_ns is not None and now_ns - self._gone_ns >= self._options.come_back_s * S_NS

    def give_up(self) -> Iterator[Said]:
        """The last word."""
        what = f"the camera went away and did not come back within {self._options.come_back_s:g} s"
        yield from self.flow.fault(
            what, "plug it in, look at its cable, and begin anew", since_ns=self._gone_ns, lasting=True
        )

    def _back(self, now_ns: int) -> Iterator[Said]:
        """Pictures come again."""
        if self._gone_ns is not None:
            since_ns, self._gone_ns = self._gone_ns, None
            what = f"the camera is back after {(now_ns - since_ns) / S_NS:.1f} s; pictures of this time are missing"
            yield from self.flow.fault(what, "nothing; see whether the run needs them", since_ns=since_ns)
