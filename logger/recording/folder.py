"""One recording on disk, opened for reading. The files are described in FORMATS.md beside this module."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.files import load_calibration
from calibration.waterplane import View
from logger import settings
from logger.config import Rig, RunCard
from logger.errors import ConfigError, InputError
from logger.recording.card_toml import RECORDING_FORMAT, read_card
from logger.recording.rig_toml import read_rig
from logger.recording.tables import Columns, Doubt, rows
from logger.recording.video import find_video, picture_count, pictures
from logger.records import Edge, Frame

__all__ = ["RECORDING_FORMAT", "Event", "FrameStamps", "Recording", "load"]

FRAME_COLUMNS = Columns(("frame", "t_ns"), ("exposure_ns", "line_ns"))
EDGE_COLUMNS = Columns(("t_ns", "gate", "level"), ("count",))
EVENT_COLUMNS = Columns(("t_ns", "event"), ("source", "detail"))
VIDEO_ENDED = "video_ended"
"""The event with which our recorder says that it had to stop the video; stamps go on without pictures."""
FEW_PICTURES = 2
"""So many pictures or stamps too many at the end are what a stop leaves behind; more means that they do not belong."""


@dataclass(frozen=True, slots=True)
class Event:
    """One line of events.csv: armed, go, ended, freed, void, note, fault ... with its detail in words."""

    t_ns: int
    event: str
    source: str = ""
    detail: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FrameStamps:
    """frames.csv: what counts for the time of each picture. Arrays (N,) int64, t_ns strictly increasing."""

    t_ns: NDArray[np.int64]
    exposure_ns: NDArray[np.int64]
    line_ns: NDArray[np.int64]

    def __post_init__(self) -> None:
        for array in (self.t_ns, self.exposure_ns, self.line_ns):
            array.setflags(write=False)

    def first(self, count: int) -> FrameStamps:
        """Only the first `count` of them."""
        return FrameStamps(self.t_ns[:count], self.exposure_ns[:count], self.line_ns[:count])


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A whole recording, checked; the video is opened only when its frames are asked for."""

    folder: Path
    card: RunCard
    rig: Rig
    view: View | None
    calibration_id: str
    edges: tuple[Edge, ...]
    events: tuple[Event, ...]
    stamps: FrameStamps | None
    video: Path | None
    doubts: tuple[str, ...] = ()
    """What was wrong but could be lived with (a torn last line, a video longer than its stamps)."""

    def frames(self, *, grey: bool = False, wanted: Collection[int] | None = None) -> Iterator[Frame]:
        """Decode the video forwards, each frame with its own stamp; nothing if there is no video.

        Args:
            grey: Images are (height, width) brightness, which costs less, instead of (height, width, 3) BGR.
            wanted: Numbers of the only frames to decode; all if None.

        Raises:
            InputError: a picture cannot be decoded by a codec that does not say which one it was.
        """
        if self.video is None or self.stamps is None:
            return
        times, exposures, lines = (a.tolist() for a in (self.stamps.t_ns, self.stamps.exposure_ns, self.stamps.line_ns))
        last = -1
        for number, image, jpeg in pictures(self.video, grey=grey, wanted=wanted):
            if number >= len(times):
                return
            last = number
            yield Frame(times[number], image, number, "video", exposures[number], lines[number], jpeg)
        if last < 0 and wanted is None:
            raise InputError(f"{self.video}: none of its pictures can be decoded; put the whole video there")


def load(path: Path | str) -> Recording:
    """Open the recording folder at `path` and check everything but the pictures themselves. Nothing is written.

    Raises:
        InputError: something is wrong; one line says what, where, and what to do.
        ConfigError: a settings file has mistakes, all of them listed.
    """
    folder = Path(path)
    _check_folder(folder)
    doubts: list[str] = []
    card = read_card(folder / "recording.toml")
    rig = read_rig(folder / "rig.toml")
    video = find_video(folder)
    stamps = _stamps(folder / "frames.csv", rig, doubts.append) if (folder / "frames.csv").exists() else None
    edges = _edges(folder / "edges.csv", rig, doubts.append) if (folder / "edges.csv").exists() else ()
    events = _events(folder / "events.csv", doubts.append) if (folder / "events.csv").exists() else ()
    _check_parts(folder, video, stamps)
    view, calibration_id = _view(folder, rig) if video else (None, "")
    if video and stamps and view:
        stamps = _check_video(video, stamps, view, doubts.append)
    return Recording(folder, card, rig, view, calibration_id, edges, events, stamps, video, tuple(doubts))


def _check_folder(folder: Path) -> None:
    if not folder.exists():
        raise InputError(f"{folder}: there is no such recording; give the path of a recording's folder")
    if not folder.is_dir():
        raise InputError(f"{folder}: this is a file; give the path of a recording's folder")
    if not (folder / "recording.toml").exists():
        raise InputError(f"{folder}: there is no recording.toml in it; give the path of a recording's folder")


