"""Outside pictures written as recordings, the way somebody else's program would: plain text beside the video."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True, slots=True)
class Dish:
    """A round vessel under a camera that looks straight down, at an invented but fixed scale."""

    width_px: int
    height_px: int
    centre_px: tuple[float, float]
    radius_px: float
    mm_per_px: float
    height_mm: float = 2000.0

    def outline_mm(self, corners_count: int = 48) -> list[list[float]]:
        radius = self.radius_px * self.mm_per_px
        angles = (2 * math.pi * i / corners_count for i in range(corners_count))
        return [[round(radius * math.cos(a), 1), round(radius * math.sin(a), 1)] for a in angles]


CAMERA = """\
format = "boatrun-camera/1"
[lens]
width_px = {width_px}
height_px = {height_px}
fx_px = {focal_px}
fy_px = {focal_px}
cx_px = {centre_px[0]}
cy_px = {centre_px[1]}
[pose]
rotation = [[1, 0, 0], [0, -1, 0], [0, 0, -1]]
camera_mm = [0, 0, {height_mm}]
"""
RIG = """\
format = "boatrun-rig/1"
name = "a dish on a table"
[tank]
outline_mm = {outline_mm}
water_depth_mm = 10
[[lines]]
name = "start"
role = "start"
a_mm = [{start_mm}, {low_mm}]
b_mm = [{start_mm}, {high_mm}]
[camera]
calibration = "camera.toml"
"""
CARD = """\
format = "boatrun-recording/1"
id = "{name}"
kind = "distance"
recorded_at = "2026-01-01T12:00:00Z"
[boat]
name = "{name}"
{boat}
[conditions]
power = "unknown"
[rules]
time_cap_s = 600
"""


@pytest.fixture(scope="session")
def as_recording(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Writes one: `as_recording(name, video=..., dish=..., stamps_ns=..., boat=...)` gives its folder."""

    def write(name: str, *, video: Path, dish: Dish, stamps_ns: list[int], boat: str) -> Path:
        folder = tmp_path_factory.mktemp("outside") / name
        folder.mkdir()
        shutil.copyfile(video, folder / f"video{video.suffix}")
        lines = [f"{number},{t_ns}" for number, t_ns in enumerate(stamps_ns)]
        (folder / "frames.csv").write_text("frame,t_ns\n" + "\n".join(lines) + "\n", encoding="ascii")
        radius_mm = dish.radius_px * dish.mm_per_px
        camera = CAMERA.format(
            width_px=dish.width_px, height_px=dish.height_px, centre_px=dish.centre_px, height_mm=dish.height_mm,
            focal_px=dish.height_mm / dish.mm_per_px,
        )  # fmt: skip
        rig = RIG.format(
            outline_mm=dish.outline_mm(), start_mm=-radius_mm / 2, low_mm=-radius_mm * 0.8, high_mm=radius_mm * 0.8
        )
        (folder / "camera.toml").write_text(camera, encoding="utf-8")
        (folder / "rig.toml").write_text(rig, encoding="utf-8")
        (folder / "recording.toml").write_text(CARD.format(name=name, boat=boat), encoding="utf-8")
        return folder

    return write


@pytest.fixture(scope="session")
def a_dish() -> type[Dish]:
    return Dish
