"""Still pictures of the rig's own camera, for calibrating: nothing is recorded, nothing is measured in time.

A still picture is the median of several within a second or two, in which ripples, noise and what passes by have gone.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.steady import still
from logger.drivers.interface import CameraDriver
from logger.errors import DriverError
from logger.records import Fault, Frame, Quiet

Grey = NDArray[np.uint8]
STILL_COUNT, STILL_EVERY_NS = 9, 150_000_000
NONE_AFTER_NS = 10_000_000_000
"""A camera that only says that it lives for so long sends no pictures at all."""


class _Enough:
    """A stop that is set by whoever takes the pictures."""

    def __init__(self) -> None:
        self.now = False

    def is_set(self) -> bool:
        return self.now


def take_stills(
    camera: CameraDriver,
    count: int = 1,
    *,
    every_s: float = 0.0,
    told: Callable[[str], None] = lambda _: None,
) -> list[Grey]:
    """So many still pictures of an opened camera, the first ones of each `every_s` after the one before.

    Args:
        camera: Opened.
        count: How many.
        every_s: From one to the next, by the camera's own stamps; time to move a board on.
        told: Is told as each is taken.

    Raises:
        DriverError: no pictures came, or fewer, and what the camera had to say.
    """
    stop = _Enough()
    done: list[Grey] = []
    kept: list[Frame] = []
    troubles: list[str] = []
    begun_ns = due_ns = None
    records: Any = camera.records(stop)
    with closing(records):
        for record in records:
            if isinstance(record, Fault):
                troubles.append(f"{record.what}; {record.cure}")
            if not isinstance(record, Frame | Quiet):
                continue
            begun_ns = record.t_ns if begun_ns is None else begun_ns
            if isinstance(record, Quiet):
                if not done and not kept and record.t_ns - begun_ns > NONE_AFTER_NS:
                    break
                continue
            if due_ns is not None and record.t_ns < due_ns:
                continue
            if not kept or record.t_ns - kept[-1].t_ns >= STILL_EVERY_NS:
                kept.append(record)
            if len(kept) < STILL_COUNT:
                continue
            done.append(still([_grey(frame) for frame in kept]))
            told(f"picture {len(done)} of {count} is taken")
            if len(done) == count:
                break
            due_ns, kept = kept[-1].t_ns + round(every_s * 1e9), []
    stop.now = True
    if kept and len(done) < count:
        done.append(still([_grey(frame) for frame in kept]))
    if len(done) < count:
        said = f" ({troubles[-1]})" if troubles else ""
        raise DriverError(
            f"camera: found {len(done)} of {count} still pictures{said}; wanted a camera that sends pictures; look at "
            "its cable, and that no other program uses it"
        )
    return done


def _grey(frame: Frame) -> Grey:
    image = frame.image
    return np.asarray(image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)
