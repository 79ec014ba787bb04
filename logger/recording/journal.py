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

import os
import shutil
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

import cv2

from logger.config import Rig, RunCard
from logger.errors import ConfigError, StoreError
from logger.recording import jpeg
from logger.recording.card_toml import card_from_table, card_text
from logger.recording.growing import Growing, line, plain, sort_lines
from logger.recording.recovery import unfinished_name
from logger.recording.rig_toml import rig_from_table, rig_text
from logger.recording.sensor_tables import (
    EDGE_COLUMNS,
    EVENT_COLUMNS,
    FRAME_COLUMNS,
    VIDEO_ENDED,
    Event,
    event_of_clock_doubt,
    event_of_fault,
)
from logger.recording.tables import Columns
from logger.records import ClockDoubt, Edge, Fault, Fix, Frame, Key, Quiet, Record
from logger.settings import sync_folder

CAMERA_FILE = "camera.toml"
GROUP_NS = 50_000_000
"""Edges and events within this time share one sync."""
VIDEO_NS = 1_000_000_000
RESERVE = ".reserve"
RESERVE_BYTES = 4_000_000
"""Space for about 100 000 edges and events, given back when the disk is full."""
JPEG_QUALITY = 92


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
        self._files: list[Growing] = []
        self._quiets: dict[str, int] = {}
        self._last_frame: Frame | None = None
        self._frames_count = self._edges_count = self._events_count = 0
        self._last_edges: dict[str, Edge | None] = {gate.name: None for gate in rig.gates}
        self._last_edge_ns, self._edges_disordered = 0, False
        self._is_filming, self._is_closed = True, False
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
            self._close_files()
            shutil.rmtree(self.growing, ignore_errors=True)
            raise _trouble(self.growing, error) from error

    def _begin(self, files: Mapping[str, bytes]) -> None:
        for name, data in files.items():
            self._write_file(name, data)
        self._reserve()
        self._edges = self._table("edges.csv", EDGE_COLUMNS)
        self._events = self._table("events.csv", EVENT_COLUMNS)
        self._frames: Growing | None = None
        self._video: Growing | None = None
        sync_folder(self.growing)
        sync_folder(self.growing.parent)
        self._synced_ns = self._video_synced_ns = self._now_ns()
        self._is_dirty = False

    def _write_file(self, name: str, data: bytes) -> None:
        with closing(Growing(self.growing / name)) as file:
            file.append(data)
            self._sync(file.handle)

    def _reserve(self) -> None:
        path = self.growing / RESERVE
        with path.open("xb") as file:
            os.posix_fallocate(file.fileno(), 0, RESERVE_BYTES)

    def _table(self, name: str, columns: Columns) -> Growing:
        table = self._grow(name)
        table.append(line((*columns.needed, *columns.optional)))
        return table

    def _grow(self, name: str) -> Growing:
        file = Growing(self.growing / name)
        self._files.append(file)
        return file

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
            case ClockDoubt():
                self._keep_event(event_of_clock_doubt(record))
            case Quiet():
                self._quiets[record.source] = record.t_ns
            case Fix():
                pass
        self._sync_what_is_due()

    def _keep_edge(self, edge: Edge) -> None:
        if (why := self._why_not_edge(edge)) is not None:
            level = "blocked" if edge.blocked else "clear"
            self._keep_event(Event(edge.t_ns, "edge_refused", edge.source, f"{edge.gate} {level}: {why}"))
            return
        self._keep_quiets()
        self._edges_count += 1
        self._edges_disordered |= edge.t_ns < self._last_edge_ns
        self._last_edge_ns = edge.t_ns
        self._last_edges[edge.gate] = edge
        self._append(self._edges, line((edge.t_ns, edge.gate, int(edge.blocked), edge.count)))
        self._is_dirty = True

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

    def _keep_event(self, event: Event) -> None:
        self._keep_quiets()
        self._write_event(event)
        self._is_dirty = True

    def _write_event(self, event: Event) -> None:
        if self._events_count < EVENT_COLUMNS.most_lines:
            self._events_count += 1
            name = plain(event.event, most=40) or "note"
            source, detail = plain(event.source, most=100), plain(event.detail, most=1000)
            self._append(self._events, line((max(event.t_ns, 0), name, source, detail)))

    def _keep_quiets(self) -> None:
        """The last word of each source that has not been written yet; half of the table is left to other events."""
        quiets, self._quiets = self._quiets, {}
        for source, t_ns in quiets.items():
            if self._events_count < EVENT_COLUMNS.most_lines // 2:
                self._write_event(Event(t_ns, "quiet", source))

    def _keep_frame(self, frame: Frame) -> None:
        data = _jpeg(frame)
        if (why := self._why_not_frame(frame, data)) is not None:
            self._keep_event(Event(frame.t_ns, "frame_refused", frame.source, why))
            return
        last, self._last_frame = self._last_frame, frame
        if last is not None and frame.sequence > last.sequence + 1:
            words = f"{frame.sequence - last.sequence - 1} before picture {self._frames_count}"
            self._keep_event(Event(frame.t_ns, "frames_dropped", frame.source, words))
        self._keep_picture(frame, data)
        times_ns = (min(max(0, time_ns), 10**9) for time_ns in (frame.exposure_ns, frame.line_ns))
        self._append(self._frames_file(), line((self._frames_count, frame.t_ns, *times_ns)))
        self._frames_count += 1

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

    def _frames_file(self) -> Growing:
        if self._frames is None:
            self._frames = self._table("frames.csv", FRAME_COLUMNS)
            sync_folder(self.growing)
        return self._frames

    def _keep_picture(self, frame: Frame, data: bytes) -> None:
        if not self._is_filming:
            return
        try:
            if self._video is None:
                self._video = self._grow("video.mjpeg")
            self._video.append(data)
        except OSError as error:
            self._end_video(frame.t_ns, error)

    def _end_video(self, t_ns: int, error: OSError) -> None:
        self._is_filming = False
        words = f"before picture {self._frames_count}: {error.strerror}; free some space"
        self._keep_event(Event(t_ns, VIDEO_ENDED, "recorder", words))

    def _append(self, file: Growing, data: bytes) -> None:
        try:
            file.append(data)
        except OSError as error:
            (self.growing / RESERVE).unlink(missing_ok=True)
            try:
                file.append(data)
            except OSError:
                raise _trouble(file.path, error) from error
            if self._is_filming:  # or the pictures would take the reserve too
                self._end_video(self._last_frame.t_ns if self._last_frame else 0, error)

    def _sync_what_is_due(self) -> None:
        now_ns = self._now_ns()
        if self._is_dirty and now_ns - self._synced_ns >= GROUP_NS:
            self._sync_now([self._edges, self._events])
            self._synced_ns, self._is_dirty = now_ns, False
        if now_ns - self._video_synced_ns >= VIDEO_NS:
            self._video_synced_ns = now_ns
            self._keep_quiets()
            self._sync_video()

    def _sync_now(self, files: Sequence[Growing]) -> None:
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
        if self._is_closed:
            return self.folder
        self._is_closed = True
        self._keep_quiets()
        self._pool.shutdown()
        if self._video_sync is not None:
            self._video_sync.result()
        self._sync_now(self._files)
        self._close_files()
        try:
            if self._edges_disordered:
                sort_lines(self.growing / "edges.csv", self._sync)
            (self.growing / RESERVE).unlink(missing_ok=True)
            sync_folder(self.growing)
            self.growing.rename(self.folder)
            sync_folder(self.folder.parent)
        except OSError as error:
            raise _trouble(self.folder, error) from error
        return self.folder

    def abandon(self) -> None:
        """Stop here and leave the recording as unfinished."""
        self._is_closed = True
        self._pool.shutdown()
        self._close_files()

    def _close_files(self) -> None:
        for file in self._files:
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


def _jpeg(frame: Frame) -> bytes:
    """The camera's own bytes as far as they are a picture."""
    if frame.jpeg is not None:
        return frame.jpeg[: jpeg.look(frame.jpeg).end_index]
    return cv2.imencode(".jpg", frame.image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()
