"""The recorder's side of a recording: each record goes to disk before anything else is done with it.

What is written first can be trusted longest: the card, the rig and the calibration before the run; then edges and
people's keys, on the disk itself within 50 ms; pictures and their stamps within a second. A picture is written before
its stamp, and both keep their order, so after any cut the shorter of the two says how far the recording goes.

When space runs out the pictures stop and everything else goes on: a gate's time is worth more than a picture. A
reserve is set aside at the start for that. What a reader would have to refuse (a picture whose stamp does not go
forwards, the same edge twice, an edge of a gate that the rig does not have) is not written as such but as an event:
whatever a driver does, a finished recording can be opened.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

import cv2

from logger.config import Rig, RunCard
from logger.errors import ConfigError, StoreError
from logger.recording.card_toml import card_from_table, card_text
from logger.recording.recovery import unfinished_name
from logger.recording.rig_toml import rig_from_table, rig_text
from logger.recording.sensor_tables import EDGE_COLUMNS, EVENT_COLUMNS, FRAME_COLUMNS, VIDEO_ENDED, Event
from logger.recording.tables import Columns
from logger.records import Edge, Fault, Fix, Frame, Key, Quiet, Record
from logger.settings import sync_folder

CAMERA_FILE = "camera.toml"
GROUP_NS = 50_000_000
"""Edges and events within this time share one sync."""
VIDEO_NS = 1_000_000_000
RESERVE = ".reserve"
RESERVE_BYTES = 4_000_000
"""Space for about 100 000 edges and events, given back when the disk is full."""
JPEG_QUALITY = 92
MOST_DETAIL = 1000
"""Letters of an event's detail."""


