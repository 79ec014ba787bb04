"""Replay: a recording on disk speaks again, with its own stamps, as if it were happening."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import merge
from typing import Annotated, ClassVar, Self, cast, get_args

from logger.config import CAMERA_SOURCE, GATES_SOURCE
from logger.drivers.interface import Stop
from logger.drivers.pace import Mode, Pace, R, tell
from logger.errors import DriverError, InputError
from logger.recording.folder import Event, Recording, load
from logger.recording.sensor_tables import CLOCK_DOUBT, read_clock_doubt, read_fault
from logger.records import ClockDoubt, Edge, Fault, Frame, Key, KeyName, Quiet
from logger.settings import Range, Text


@dataclass(frozen=True, slots=True)
class RecordedOptions:
    """What rig.toml says of a replay."""

    folder: Annotated[str, Text(most=4000, least=1)]
    """The recording's folder."""
    pace: Mode = "fast"
    speed_ratio: Annotated[float, Range(above=0)] = 1.0
    """In real time: how many times faster."""


class _Tape:
    """A recording that is opened and closed, and the pace at which it is told."""

    def __init__(self, options: RecordedOptions, name: str, pace: Pace | None) -> None:
        self._folder, self._name = options.folder, name
        self._pace = pace or Pace(options.pace, options.speed_ratio)
        self._recording: Recording | None = None

    def open(self) -> Recording:
        try:
            self._recording = load(self._folder)
        except InputError as error:
            raise DriverError(f"{self._name}: the recording cannot be replayed: {error}") from error
        return self._recording

    def close(self) -> None:
        self._recording = None

    @property
    def recording(self) -> Recording:
        if self._recording is None:
            raise DriverError(f"{self._folder}: the replay is not open; use it inside `with`")
        return self._recording

    def span_ns(self) -> tuple[int, int]:
        """From just before the first stamp of anything in the recording to the last."""
        recording = self.recording
        stamps = [edge.t_ns for edge in recording.edges] + [event.t_ns for event in recording.events]
        if recording.stamps is not None and len(recording.stamps.t_ns):
            stamps += [int(recording.stamps.t_ns[0]), int(recording.stamps.t_ns[-1])]
        return (min(stamps) - 2, max(stamps)) if stamps else (0, 0)

    def tell(self, records: Iterable[R], stop: Stop, *, also: Sequence[R] = ()) -> Iterator[R | Quiet]:
        """The records and what was noted beside them, all under the driver's name, over the whole span."""
        own = (replace(record, source=self._name) for record in merge(also, records, key=_when))
        return tell(own, name=self._name, span_ns=self.span_ns(), pace=self._pace, stop=stop)


def _when(record: Edge | Frame | Key | Fault | ClockDoubt) -> int:
    return record.t_ns


def _noted(recording: Recording, source: str) -> list[Fault | ClockDoubt]:
    """What the driver of that name said against itself, in order of time."""
    noted: list[Fault | ClockDoubt] = []
    for event in recording.events:
        if event.source == source and event.event == "fault":
            noted.append(read_fault(event))
        elif event.source == source and event.event == CLOCK_DOUBT:
            noted.append(read_clock_doubt(event))
    return noted


class RecordedGates:
    """The edges of a recording, and the trouble that its gates told of."""

    Options: ClassVar[type] = RecordedOptions

    def __init__(self, options: RecordedOptions, *, name: str, pace: Pace | None = None) -> None:
        self.name = name
        self._tape = _Tape(options, name, pace)

    def __enter__(self) -> Self:
        recording = self._tape.open()
        if not recording.rig.gates:
            raise DriverError(
                f"{self.name}: {recording.folder}: the rig of this recording has no gates; replay its camera"
            )
        return self

    def __exit__(self, *_: object) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault | ClockDoubt]:
        """Every edge with its recorded stamp; ends with the recording."""
        recording = self._tape.recording
        return self._tape.tell(recording.edges, stop, also=_noted(recording, GATES_SOURCE))


class RecordedCamera:
    """The pictures of a recording, with their compressed form where the video is a row of JPEGs."""

    Options: ClassVar[type] = RecordedOptions

    def __init__(self, options: RecordedOptions, *, name: str, pace: Pace | None = None) -> None:
        self.name = name
        self._tape = _Tape(options, name, pace)

    def __enter__(self) -> Self:
        recording = self._tape.open()
        if recording.video is None:
            raise DriverError(f"{self.name}: {recording.folder}: this recording has no video; replay its gates only")
        return self

    def __exit__(self, *_: object) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault | ClockDoubt]:
        """Every picture with its recorded stamp; ends with the recording, or with a Fault where the video is broken."""
        last_ns, _ = self._tape.span_ns()
        try:
            noted = _noted(self._tape.recording, CAMERA_SOURCE)
            for record in self._tape.tell(self._frames(), stop, also=noted):
                last_ns = record.t_ns
                yield record
        except InputError as error:
            yield Fault(last_ns + 1, self.name, str(error), "put the whole video there", lasting=True)

    def _frames(self) -> Iterator[Frame]:
        for frame in self._tape.recording.frames():
            frame.image.setflags(write=False)
            yield frame


class RecordedPanel:
    """What people decided in a recording, and the trouble of others than gates and camera.

    A recording without an arming is armed where it says that it was, or at its beginning.
    """

    Options: ClassVar[type] = RecordedOptions

    def __init__(self, options: RecordedOptions, *, name: str, pace: Pace | None = None) -> None:
        self.name = name
        self._tape = _Tape(options, name, pace)

    def __enter__(self) -> Self:
        self._tape.open()
        return self

    def __exit__(self, *_: object) -> None:
        self._tape.close()

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """Every key and fault with its recorded stamp; ends with the recording."""
        first_ns = self._tape.span_ns()[0] + 1
        return self._tape.tell(_told(self._tape.recording.events, first_ns=first_ns), stop)


def _told(events: Iterable[Event], *, first_ns: int) -> list[Key | Fault]:
    told: list[Key | Fault] = []
    armed_ns = first_ns
    for event in events:
        if event.event in get_args(KeyName):
            told.append(Key(event.t_ns, cast(KeyName, event.event), event.source, event.detail))
        elif event.event == "fault" and event.source not in (GATES_SOURCE, CAMERA_SOURCE):
            told.append(read_fault(event))
        elif event.event == "armed" and armed_ns == first_ns:
            armed_ns = event.t_ns
    if not any(isinstance(record, Key) and record.key == "arm" for record in told):
        told.append(Key(armed_ns, "arm", ""))
    return sorted(told, key=lambda record: record.t_ns)
