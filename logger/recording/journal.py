"""The recorder's side of a recording: each record is handed to the disk before anything else is done with it.

What is written first can be trusted longest: the card, the rig and the calibration before the run; then edges and
people's keys, pictures and their stamps, as they come. `keep` does not wait for the disk: that is the work of other
threads (disk.py), which write at once and have everything on the disk itself within a second; a disk that is too slow
for that is told to people. What cannot be written at all ends the recording with an error.

What a reader would have to refuse (a picture whose stamp does not go forwards, the same edge twice, an edge of a gate
that the rig does not have) is not written as such but as an event: whatever a driver does, a finished recording can be
opened.
"""

from __future__ import annotations

import os
import shutil
import time
import tomllib
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Self

import cv2

from logger.config import Rig, RunCard
from logger.errors import ConfigError, StoreError
from logger.recording import jpeg
from logger.recording.card_toml import card_from_table, card_text
from logger.recording.disk import DISK_SLOW, EDGES, EVENTS, Disk, Picture, told
from logger.recording.folder import VIEW_FILE
from logger.recording.growing import Write, line, plain, sort_lines
from logger.recording.place import Place
from logger.recording.recovery import RESERVE, unfinished_name
from logger.recording.rig_toml import rig_from_table, rig_text
from logger.recording.sensor_tables import (
    EDGE_COLUMNS,
    EVENT_COLUMNS,
    FRAME_COLUMNS,
    Event,
    event_of_clock_doubt,
    event_of_fault,
)
from logger.records import ClockDoubt, Edge, Fault, Fix, Frame, Key, Quiet, Record
from logger.settings import sync_folder

CAMERA_FILE = "camera.toml"
NAME = "recorder"
"""Source of the recorder's own events."""
PROMISE_NS = 1_000_000_000
"""What was kept is on the disk itself within this time."""
QUIET_NS = 1_000_000_000
"""The last word of every source is written so often, even if nothing else is."""
REFUSED_COUNT = 10_000
"""So many refusals are written one by one."""
LAST_WORDS_COUNT = 1_000
"""Lines of events.csv that only the recorder and whoever decides may use, so that the end of a run can be written."""
JPEG_QUALITY = 92


@dataclass(frozen=True, slots=True)
class _Last:
    """Of the last picture that was sent."""

    t_ns: int
    sequence: int


