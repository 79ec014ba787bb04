"""Still pictures of what the rig's own camera sees now."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from logger.config import Rig
from logger.drivers import open_driver
from logger.drivers.interface import CameraDriver
from logger.errors import InputError
from logger.recording.stills import Still
from logger.station.stills import take_stills


def still_now(rig: Rig, path: Path) -> Still:
    """One picture, the median of several; `path` is the rig file, for words.

    Raises:
        InputError: the rig has no camera that can be asked.
        DriverError: it sends no pictures.
    """
    with camera_of(rig, path) as eye:
        return Still("live", take_stills(eye, 1)[0])


def stills_now(
    rig: Rig, path: Path, count: int, *, name: str, every_s: float = 0.0, told: Callable[[str], None] = lambda _: None
) -> list[Still]:
    """So many pictures, one every `every_s`; `told` is told of each. Raises as `still_now`."""
    with camera_of(rig, path) as eye:
        taken = take_stills(eye, count, every_s=every_s, told=told)
    return [Still(f"{name} {number}", grey) for number, grey in enumerate(taken, 1)]


def camera_of(rig: Rig, path: Path) -> CameraDriver:
    """The rig's camera, to be opened by `with`. InputError: there is none, or it sends no pictures."""
    if rig.camera is None or rig.camera.driver is None:
        raise InputError(f"{path}: there is no [camera.driver]; wanted a camera to take pictures with")
    choice = rig.camera.driver
    eye = open_driver(choice.kind, choice.options, name="camera", place=str(path))
    if not hasattr(eye, "records") or hasattr(eye, "switch"):
        raise InputError(f'{path}: camera.driver: "{choice.kind}" sends no pictures; wanted a camera; change its kind')
    camera: CameraDriver = eye
    return camera
