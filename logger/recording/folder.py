"""One recording on disk, opened for reading. The files are described in FORMATS.md beside this module."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.files import load_calibration
from calibration.waterplane import View
from logger.config import Rig, RunCard
from logger.errors import ConfigError, InputError
from logger.recording.card_toml import RECORDING_FORMAT, read_card
from logger.recording.hand_counts import as_events, read_counts
from logger.recording.mask_mark import SAID, is_masked
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
from logger.recording.video import (
    Image,
    Places,
    Survey,
    Upper,
    decoded_count,
    find_video,
    holds_jpegs,
    pictures,
    survey,
)
from logger.records import Edge, Frame

__all__ = ["RECORDING_FORMAT", "Event", "FrameStamps", "Recording", "load"]

VIEW_FILE = "view.png"
"""The rig as it was calibrated, in a recording."""

FEW_PICTURES = 2
"""So many pictures or stamps too many at the end are what a stop leaves behind; more means that they do not belong."""

FAR_APART_NS = 600_000_000_000
"""No run has its pictures and its edges ten minutes apart."""


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

    damaged: frozenset[int] = frozenset()
    """Numbers of the pictures that are damaged; `frames` passes them over."""

    places: Places = ()
    """Where the video's pictures stand in its file, if that is known: then `frames` does not read all of it."""

    kept_view: Path | None = None
    """A picture of the rig as it was when the camera was calibrated, if one came with the recording."""

    def kept_picture(self) -> NDArray[np.uint8] | None:
        """That picture, grey (height, width); None without one, or if it cannot be read."""
        if self.kept_view is None:
            return None
        found = cv2.imread(str(self.kept_view), cv2.IMREAD_GRAYSCALE)
        return None if found is None else np.asarray(found, np.uint8)

    def frames(
        self, *, grey: bool = False, wanted: Collection[int] | None = None, upper_px: Mapping[int, int] | None = None
    ) -> Iterator[Frame]:
        """Decode the video forwards, each frame with its own stamp; nothing if there is no video.

        Args:
            grey: Images are (height, width) brightness, which costs less, instead of (height, width, 3) BGR.
            wanted: Numbers of the only frames to decode; all if None.
            upper_px: Decode only so many rows (a multiple of 16) of the pictures by their numbers, from the top, where
                the codec allows it. Such a picture may be shifted by damage (`jpeg.decode_upper`); with its `jpeg`,
                `jpeg.decode` tells.

        Raises:
            InputError: a picture has another size than the calibration; or the video cannot be decoded to its end by a
                codec that does not say which picture it left out.
        """
        if self.video is None or self.stamps is None:
            return
        times, exposures, lines = (a.tolist() for a in (self.stamps.t_ns, self.stamps.exposure_ns, self.stamps.line_ns))
        last = -1
        chosen = range(len(times)) if wanted is None else wanted
        upper = None if upper_px is None or self.view is None else Upper(upper_px, self.view.lens.height_px)
        found = pictures(self.video, grey=grey, wanted=chosen, damaged=self.damaged, upper=upper, places=self.places)
        for number, image, jpeg in found:
            if number >= len(times):
                return
            last = number
            if image is not None:
                self._check_size(image, number, None if upper_px is None else upper_px.get(number))
                yield Frame(times[number], image, number, "video", exposures[number], lines[number], jpeg)
        if (missing := min((n for n in chosen if last < n < len(times)), default=None)) is not None:
            raise InputError(
                f"{self.video}: only {missing} of {len(times)} pictures can be decoded, and nothing says which ones; "
                "put the undamaged video there"
            )

    def _check_size(self, image: Image, number: int, upper_px: int | None) -> None:
        height, width = image.shape[:2]
        if self.view and height == upper_px:
            height = self.view.lens.height_px
        if self.view and (width, height) != (self.view.lens.width_px, self.view.lens.height_px):
            raise InputError(
                f"{self.video}: picture {number} is {width} x {height} pixels, the calibration is for "
                f"{self.view.lens.width_px} x {self.view.lens.height_px}; use the calibration of this picture size"
            )


def load(path: Path | str) -> Recording:
    """Open the recording folder at `path` and check everything but the pictures themselves. Nothing is written.

    Raises:
        InputError: something is wrong; one line says what, where, and what to do.
        ConfigError: a settings file has mistakes, all of them listed.
    """
    folder = Path(path)
    try:
        return _load(folder)
    except OSError as error:
        raise InputError(f"{folder}: cannot be read ({error.strerror}); check the path and its permissions") from error


