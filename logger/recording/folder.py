"""One recording on disk, opened for reading. The files are described in FORMATS.md beside this module."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import CalibrationError
from calibration.files import load_calibration
from calibration.waterplane import View
from logger.config import Rig, RunCard
from logger.errors import ConfigError, InputError
from logger.recording.card_toml import RECORDING_FORMAT, read_card
from logger.recording.recovery import is_unfinished
from logger.recording.rig_toml import read_rig
from logger.recording.sensor_tables import (
    VIDEO_ENDED,
    Event,
    FrameStamps,
    read_edges,
    read_events,
    read_stamps,
)
from logger.recording.tables import Doubt
from logger.recording.video import find_video, picture_count, pictures
from logger.records import Edge, Frame

__all__ = ["RECORDING_FORMAT", "Event", "FrameStamps", "Recording", "load"]

FEW_PICTURES = 2
"""So many pictures or stamps too many at the end are what a stop leaves behind; more means that they do not belong."""


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
    cut_short = is_unfinished(folder)
    doubts = ["the recorder was stopped before the end; used up to its last whole line and picture"] * cut_short
    card = read_card(folder / "recording.toml")
    rig = read_rig(folder / "rig.toml")
    stamps = read_stamps(folder / "frames.csv", rig, doubts.append, cut_short=cut_short)
    edges = read_edges(folder / "edges.csv", rig, doubts.append, cut_short=cut_short)
    events = read_events(folder / "events.csv", doubts.append, cut_short=cut_short)
    video = find_video(folder)
    if cut_short and (video is None or stamps is None or not len(stamps.t_ns) or not picture_count(video)):
        video, stamps = None, None
    _check_parts(folder, video, stamps)
    if video is None or stamps is None:
        return Recording(folder, card, rig, None, "", edges, events, None, None, tuple(doubts))
    view, calibration_id = _view(folder, rig)
    _check_size(video, view)
    any_count = cut_short or any(event.event == VIDEO_ENDED for event in events)
    stamps = _stamps_with_picture(video, stamps, doubts.append, any_count=any_count)
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


def _check_size(video: Path, view: View) -> None:
    first = next(pictures(video, grey=True), None)
    if first is None:
        raise InputError(f"{video}: none of its pictures can be decoded; put the whole video there")
    height, width = first[1].shape[:2]
    if (width, height) != (view.lens.width_px, view.lens.height_px):
        raise InputError(
            f"{video}: its pictures are {width} x {height} pixels, the calibration is for "
            f"{view.lens.width_px} x {view.lens.height_px}; use the calibration of this picture size"
        )


def _stamps_with_picture(video: Path, stamps: FrameStamps, doubt: Doubt, *, any_count: bool) -> FrameStamps:
    found, told = picture_count(video), len(stamps.t_ns)
    if abs(found - told) > FEW_PICTURES and not any_count:
        raise InputError(
            f"{video}: found {found} whole pictures, but {told} stamps in frames.csv; "
            "one stamp for each picture is wanted; put back the files that belong together"
        )
    if found != told:
        doubt(f"{video.name} has {found} whole pictures and frames.csv {told} stamps; only what both have is used")
    return stamps.first(min(found, told))
