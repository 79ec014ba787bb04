"""Replay: a recording on disk speaks again, with its own stamps, as if it were happening.

The stamps are the clock of these drivers. Between records they say `Quiet` every 100 ms of it, from just before the
first stamp of the whole recording to its last, so that gates, camera and people of one recording tell one story.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Annotated, ClassVar, Literal, Self, TypeVar, cast, get_args

from logger.drivers.interface import Stop
from logger.errors import DriverError, InputError
from logger.recording.folder import Event, Recording, load
from logger.records import Edge, Fault, Frame, Key, KeyName, Quiet
from logger.settings import Range, Text

QUIET_EVERY_NS = 100_000_000
_LONGEST_WAIT_S = 0.05
"""How long a paced replay may be deaf to `stop`."""

R = TypeVar("R", Edge, Frame, Key)


@dataclass(frozen=True, slots=True)
class RecordedOptions:
    """What rig.toml says of a replay."""

    folder: Annotated[str, Text(most=4000, least=1)]
    """The recording's folder."""
    pace: Literal["recorded", "fast"] = "fast"
    """In the time that it took, or as fast as it can."""
    speed_ratio: Annotated[float, Range(above=0)] = 1.0
    """At the recorded pace: how many times faster."""


class _Tape:
    """The opened recording and the pace at which it is told."""

    def __init__(self, options: RecordedOptions, *, clock: Callable[[], int], wait: Callable[[float], None]) -> None:
        self._options, self._clock, self._wait = options, clock, wait
        self._recording: Recording | None = None

    def open(self, name: str) -> Recording:
        try:
            self._recording = load(self._options.folder)
        except InputError as error:
            raise DriverError(f"{name}: the recording cannot be replayed: {error}") from error
        return self._recording

    def close(self) -> None:
        self._recording = None

    @property
    def recording(self) -> Recording:
        if self._recording is None:
            raise DriverError(f"{self._options.folder}: the replay is not open; use it inside `with`")
        return self._recording

    def span_ns(self) -> tuple[int, int]:
        """From just before the first stamp of anything in the recording to the last."""
        recording = self.recording
        stamps = [edge.t_ns for edge in recording.edges] + [event.t_ns for event in recording.events]
        if recording.stamps is not None and len(recording.stamps.t_ns):
            stamps += [int(recording.stamps.t_ns[0]), int(recording.stamps.t_ns[-1])]
        if not stamps:
            return 0, 0
        return min(stamps) - 2, max(stamps)

    def play(self, records: Iterable[R], *, name: str, stop: Stop) -> Iterator[R | Quiet]:
        """The records in their order, with a Quiet wherever nothing happened for long, until `stop`."""
        span: tuple[int, int] = self.span_ns()
        start_ns: int = span[0]
        end_ns: int = span[1]
        last_ns: int = start_ns
        pause = self._pauses(start_ns, stop)
        yield Quiet(start_ns, name)
        for record in records:
            for quiet_ns in range(last_ns + QUIET_EVERY_NS, record.t_ns, QUIET_EVERY_NS):
                if not pause(quiet_ns):
                    return
                yield Quiet(quiet_ns, name)
            if not pause(record.t_ns):
                return
            yield record
            last_ns = record.t_ns
        for quiet_ns in (*range(last_ns + QUIET_EVERY_NS, end_ns, QUIET_EVERY_NS), end_ns):
            if not pause(quiet_ns):
                return
            yield Quiet(quiet_ns, name)

    def _pauses(self, start_ns: int, stop: Stop) -> Callable[[int], bool]:
        """A function that waits until a stamp is due; False when it was stopped."""
        begun_ns = self._clock()

        def pause(t_ns: int) -> bool:
            while self._options.pace == "recorded" and not stop.is_set():
                due_ns = begun_ns + (t_ns - start_ns) / self._options.speed_ratio
                left_s = (due_ns - self._clock()) / 1e9
                if left_s <= 0:
                    break
                self._wait(min(left_s, _LONGEST_WAIT_S))
            return not stop.is_set()

        return pause


class RecordedGates:
    """The edges of a recording."""

    Options: ClassVar[type] = RecordedOptions

    def __init__(
        self,
        options: RecordedOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._tape = _Tape(options, clock=clock, wait=wait)

    def __enter__(self) -> Self:
        recording = self._tape.open(self.name)
        if not recording.rig.gates:
            raise DriverError(
                f"{self.name}: {recording.folder}: the rig of this recording has no gates; replay its camera"
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault]:
        """Every edge with its recorded stamp; ends with the recording."""
        edges = (replace(edge, source=self.name) for edge in self._tape.recording.edges)
        yield from self._tape.play(edges, name=self.name, stop=stop)


class RecordedCamera:
    """The pictures of a recording, with their compressed form where the video is a row of JPEGs."""

    Options: ClassVar[type] = RecordedOptions

    def __init__(
        self,
        options: RecordedOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._tape = _Tape(options, clock=clock, wait=wait)

    def __enter__(self) -> Self:
        recording = self._tape.open(self.name)
        if recording.video is None:
            raise DriverError(f"{self.name}: {recording.folder}: this recording has no video; replay its gates only")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault]:
        """Every picture with its recorded stamp; ends with the recording, or with a Fault where the video is broken."""
        last_ns = self._tape.span_ns()[0]
        try:
            frames = (replace(frame, source=self.name) for frame in self._tape.recording.frames())
            for record in self._tape.play(frames, name=self.name, stop=stop):
                last_ns = record.t_ns
                yield record
        except InputError as error:
            yield Fault(last_ns + 1, self.name, str(error), "put the whole video there", lasting=True)


class RecordedPanel:
    """What people decided in a recording. One without an arming is armed where it says so, or at its beginning."""

    Options: ClassVar[type] = RecordedOptions

    def __init__(
        self,
        options: RecordedOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._tape = _Tape(options, clock=clock, wait=wait)

    def __enter__(self) -> Self:
        self._tape.open(self.name)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """Every key with its recorded stamp; ends with the recording."""
        keys = _keys(self._tape.recording.events, first_ns=self._tape.span_ns()[0] + 1, source=self.name)
        yield from self._tape.play(keys, name=self.name, stop=stop)


def _keys(events: Iterable[Event], *, first_ns: int, source: str) -> list[Key]:
    events = tuple(events)
    keys = [
        Key(event.t_ns, cast(KeyName, event.event), source, event.detail)
        for event in events
        if event.event in get_args(KeyName)
    ]
    if not any(key.key == "arm" for key in keys):
        armed_ns = next((event.t_ns for event in events if event.event == "armed"), first_ns)
        keys.append(Key(armed_ns, "arm", source))
    return sorted(keys, key=lambda key: key.t_ns)
