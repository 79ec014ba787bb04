"""One recording on disk, opened for reading. The files are described in FORMATS.md beside this module."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Rig, RunCard
from logger.records import Edge, Frame

RECORDING_FORMAT = "boatrun-recording/1"


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

    def frames(self) -> Iterator[Frame]:
        """Decode the video forwards, each frame with its own stamp."""
        raise FileNotFoundError(self.folder)  # filled in by the next change