def _load(folder: Path) -> Recording:
    _check_folder(folder)
    cut_short = is_unfinished(folder)
    doubts = ["the recorder was stopped before the end; used up to its last whole line and picture"] * cut_short
    card = read_card(folder / "recording.toml")
    rig = read_rig(folder / "rig.toml")
    stamps = read_stamps(folder / "frames.csv", rig, doubts.append, cut_short=cut_short)
    edges = read_edges(folder / "edges.csv", rig, doubts.append, cut_short=cut_short)
    events = read_events(folder / "events.csv", doubts.append, cut_short=cut_short)
    events += as_events(read_counts(folder), at_ns=_last_ns(events, edges, stamps))
    is_short = cut_short or any(event.event == VIDEO_ENDED for event in events)
    video = find_video(folder, cut_short=is_short)
    if is_short and (video is None or stamps is None):
        video, stamps = None, None
    _check_parts(folder, video, stamps)
    _check_clock(folder, edges, stamps)
    if rig.camera and video is None:
        doubts.append("the rig has a camera, but there is no video: used without it")
    if rig.gates and not (folder / "edges.csv").exists():
        doubts.append("the rig has gates, but there is no edges.csv: used without them")
    recording = Recording(folder, card, rig, None, "", edges, events, None, None, tuple(doubts))
    if video is None or stamps is None:
        return recording
    if is_masked(folder):
        doubts.append(SAID)
    view, calibration_id = _view(folder, rig)
    seen = survey(video)
    stamps, damaged = _fit(video, stamps, seen, doubts.append, any_count=is_short)
    recording = replace(
        recording,
        view=view,
        calibration_id=calibration_id,
        stamps=stamps,
        video=video,
        doubts=tuple(doubts),
        damaged=damaged,
        places=seen.places,
        kept_view=folder / VIEW_FILE if (folder / VIEW_FILE).is_file() else None,
    )
    _try_first_picture(recording)
    return recording


def _last_ns(events: tuple[Event, ...], edges: tuple[Edge, ...], stamps: FrameStamps | None) -> int:
    """The last moment of the recording that is known, so that what was counted later does not make it longer."""
    seen = [] if stamps is None else stamps.t_ns[-1:].tolist()
    return max([*seen, *(one[-1].t_ns for one in (events, edges) if one)], default=0)


def _check_folder(folder: Path) -> None:
    try:
        str(folder.absolute()).encode()
    except UnicodeEncodeError:  # OpenCV would crash
        raise InputError(f"{folder}: its path is not UTF-8; rename the folder with plain letters") from None
    if not folder.exists():
        raise InputError(f"{folder}: there is no such recording; give the path of a recording's folder")
    if not folder.is_dir():
        raise InputError(f"{folder}: this is a file; give the path of a recording's folder")
    if is_unfinished(folder) and not any((folder / name).exists() for name in ("edges.csv", "frames.csv")):
        raise InputError(f"{folder}: the recorder was stopped before the run began; there is nothing in it to measure")
    if not (folder / "recording.toml").exists():
        raise InputError(f"{folder}: there is no recording.toml in it; give the path of a recording's folder")


def _check_clock(folder: Path, edges: tuple[Edge, ...], stamps: FrameStamps | None) -> None:
    """Raise InputError where gates and camera cannot have been stamped by one clock."""
    if not edges or stamps is None or not len(stamps.t_ns):
        return
    apart_ns = max(edges[0].t_ns - int(stamps.t_ns[-1]), int(stamps.t_ns[0]) - edges[-1].t_ns)
    if apart_ns > FAR_APART_NS:
        raise InputError(
            f"{folder}: the times in edges.csv and in frames.csv lie {apart_ns / 1e9:.0f} s apart; one clock for all "
            "files is wanted; put back the files that belong together, or write both with the same clock"
        )


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


def _fit(
    video: Path, stamps: FrameStamps, seen: Survey, doubt: Doubt, *, any_count: bool
) -> tuple[FrameStamps, frozenset[int]]:
    """The stamps that have a picture, and the numbers of the damaged pictures among them."""
    told = len(stamps.t_ns)
    found, flaws = seen.count, seen.damaged | seen.with_more
    known = min(seen.damaged | {number + 1 for number in seen.with_more}, default=found)
    if any_count and known < min(found, told):  # a part never reached the disk: behind it nobody knows the numbers
        doubt(f"{video.name}: damaged at picture {known}; this one and all later ones are left out")
        return stamps.first(known), frozenset()
    if found != told and not holds_jpegs(video):
        found = decoded_count(video)  # some codecs have packets that are no pictures
    if found != told:
        _check_counts(video, found=found, told=told, flaws=flaws, any_count=any_count)
        doubt(
            f"{video.name} has {found} whole pictures and frames.csv {told} stamps; only what both have is used, "
            "as if what is missing were at the end"
        )
    used = min(found, told)
    damaged = frozenset(number for number in seen.damaged if number < used)
    if damaged:
        doubt(f"{video.name}: {len(damaged)} of {used} pictures are damaged and left out (first: {min(damaged)})")
    return stamps.first(used), damaged


def _check_counts(video: Path, *, found: int, told: int, flaws: frozenset[int], any_count: bool) -> None:
    """Numbers that differ at the end are harmless; anywhere else they would give pictures the wrong time."""
    inside = [number for number in flaws if number < min(found, told) - 1]
    if inside:
        raise InputError(
            f"{video}: damaged at picture {min(inside)}; it has {found} pictures for {told} stamps in frames.csv, and "
            "nothing says which one is missing; put the undamaged video there"
        )
    if abs(found - told) > FEW_PICTURES and not any_count:
        raise InputError(
            f"{video}: found {found} whole pictures, but {told} stamps in frames.csv; "
            "one stamp for each picture is wanted; put back the files that belong together"
        )


def _try_first_picture(recording: Recording) -> None:
    """Whether pictures can be decoded at all, and whether they have the size of the calibration."""
    if next(recording.frames(grey=True), None) is None and recording.stamps is not None and len(recording.stamps.t_ns):
        raise InputError(f"{recording.video}: none of its pictures can be decoded; put the whole video there")