class Journal:
    """One growing recording. Use with `with`, or call `close`; leaving by an exception keeps it as unfinished.

    Every method raises StoreError if what was handed over up to then cannot be kept.
    """

    def __init__(
        self,
        folder: Path,
        *,
        card: RunCard,
        rig: Rig,
        calibration: bytes | None = None,
        kept_view: bytes | None = None,
        is_live: bool = False,
        sync: Callable[[int], None] = os.fdatasync,
        write: Write = os.write,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Make the folder and write what is known before the run.

        Args:
            folder: What the recording is to be called in the end; must not exist yet.
            card: The run.
            rig: The rig; its camera will name the copy of the calibration.
            calibration: Contents of the camera's calibration file, for a rig with a camera.
            kept_view: A PNG of the rig as it was calibrated, so that a change since then can be told.
            is_live: Time does not wait: pictures that a slow disk leaves no room for are left out, and people are told
                when the disk is slow. Otherwise `keep` waits until there is room.
            sync: Puts an open file on the disk itself; `lambda _: None` where a power cut does not matter.
            write: Writes into an open file.
            now_ns: A clock, only to know how long something has waited.

        Raises:
            ConfigError: what could not be opened later.
            StoreError: there is such a recording; there is too little space; another recorder works there.
        """
        self.folder = folder
        self.growing = unfinished_name(folder)
        self._sync, self._write, self._now_ns, self._is_live = sync, write, now_ns, is_live
        self._quiets: dict[str, int] = {}
        self._quiets_ns = 0
        self._last_frame: _Last | None = None
        self._frames_count = self._edges_count = self._events_count = self._left_out_count = 0
        self._last_edges: dict[str, Edge | None] = {gate.name: None for gate in rig.gates}
        self._gate_cells = {gate.name: line((gate.name,)).decode().removesuffix("\n") for gate in rig.gates}
        self._last_edge_ns, self._edges_disordered = 0, False
        self._refused_count: dict[str, int] = {}
        self._latest_ns = 0
        self._news: list[Event] = []
        self._is_slow = self._is_closed = False
        self._open(_files_before_the_run(card, rig, calibration, kept_view))

    def _open(self, files: Mapping[str, bytes]) -> None:
        self._check_is_new()
        with told(self.folder.parent):
            _make_folders(self.folder.parent)
            self._place = Place(self.folder.parent, alone=self._is_live)
        try:
            self._begin(files)
        except BaseException:
            self._place.close()
            raise

    def _check_is_new(self) -> None:
        if self.folder.exists() or self.growing.exists():
            raise StoreError(f"{self.folder}: there is such a recording already; choose another name")

    def _begin(self, files: Mapping[str, bytes]) -> None:
        self._check_is_new()  # now that nobody else can make it
        with told(self.growing), ExitStack() as undo:
            self.growing.mkdir()
            undo.callback(shutil.rmtree, self.growing, ignore_errors=True)
            self._disk = Disk(self.growing, sync=self._sync, write=self._write, now_ns=self._now_ns)
            undo.callback(self._disk.close)
            for name, data in files.items():
                self._disk.put(name, data)
            self._disk.begin(EDGES, EDGE_COLUMNS)
            self._disk.begin(EVENTS, EVENT_COLUMNS)
            sync_folder(self.growing)
            sync_folder(self.growing.parent)
            undo.pop_all()

    def keep(self, record: Record | Event) -> None:
        """Hand over `record`, or what was decided, to be written. It does not wait for the disk.

        Positions are not kept: they can be measured again from the pictures.
        """
        match record:
            case Edge():
                self._keep_edge(record)
            case Event():
                self._keep_event(record, is_ours=True)
            case Frame():
                self._keep_frame(record)
            case Key():
                self._keep_event(Event(record.t_ns, record.key, record.source, record.detail))
            case Fault():
                self._keep_event(event_of_fault(record))
            case ClockDoubt():
                self._keep_event(event_of_clock_doubt(record))
            case Quiet():
                self._keep_quiet(record)
            case Fix():
                pass
        self._latest_ns = max(self._latest_ns, record.t_ns)

    def news(self) -> list[Event]:
        """What the recorder itself has had to say since this was called last: to be shown to people. Call it often.

        It is in the recording too.
        """
        self._disk.check()
        self._hear()
        if self._is_live:
            self._watch()
        news, self._news = self._news, []
        return news

    def flush(self) -> None:
        """Wait until everything kept is written: it outlives the end of this process, though not a loss of power."""
        self._disk.flush()

    def _watch(self) -> None:
        """Tell people when the disk cannot keep up, once until it has caught up."""
        since_ns = self._disk.unsafe_since_ns
        age_ns = 0 if since_ns is None else self._now_ns() - since_ns
        if age_ns > PROMISE_NS and not self._is_slow:
            self._is_slow = True
            words = f"what was recorded {age_ns / 1e9:.1f} s ago is not on the disk yet"
            self._say(DISK_SLOW, f"{words}; leave the power on; take a faster disk")
        elif age_ns < PROMISE_NS // 2:
            self._is_slow = False

    def _hear(self) -> None:
        for found in self._disk.troubles():
            self._say(found.event, found.words, t_ns=found.t_ns)

    def _say(self, name: str, words: str, *, t_ns: int | None = None) -> None:
        event = Event(self._latest_ns if t_ns is None else t_ns, name, NAME, words)
        self._keep_event(event, is_ours=True)
        self._news.append(event)

    def _keep_edge(self, edge: Edge) -> None:
        if (why := self._why_not_edge(edge)) is not None:
            level = "blocked" if edge.blocked else "clear"
            self._refuse("edge_refused", edge, f"{edge.gate} {level}: {why}")
            return
        if self._quiets:
            self._keep_quiets()
        self._edges_count += 1
        self._edges_disordered |= edge.t_ns < self._last_edge_ns
        self._last_edge_ns = edge.t_ns
        self._last_edges[edge.gate] = edge
        count = "" if edge.count is None else edge.count
        row = f"{edge.t_ns},{self._gate_cells[edge.gate]},{edge.blocked:d},{count}\n"
        self._disk.row(EDGES, row.encode())

    def _why_not_edge(self, edge: Edge) -> str | None:
        """Why `edge` cannot stand in edges.csv; None if it can."""
        if edge.gate not in self._last_edges:
            return "the rig has no such gate"
        if edge.t_ns < 0:
            return "its time is negative"
        if self._edges_count == EDGE_COLUMNS.most_lines:
            return f"more than {EDGE_COLUMNS.most_lines} edges"
        last = self._last_edges[edge.gate]
        is_double = last is not None and (last.t_ns, last.blocked) == (edge.t_ns, edge.blocked)
        return "this edge was sent twice" if is_double else None

    def _refuse(self, name: str, record: Edge | Frame, why: str) -> None:
        """Write that a record cannot be kept; after very many only how many."""
        count = self._refused_count[name] = self._refused_count.get(name, 0) + 1
        if count < REFUSED_COUNT:
            self._keep_event(Event(record.t_ns, name, record.source, why))
        elif count == REFUSED_COUNT:
            self._say(name, f"{why}; so it was {count} times, and later ones are only counted; look after the sensor")

    def _keep_event(self, event: Event, *, is_ours: bool = False) -> None:
        """Write an event, unless the table is full; its last lines are left to what was decided, and to ourselves."""
        self._keep_quiets()
        self._write_event(event, most=EVENT_COLUMNS.most_lines - (0 if is_ours else LAST_WORDS_COUNT))

    def _write_event(self, event: Event, *, most: int) -> None:
        if self._events_count < most:
            self._events_count += 1
            name = plain(event.event, most=40) or "note"
            source, detail = plain(event.source, most=100), plain(event.detail, most=1000)
            self._disk.row(EVENTS, line((max(event.t_ns, 0), name, source, detail)))

    def _keep_quiet(self, quiet: Quiet) -> None:
        self._quiets[quiet.source] = quiet.t_ns
        if quiet.t_ns - self._quiets_ns >= QUIET_NS:
            self._quiets_ns = quiet.t_ns
            self._keep_quiets()

    def _keep_quiets(self) -> None:
        """The last word of each source that has not been written yet; half of the table is left to other events."""
        quiets, self._quiets = self._quiets, {}
        for source, t_ns in quiets.items():
            self._write_event(Event(t_ns, "quiet", source), most=EVENT_COLUMNS.most_lines // 2)

    def _keep_frame(self, frame: Frame) -> None:
        data = _jpeg(frame)
        if (why := self._why_not_frame(frame, data)) is not None:
            self._refuse("frame_refused", frame, why)
            return
        last, self._last_frame = self._last_frame, _Last(frame.t_ns, frame.sequence)
        if last is not None and frame.sequence > last.sequence + 1:
            words = f"{frame.sequence - last.sequence - 1} before picture {self._frames_count}"
            self._keep_event(Event(frame.t_ns, "frames_dropped", frame.source, words))
        # what the camera does not know is left empty: then the rig's own word counts
        times_ns = (min(max(0, time_ns), 10**9) or None for time_ns in (frame.exposure_ns, frame.line_ns))
        stamp = line((self._frames_count, frame.t_ns, *times_ns))
        if self._disk.picture(Picture(frame.t_ns, data, stamp), can_wait=not self._is_live):
            self._sum_up_left_out(frame.t_ns)
            self._frames_count += 1
        else:
            self._left_out_count += 1
            if self._left_out_count == 1:
                self._say(DISK_SLOW, "pictures are left out from here on; take a faster disk", t_ns=frame.t_ns)

    def _why_not_frame(self, frame: Frame, data: bytes) -> str | None:
        """Why `frame` cannot stand in frames.csv; None if it can."""
        if not jpeg.look(data).is_whole:
            return "its picture is not whole"
        if frame.t_ns < 0:
            return "its time is negative"
        if self._frames_count == FRAME_COLUMNS.most_lines:
            return f"more than {FRAME_COLUMNS.most_lines} pictures"
        last = self._last_frame
        is_late = last is not None and frame.t_ns <= last.t_ns
        return f"its time is not after that of the last one, {last.t_ns}" if last is not None and is_late else None

    def _sum_up_left_out(self, t_ns: int) -> None:
        """Say how many pictures the disk left no room for, if there were any."""
        count, self._left_out_count = self._left_out_count, 0
        if count:
            self._say("frames_dropped", f"{count} before picture {self._frames_count}: the disk is slow", t_ns=t_ns)

    def close(self) -> Path:
        """Put everything on the disk and give the recording its name; the folder it is in now."""
        if self._is_closed:
            return self.folder
        self._is_closed = True
        with self._place, told(self.folder):
            self._end()
            (self.growing / RESERVE).unlink(missing_ok=True)
            if self._edges_disordered:
                sort_lines(self.growing / EDGES, self._sync)
            sync_folder(self.growing)
            self.growing.rename(self.folder)
            sync_folder(self.folder.parent)
        return self.folder

    def _end(self) -> None:
        """The recorder's last words, and everything onto the disk."""
        try:
            self._sum_up_left_out(self._latest_ns)
            for name, count in self._refused_count.items():
                if count > REFUSED_COUNT:
                    self._say(name, f"{count} in all")
            self._keep_quiets()
            self._disk.close_pictures()
            self._hear()
        finally:
            self._disk.close()

    def abandon(self) -> None:
        """Stop here and leave the recording as unfinished; what was kept is written as far as the disk allows."""
        if self._is_closed:
            return
        self._is_closed = True
        with self._place, suppress(StoreError):
            self._end()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()


def _make_folders(folder: Path) -> None:
    """`folder` and what it stands in, so that they survive a loss of power. OSError if they cannot be made."""
    if not folder.is_dir():
        _make_folders(folder.parent)
        folder.mkdir(exist_ok=True)
        sync_folder(folder.parent)


def _files_before_the_run(
    card: RunCard, rig: Rig, calibration: bytes | None, kept_view: bytes | None
) -> dict[str, bytes]:
    """Their names and contents, read back once: what could not be opened later is refused now."""
    camera = replace(rig.camera, calibration=CAMERA_FILE) if rig.camera else None
    files = {"recording.toml": card_text(card), "rig.toml": rig_text(replace(rig, camera=camera))}
    card_from_table(tomllib.loads(files["recording.toml"]), file="recording.toml")
    rig_from_table(tomllib.loads(files["rig.toml"]), file="rig.toml")
    if camera is not None and calibration is None:
        raise ConfigError("rig.toml", ["camera: found no calibration, wanted one; calibrate the camera first"])
    plain = {name: text.encode() for name, text in files.items()}
    given = {CAMERA_FILE: calibration, VIEW_FILE: kept_view}
    return plain | {name: content for name, content in given.items() if content is not None}


def _jpeg(frame: Frame) -> bytes:
    """The camera's own bytes as far as they are a picture."""
    if frame.jpeg is not None:
        return frame.jpeg[: jpeg.look(frame.jpeg).end_index]
    return cv2.imencode(".jpg", frame.image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()
