"""The picture on the rig's page: what the camera sees of the water, with plane, lines, beams and zones drawn on it.

While a lesson is open, its crew holds the camera, and the newest of its pictures is shown. Otherwise one is taken when
somebody asks for it. Either way all beside the water is black before the picture leaves this module, and it is kept in
memory only.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.errors import InputError
from logger.guide.place_session import view_of
from logger.guide.stills_now import still_now
from logger.records import Frame
from logger.study.rig_seen import rig_seen
from logger.web.jobs import Job
from logger.web.language import N_, _
from logger.web.site import HOLDING, Site

How: TypeAlias = Literal["live", "taken", "silent", "free", "uncalibrated", "no_camera"]
"""Pictures come · one was taken · the crew has the camera but nothing new comes · nobody uses it · where the water is
in its pictures is not known · there is none."""
FRESH_S = 5.0
"""A picture older than this is none of now."""
NOT_CALIBRATED = N_(
    "the camera is not calibrated, so nobody knows where the water is in its picture; do the water plane first"
)
_QUALITY = 85


@dataclass(frozen=True, slots=True)
class _Taken:
    at: str
    jpeg: bytes


class RigPicture:
    """Of one rig. Calls may come from any thread."""

    def __init__(self, site: Site) -> None:
        self._site, self._lock = site, threading.Lock()
        self._taken: _Taken | None = None
        self._drawn: tuple[int, bytes] | None = None
        """Stamp of the picture that was drawn last, and what came of it: drawn once for all who look."""

    def how(self, rig: Rig) -> How:
        """What can be shown now. InputError: the calibration cannot be read."""
        if rig.camera is None or rig.camera.driver is None:
            return "no_camera"
        if view_of(rig, self._site.rig_file) is None:
            return "uncalibrated"
        if self._newest() is not None:
            return "live"
        if self._site.desk.board().state in HOLDING:
            return "silent"
        return "free" if self._taken is None else "taken"

    @property
    def taken_at(self) -> str:
        """Wall time of the picture that was taken; empty: none was."""
        return "" if self._taken is None else self._taken.at

    def jpeg(self) -> bytes | None:
        """The picture to be shown, as JPEG; None: there is none. InputError: where its water is cannot be told."""
        frame = self._newest()
        if frame is None:
            return None if self._taken is None or self._site.desk.board().state in HOLDING else self._taken.jpeg
        with self._lock:
            if self._drawn is None or self._drawn[0] != frame.t_ns:
                self._drawn = (frame.t_ns, self._draw(frame.image))
            return self._drawn[1]

    def take(self, job: Job) -> str:
        """Let the camera take one; where it is to be seen. LoggerError: why not."""
        job.say(_("the camera is opened; a picture of a second or two is taken"))
        still = still_now(self._site.rig(), self._site.rig_file)
        made = self._draw(still.grey)
        self._taken = _Taken(self._site.now().isoformat(sep=" ", timespec="minutes")[:16], made)
        return "/rig#picture"

    def _newest(self) -> Frame | None:
        frame = self._site.desk.picture()
        age_s = None if frame is None else self._site.news.age_s(frame.t_ns)
        return None if age_s is None or age_s > FRESH_S else frame

    def _draw(self, image: NDArray[np.uint8]) -> bytes:
        rig = self._site.rig()
        view = view_of(rig, self._site.rig_file)
        if view is None:
            raise InputError(_(NOT_CALIBRATED))
        done, data = cv2.imencode(".jpg", rig_seen(image, view, rig), (cv2.IMWRITE_JPEG_QUALITY, _QUALITY))
        assert done  # noqa: S101 - an array of bytes can be coded
        return data.tobytes()
