"""A still picture of what the rig's own camera sees now."""

from __future__ import annotations

from pathlib import Path

from logger.config import Rig
from logger.drivers import open_driver
from logger.errors import InputError
from logger.recording.stills import Still
from logger.station.stills import take_stills


def still_now(rig: Rig, path: Path) -> Still:
    """One picture, the median of several; `path` is the rig file, for words.

    Raises:
        InputError: the rig has no camera that can be asked.
        DriverError: it sends no pictures.
    """
    if rig.camera is None or rig.camera.driver is None:
        raise InputError(f"{path}: there is no [camera.driver]; wanted a camera to take the picture with")
    choice = rig.camera.driver
    eye = open_driver(choice.kind, choice.options, name="camera", place=str(path))
    if not hasattr(eye, "records"):
        raise InputError(f'{path}: camera.driver: "{choice.kind}" sends no pictures; change its kind')
    with eye:
        return Still("live", take_stills(eye, 1)[0])
