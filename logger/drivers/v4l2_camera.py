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

import time
from collections.abc import Callable, Generator, Iterator
from typing import ClassVar, Self

from logger.drivers.camera_flow import AHEAD, MIXED, TORN, Flow, Taken
from logger.drivers.frame_stamps import S_NS, Gaps, StampClock
from logger.drivers.interface import Finding, Stop
from logger.drivers.v4l2_check import findings
from logger.drivers.v4l2_settings import V4l2Options
from logger.drivers.v4l2_stream import NO_PICTURES_CURE, GoneError, Packet, Stream
from logger.errors import DriverError
from logger.recording import jpeg
from logger.recording.jpeg import Undecoded
from logger.records import ClockDoubt, Fault, Frame, Quiet

NONE_FOR_NS, NONE_FOR_PERIODS = 2 * S_NS, 5
"""No picture for so long, and so many periods, is trouble."""
OPEN_ANEW_NS = 10 * S_NS
TRY_EVERY_NS, DEAF_S = S_NS // 2, 0.05

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
            return Stream.open(self._options, clock=self._clock)
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
        yield from film.begin()
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
        self._seen_ns = self._opened_ns = clock()
        self._missing_ns: int | None = None
        self._gone_ns: int | None = None
        self.try_again_ns = 0
        self.flow = Flow(name, begun_ns=self._seen_ns, gaps=self._gaps)

    def begin(self) -> Iterator[Said]:
        """The first words."""
        yield from self.flow.begin()
        if self._by_arrival:
            yield from self.flow.arrival_counts()

    def roll(self, stream: Stream, stop: Stop) -> Iterator[Said]:
        """What one opening of the camera gives, until `stop`. GoneError: it gives nothing more."""
        self._opened_ns = self._clock()
        self._gone_ns = None
        self._gaps.begin_numbers()
        judge = StampClock(self._opened_ns)
        is_judged = self._by_arrival
        stream.drain()
        while not stop.is_set():
            asked_ns = self._clock()
            packet = stream.take()
            if packet is None:
                yield from self.flow.waited(since_ns=asked_ns)
                yield from self._silence()
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

    def _silence(self) -> Iterator[Said]:
        """Nothing came for a while. After long the camera is opened anew, which wakes some; not before, for meanwhile
        pictures would be lost.
        """
        silent_ns = self._clock() - max(self._seen_ns, self._opened_ns)
        if silent_ns > max(NONE_FOR_NS, NONE_FOR_PERIODS * self._gaps.nominal_ns):
            yield from self._trouble(f"no picture came for {silent_ns / S_NS:.0f} s", NO_PICTURES_CURE)
        if silent_ns > OPEN_ANEW_NS:
            raise GoneError("no picture came for long", NO_PICTURES_CURE)

    def _trouble(self, what: str, cure: str) -> Iterator[Said]:
        """Told once until pictures come again."""
        if self._missing_ns is None:
            self._missing_ns = self._seen_ns
            self._gaps.begin_numbers()  # which pictures are missing, time tells: what was never sent has no number
            yield from self.flow.fault(what, cure, since_ns=self._seen_ns)

    def _picture(self, stream: Stream, packet: Packet, now_ns: int) -> Iterator[Said]:
        if packet.is_overwritten:
            self.flow.note(MIXED, t_ns=now_ns if self._by_arrival else packet.stamp_ns)
            yield from self.flow.tell(now_ns)
            return
        if not self._by_arrival and packet.stamp_ns > now_ns:
            self.flow.note(AHEAD, t_ns=now_ns)
            yield from self.flow.tell(now_ns)
            return
        t_ns = now_ns if self._by_arrival else packet.stamp_ns
        o, look = self._options, jpeg.look(packet.data)
        if not look.is_whole or jpeg.size_px(packet.data) != (o.width_px, o.height_px):
            self.flow.note(TORN, t_ns=t_ns)
            yield from self.flow.tell(now_ns)
            return
        yield from self._back(now_ns)
        whole = packet.data[: look.end_index]
        taken = Taken(
            t_ns,
            packet.stamp_ns or now_ns,  # a driver without any stamps gives zeros
            Undecoded(whole, o.width_px, o.height_px),
            whole,
            stream.granted.exposure_ns,
            o.line_ns,
            is_behind=packet.has_waited,
            number=packet.number,
        )
        yield from self.flow.picture(taken, now_ns=now_ns)

    def _foreign(self, stream: Stream, packet: Packet, now_ns: int) -> Iterator[Said]:
        """The stamps are of another clock: from here on the time of arrival counts."""
        self._by_arrival = True
        apart_s = (packet.stamp_ns - now_ns) / S_NS
        driver = f"the driver {stream.facts.driver}" if stream.facts.driver else "the driver"
        why = f"{driver} stamps pictures by another clock ({apart_s:+.3f} s from this computer's)"
        yield from self.flow.arrival_counts(why)

    def gone(self, error: GoneError) -> Iterator[Said]:
        """The opening has ended."""
        self._gone_ns = self._clock()
        if not self.is_given_up(self._gone_ns):
            yield from self._trouble(str(error), error.cure)

    def not_back(self, words: str) -> Iterator[Said]:
        """It could not be opened again; each reason is told once, but for its mere absence."""
        if words not in self._told and "no such camera" not in words:
            self._told.add(words)
            what, _, cure = words.rpartition("; ")
            yield from self.flow.fault(what or words, cure, since_ns=self._missing_ns)

    def is_given_up(self, now_ns: int) -> bool:
        """It has been away for too long."""
        return self._gone_ns is not None and now_ns - self._gone_ns >= self._options.come_back_s * S_NS

    def give_up(self) -> Iterator[Said]:
        """The last word."""
        what = f"the camera went away and did not come back within {self._options.come_back_s:g} s"
        yield from self.flow.fault(
            what, "plug it in, look at its cable, and begin anew", since_ns=self._seen_ns, lasting=True
        )

    def _back(self, now_ns: int) -> Iterator[Said]:
        """Pictures come again."""
        if self._missing_ns is not None:
            since_ns, self._missing_ns = self._missing_ns, None
            self._told.clear()
            what = f"the camera is back after {(now_ns - since_ns) / S_NS:.1f} s; pictures of this time are missing"
            yield from self.flow.fault(what, "nothing; see whether the run needs them", since_ns=since_ns)