def _check_parts(folder: Path, video: Path | None, stamps: FrameStamps | None) -> None:
    if video and stamps is None:
        raise InputError(f"{folder}: there is {video.name} but no frames.csv; put back the time stamps of its pictures")
    if stamps is not None and video is None:
        raise InputError(
            f"{folder}: there is frames.csv but no video; put back the video, or take frames.csv away to use gates only"
        )
    if video is None and not (folder / "edges.csv").exists():
        raise InputError(f"{folder}: there is neither a video nor edges.csv; nothing to measure; put one of them there")


def _stamps(path: Path, rig: Rig, doubt: Doubt) -> FrameStamps:
    camera = rig.camera
    exposure_ns, line_ns = (camera.exposure_ns, camera.line_ns) if camera else (0, 0)
    times: list[int] = []
    exposures: list[int] = []
    lines: list[int] = []
    for number, row in enumerate(rows(path, FRAME_COLUMNS, doubt)):
        if row.whole("frame") != number:
            raise row.refusal("frame", f"{number} (pictures are counted 0, 1, 2 ... as they stand in the video)")
        t_ns = row.whole("t_ns")
        if times and t_ns <= times[-1]:
            raise row.refusal("t_ns", f"more than the {times[-1]} of the line before (time goes forwards)")
        times.append(t_ns)
        exposures.append(row.whole("exposure_ns", most=10**9) if "exposure_ns" in row.cells else exposure_ns)
        lines.append(row.whole("line_ns", most=10**9) if "line_ns" in row.cells else line_ns)
    return FrameStamps(*(np.array(column, np.int64) for column in (times, exposures, lines)))


def _edges(path: Path, rig: Rig, doubt: Doubt) -> tuple[Edge, ...]:
    gates = [gate.name for gate in rig.gates]
    source = rig.gates_driver.kind if rig.gates_driver else "gates"
    edges: list[Edge] = []
    last_ns: dict[str, int] = {}
    for row in rows(path, EDGE_COLUMNS, doubt):
        t_ns, gate = row.whole("t_ns"), row.cells["gate"].strip()
        if gate not in gates:
            known = ", ".join(f'"{name}"' for name in gates) or "none: it has no gates"
            raise row.refusal("gate", f"the name of a gate in rig.toml ({known}){settings.near(gate, gates)}")
        if t_ns == last_ns.get(gate):
            raise row.refusal("t_ns", f"a time of its own; gate {gate} has an edge at that time already")
        if edges and t_ns < edges[-1].t_ns:
            raise row.refusal("t_ns", f"at least the {edges[-1].t_ns} of the line before (time goes forwards)")
        last_ns[gate] = t_ns
        blocked = row.whole("level", most=1) == 1
        count = row.whole("count") if row.cells.get("count", "") else None
        edges.append(Edge(t_ns, gate, blocked, source, count))
    return tuple(edges)


def _events(path: Path, doubt: Doubt) -> tuple[Event, ...]:
    events = []
    for row in rows(path, EVENT_COLUMNS, doubt):
        if not row.cells["event"].strip():
            raise row.refusal("event", "a word such as go, note, freed")
        cells = row.cells
        events.append(
            Event(row.whole("t_ns"), cells["event"].strip(), cells.get("source", ""), cells.get("detail", ""))
        )
    return tuple(sorted(events, key=lambda event: event.t_ns))


def _view(folder: Path, rig: Rig) -> tuple[View, str]:
    if rig.camera is None:
        raise InputError(
            f"{folder}/rig.toml: there is a video but no [camera] with its calibration; "
            "calibrate the camera and enter it, or take video and frames.csv away to use gates only"
        )
    path = folder / rig.camera.calibration
    if not path.is_file():
        raise InputError(
            f"{path}: the camera's calibration named in rig.toml is not there; "
            "put it there, or take video and frames.csv away to use gates only"
        )
    try:
        calibration = load_calibration(path)
    except CalibrationError as error:
        raise ConfigError(str(path), error.mistakes) from error
    return calibration.view, calibration.id


def _check_video(video: Path, stamps: FrameStamps, view: View, doubt: Doubt) -> FrameStamps:
    """The stamps that have a picture."""
    first = next(pictures(video, grey=True), None)
    if first is None:
        raise InputError(f"{video}: none of its pictures can be decoded; put the whole video there")
    height, width = first[1].shape[:2]
    if (width, height) != (view.lens.width_px, view.lens.height_px):
        raise InputError(
            f"{video}: its pictures are {width} x {height} pixels, the calibration is for "
            f"{view.lens.width_px} x {view.lens.height_px}; use the calibration of this picture size"
        )
    found, told = picture_count(video), len(stamps.t_ns)
    if abs(found - told) > FEW_PICTURES:
        raise InputError(
            f"{video}: found {found} pictures, but {told} stamps in frames.csv; they must be of the same recording, "
            "whole; put back the files that belong together"
        )
    if found != told:
        doubt(f"{video.name} has {found} pictures and frames.csv {told} stamps; only what both have is used")
    return stamps.first(min(found, told))
