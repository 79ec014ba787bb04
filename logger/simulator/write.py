"""A simulated recording as a folder, in the form of any recording, with its truth beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import cv2

from logger import settings
from logger.errors import InputError
from logger.recording.card_toml import card_text
from logger.recording.rig_toml import rig_text
from logger.simulator import gates, tag_seen, told, truth
from logger.simulator.painter import Painter
from logger.simulator.run import events
from logger.simulator.scene import Scene


def write(scene: Scene, folder: Path, *, video: bool = True) -> None:
    """Write `scene` as a recording.

    Raises:
        InputError: `folder` exists and is not empty.
    """
    if folder.exists() and any(folder.iterdir()):
        raise InputError(f"{folder}: found files in it; wanted a new or empty folder; choose another name")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "recording.toml").write_text(card_text(told.card(scene)), encoding="utf-8")
    (folder / "rig.toml").write_text(rig_text(told.rig(scene)), encoding="utf-8")
    (folder / told.CAMERA_FILE).write_text(settings.dump(told.camera_table(scene)), encoding="utf-8")
    (folder / "edges.csv").write_text(_edges_text(scene), encoding="utf-8")
    (folder / "events.csv").write_text(_events_text(scene), encoding="utf-8")
    (folder / "truth.csv").write_text(truth.track_text(scene), encoding="utf-8")
    (folder / "truth.json").write_text(json.dumps(truth.summary(scene), indent=1) + "\n", encoding="utf-8")
    if scene.tag is not None:
        (folder / "truth_tag.csv").write_text(tag_seen.seen_text(scene, scene.tag), encoding="utf-8")
    if video:
        (folder / "frames.csv").write_text(_frames_text(scene), encoding="utf-8")
        with (folder / "video.mjpeg").open("wb") as file:
            file.writelines(jpegs(scene))


def jpegs(scene: Scene) -> Iterator[bytes]:
    """Every frame of the scene as the camera compresses it."""
    painter = Painter(scene)
    quality = scene.tier.jpeg_quality if scene.wishes.jpeg_quality is None else scene.wishes.jpeg_quality
    for number in range(len(scene.shutter.begins_ns)):
        _, packed = cv2.imencode(".jpg", painter.frame(number), (cv2.IMWRITE_JPEG_QUALITY, quality))
        yield packed.tobytes()


def stamps_ns(scene: Scene) -> list[int]:
    """The stamp of every frame: start of exposure of its first row, late by the camera's delay."""
    return [scene.epoch_ns + int(begin) + scene.shutter.delay_ns for begin in scene.shutter.begins_ns]


def _frames_text(scene: Scene) -> str:
    shutter = scene.shutter
    rows = [f"{n},{t_ns},{shutter.exposure_ns},{shutter.line_ns}" for n, t_ns in enumerate(stamps_ns(scene))]
    return "\n".join(["frame,t_ns,exposure_ns,line_ns", *rows]) + "\n"


def _edges_text(scene: Scene) -> str:
    rows = [f"{edge.t_ns},{edge.gate},{int(edge.blocked)}" for edge in gates.edges(scene)]
    return "\n".join(["t_ns,gate,level", *rows]) + "\n"


def _events_text(scene: Scene) -> str:
    rows = [f"{t_ns},{name},simulated," for t_ns, name in events(scene)]
    return "\n".join(["t_ns,event,source,detail", *rows]) + "\n"