class Journal:
    """One growing recording. Use with `with`, or call `close`; leaving by an exception keeps it as unfinished.

    Every method raises StoreError if what it is for cannot be kept.
    """

    def __init__(
        self,
        folder: Path,
        *,
        card: RunCard,
        rig: Rig,
        calibration: bytes | None = None,
        sync: Callable[[int], None] = os.fdatasync,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Make the folder and write what is known before the run.

        Args:
            folder: What the recording is to be called in the end; must not exist yet.
            card: The run.
            rig: The rig; its camera will name the copy of the calibration.
            calibration: Contents of the camera's calibration file, for a rig with a camera.
            sync: Puts an open file on the disk itself; `lambda _: None` where a power cut does not matter.
            now_ns: A clock, only to group syncs.
        """
        self.folder = folder
        self.growing = unfinished_name(folder)
        self._sync, self._now_ns = sync, now_ns
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="video-sync")
        self._video_sync: Future[None] | None = None
        self._quiets: dict[str, int] = {}
        self._last_frame: Frame | None = None
        self._frames_count = self._edges_count = 0
        self._last_edges: dict[str, Edge | None] = {gate.name: None for gate in rig.gates}
        self._last_edge_ns, self._edges_disordered = 0, False
        self._is_filming = True
        self._open(card, rig, calibration)

    def _open(self, card: RunCard, rig: Rig, calibration: bytes | None) -> None:
        if self.folder.exists() or self.growing.exists():
            raise StoreError(f"{self.folder}: there is such a recording already; choose another name")
        files = _files_before_the_run(card, rig, calibration)
        try:
            self.growing.mkdir(parents=True)
        except OSError as error:
            raise _trouble(self.growing, error) from error
        try:
            self._begin(files)
        except OSError as error:
            shutil.rmtree(self.growing, ignore_errors=True)
            raise _trouble(self.growing, error) from error

    def _begin(self, files: Mapping[str, bytes]) -> None:
        for name, data in files.items():
            self._write_file(name, data)
        self._reserve()
        self._edges = self._table("edges.csv", EDGE_COLUMNS)
        self._events = self._table("events.csv", EVENT_COLUMNS)
        self._frames: _Growing | None = None
        self._video: _Growing | None = None
        sync_folder(self.growing)
        sync_folder(self.growing.parent)
        self._synced_ns = self._video_synced_ns = self._now_ns()
        self._is_dirty = False

    def _write_file(self, name: str, data: bytes) -> None:
        file = _Growing(self.growing / name)
        file.append(data)
        self._sync(file.handle)
        file.close()

    def _reserve(self) -> None:
        path = self.growing / RESERVE
        with path.open("xb") as file:
            os.posix_fallocate(file.fileno(), 0, RESERVE_BYTES)

    def _table(self, name: str, columns: Columns) -> _Growing:
        table = _Growing(self.growing / name)
        table.append(_line((*columns.needed, *columns.optional)))
        return table

    def keep(self, record: Record | Event) -> None:
        """Write `record`, or what was decided. Positions are not kept: they can be measured again from the pictures."""
        match record:
            case Event():
                self._keep_event(record)
            case Edge():
                self._keep_edge(record)
            case Frame():
                self._keep_frame(record)
            case Key():
                self._keep_event(Event(record.t_ns, record.key, record.source, record.detail))
            case Fault():
                self._keep_event(event_of_fault(record))
            case Quiet():
                self._quiets[record.source] = record.t_ns
            case Fix():
                pass
        self._sync_what_is_due()

    def _keep_edge(self, edge: Edge) -> None:
        self._keep_quiets()
        if (why := self._why_not(edge)) is not None:
            level = "blocked" if edge.blocked else "clear"
            self._keep_event(Event(edge.t_ns, "edge_refused", edge.source, f"{edge.gate} {level}: {why}"))
            return
        self._edges_count += 1
        self._edges_disordered |= edge.t_ns < self._last_edge_ns
        self._last_edge_ns = edge.t_ns
        self._last_edges[edge.gate] = edge
        self._append(self._edges, _line((edge.t_ns, edge.gate, int(edge.blocked), edge.count)))
        self._is_dirty = True

    def _why_not(self, edge: Edge) -> str | None:
        """Why `edge` cannot stand in edges.csv; None if it can."""
        if edge.gate not in self._last_edges:
            return "the rig has no such gate"
        if edge.t_ns < 0 or self._edges_count == EDGE_COLUMNS.most_lines:
            return "its time is negative" if edge.t_ns < 0 else f"more than {EDGE_COLUMNS.most_lines} edges"
        last = self._last_edges[edge.gate]
        if last is not None and (last.t_ns, last.blocked) == (edge.t_ns, edge.blocked):
            return "this edge was sent twice"
        return None

    def _keep_event(self, event: Event) -> None:
        self._keep_quiets()
        self._append(self._events, _line((event.t_ns, event.event, _plain(event.source), _plain(event.detail))))
        self._is_dirty = True

    def _keep_quiets(self) -> None:
        """The last word of each source that has not been written yet."""
        quiets, self._quiets = self._quiets, {}
        for source, t_ns in quiets.items():
            self._append(self._events, _line((t_ns, "quiet", _plain(source), "")))

    def _keep_frame(self, frame: Frame) -> None:
        last, self._last_frame = self._last_frame, frame
        if last is not None and frame.t_ns <= last.t_ns:
            self._last_frame = last
            words = f"its time is not after that of the last one, {last.t_ns}"
            return self._keep_event(Event(frame.t_ns, "frame_refused", frame.source, words))
        if last is not None and frame.sequence > last.sequence + 1:
            words = f"{frame.sequence - last.sequence - 1} before picture {self._frames_count}"
            self._keep_event(Event(frame.t_ns, "frames_dropped", frame.source, words))
        self._keep_picture(frame)
        stamp = (self._frames_count, frame.t_ns, frame.exposure_ns, frame.line_ns)
        self._append(self._frames_file(), _line(stamp))
        self._frames_count += 1
        return None

    def _frames_file(self) -> _Growing:
        if self._frames is None:
            self._frames = self._table("frames.csv", FRAME_COLUMNS)
            sync_folder(self.growing)
        return self._frames

    def _keep_picture(self, frame: Frame) -> None:
        if not self._is_filming:
            return
        try:
            if self._video is None:
                self._video = _Growing(self.growing / "video.mjpeg")
            self._video.append(_jpeg(frame))
        except OSError as error:
            self._is_filming = False
            words = f"before picture {self._frames_count}: {error.strerror}; free some space"
            self._keep_event(Event(frame.t_ns, VIDEO_ENDED, frame.source, words))

    def _append(self, file: _Growing, data: bytes) -> None:
        try:
            file.append(data)
        except OSError as error:
            (self.growing / RESERVE).unlink(missing_ok=True)
            try:
                file.append(data)
            except OSError:
                raise _trouble(file.path, error) from error

    def _sync_what_is_due(self) -> None:
        now_ns = self._now_ns()
        if self._is_dirty and now_ns - self._synced_ns >= GROUP_NS:
            self._sync_now([self._edges, self._events])
            self._synced_ns, self._is_dirty = now_ns, False
        if now_ns - self._video_synced_ns >= VIDEO_NS:
            self._video_synced_ns = now_ns
            self._keep_quiets()
            self._sync_video()

    def _sync_now(self, files: Sequence[_Growing]) -> None:
        for file in files:
            try:
                self._sync(file.handle)
            except OSError as error:
                raise _trouble(file.path, error) from error

    def _sync_video(self) -> None:
        """In the background: megabytes take the disk tens of milliseconds, and edges must not wait for them."""
        last = self._video_sync
        if last is not None and not last.done():
            return
        files = [file for file in (self._video, self._frames) if file is not None]
        self._video_sync = self._pool.submit(self._sync_now, files)
        if last is not None:
            last.result()

    def close(self) -> Path:
        """Put everything on the disk and give the recording its name; the folder it is in now."""
        self._keep_quiets()
        self._pool.shutdown()
        if self._video_sync is not None:
            self._video_sync.result()
        self._sync_now(self._open_files())
        self._close_files()
        try:
            if self._edges_disordered:
                _sort_edges(self.growing / "edges.csv", self._sync)
            (self.growing / RESERVE).unlink(missing_ok=True)
            sync_folder(self.growing)
            self.growing.rename(self.folder)
            sync_folder(self.folder.parent)
        except OSError as error:
            raise _trouble(self.folder, error) from error
        return self.folder

    def abandon(self) -> None:
        """Stop here and leave the recording as unfinished."""
        self._pool.shutdown()
        self._close_files()

    def _open_files(self) -> list[_Growing]:
        return [file for file in (self._edges, self._events, self._frames, self._video) if file is not None]

    def _close_files(self) -> None:
        for file in self._open_files():
            file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()


class _Growing:
    """A new file that only grows, by whole pieces: what could not be written whole is taken back."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = path.open("xb", buffering=0)
        self._size = 0

    @property
    def handle(self) -> int:
        return self._file.fileno()

    def append(self, data: bytes) -> None:
        """Add all of `data`, or nothing and raise OSError."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._file.write(rest) :]
        except OSError:
            self._file.truncate(self._size)
            self._file.seek(self._size)
            raise
        self._size += len(data)

    def close(self) -> None:
        self._file.close()


def _files_before_the_run(card: RunCard, rig: Rig, calibration: bytes | None) -> dict[str, bytes]:
    """Their names and contents, read back once: what could not be opened later is refused now."""
    camera = replace(rig.camera, calibration=CAMERA_FILE) if rig.camera else None
    files = {"recording.toml": card_text(card), "rig.toml": rig_text(replace(rig, camera=camera))}
    card_from_table(tomllib.loads(files["recording.toml"]), file="recording.toml")
    rig_from_table(tomllib.loads(files["rig.toml"]), file="rig.toml")
    if camera is not None and calibration is None:
        raise ConfigError("rig.toml", ["camera: found no calibration, wanted one; calibrate the camera first"])
    plain = {name: text.encode() for name, text in files.items()}
    return plain | ({CAMERA_FILE: calibration} if calibration is not None else {})


def _trouble(path: Path, error: OSError) -> StoreError:
    return StoreError(f"{path}: cannot be written ({error.strerror}); free some space or check permissions")


def event_of_fault(fault: Fault) -> Event:
    """A fault as it stands in events.csv."""
    since = f" (since {fault.since_ns} ns)" if fault.since_ns is not None else ""
    return Event(fault.t_ns, "fault", fault.source, f"{fault.what}{since}; {fault.cure}")


def _line(cells: Sequence[object]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue().encode()


def _plain(text: str) -> str:
    """`text` on one line and without what a table refuses."""
    words = "".join(letter if letter.isprintable() else " " for letter in text).split()
    return " ".join(words)[:MOST_DETAIL]


def _jpeg(frame: Frame) -> bytes:
    if frame.jpeg is not None:
        return frame.jpeg
    return cv2.imencode(".jpg", frame.image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()


def _sort_edges(path: Path, sync: Callable[[int], None]) -> None:
    """Edges of several sources arrive in any order; in a finished recording they stand in order of time."""
    head, *lines = path.read_bytes().splitlines(keepends=True)
    lines.sort(key=lambda line: int(line.split(b",", 1)[0]))
    new = _Growing(path.with_name(".edges.csv.new"))
    new.append(head + b"".join(dict.fromkeys(lines)))
    sync(new.handle)
    new.close()
    new.path.replace(path)
