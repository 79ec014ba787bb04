"""Small painted pictures of a boat with known place: a prism under a pinhole camera, drawn finely and averaged down."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.config import Boat, Line, Rig, RunCard, Tank
from logger.recording.folder import FrameStamps, Recording

SUPER = 4


def camera(height_mm=1400.0, foot_mm=(600.0, 0.0), k1=-0.05, tilt_rad=0.02, size=(1280, 720), focal_px=900.0) -> View:
    """A camera that looks down on `foot_mm`, tilted a little about its x axis."""
    c, s = np.cos(tilt_rad), np.sin(tilt_rad)
    rotation = np.array([[1, 0, 0], [0, c, -s], [0, s, c]]) @ np.diag([1.0, -1.0, -1.0])
    place = np.array([*foot_mm, height_mm])
    lens = Lens(*size, focal_px, focal_px, (size[0] - 1) / 2, (size[1] - 1) / 2, k1=k1)
    return View(lens, Pose(rotation, -rotation @ place))


@dataclass(frozen=True)
class Toy:
    """A pointed prism: waterline outline, deck `flare` times as large, `freeboard_mm` higher."""

    length_mm: float = 200.0
    width_mm: float = 80.0
    freeboard_mm: float = 20.0
    flare: float = 1.03
    deck: float = 60.0
    wall: float = 85.0
    outline_mm: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        u = np.linspace(0, 1, 30)
        right = np.column_stack([np.concatenate([[-1], -0.1 + 1.1 * u]), -np.concatenate([[0.8], 1 - u**2])])
        half = right * (self.length_mm / 2, self.width_mm / 2)
        polygon = np.vstack([half, half[::-1] * (1, -1)])
        following = np.roll(polygon, -1, axis=0)
        cross = polygon[:, 0] * following[:, 1] - following[:, 0] * polygon[:, 1]
        centroid = ((polygon + following) * cross[:, None]).sum(axis=0) / (3 * cross.sum())
        object.__setattr__(self, "outline_mm", polygon - centroid)


def floor(view: View, level=170.0, tape_x_mm=600.0, seed=0) -> np.ndarray:
    """An empty picture: even floor with faint tiles and one dark tape line, float32."""
    rows, columns = view.lens.height_px, view.lens.width_px
    rng = np.random.default_rng(seed)
    picture = np.full((rows, columns), level, np.float32)
    picture += cv2.resize(rng.normal(0, 6, (9, 16)).astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    strip = view.to_pixels([[tape_x_mm + dx, y, 0] for dx, y in ((-10, -450), (10, -450), (10, 450), (-10, 450))])
    cv2.fillPoly(picture, [np.round(strip * 16).astype(np.int32)], level - 80, cv2.LINE_AA, 4)
    return picture


def _light(level):
    """Light of picture numbers: it is light that mixes on a pixel."""
    return np.asarray(255 * (np.asarray(level, np.float32) / 255) ** 2.2, np.float32)


_LIT: list[tuple[np.ndarray, np.ndarray]] = []
"""The last empty picture, and its light: a film is painted upon one and the same, which nobody changes."""


def _light_of(empty: np.ndarray) -> np.ndarray:
    if not _LIT or _LIT[0][0] is not empty:
        _LIT[:] = [(empty, _light(empty))]
    return _LIT[0][1]


def paint(view: View, toy: Toy, empty: np.ndarray, *, x_mm, y_mm, heading_rad, noise=1.2, rng=None, blur_px=0.7):
    """One grey picture (uint8) with the boat's waterline centroid at (x, y)."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    base = toy.outline_mm @ np.array([[c, s], [-s, c]]) + (x_mm, y_mm)
    deck = (toy.outline_mm * toy.flare) @ np.array([[c, s], [-s, c]]) + (x_mm, y_mm)
    base_px = view.to_pixels(np.column_stack([base, np.zeros(len(base))]))
    deck_px = view.to_pixels(np.column_stack([deck, np.full(len(deck), toy.freeboard_mm)]))
    both = np.vstack([base_px, deck_px]).astype(np.float32)
    low = np.floor(both.min(axis=0)).astype(int) - 8
    high = np.ceil(both.max(axis=0)).astype(int) + 9
    low, high = np.maximum(low, 0), np.minimum(high, (empty.shape[1], empty.shape[0]))
    bare = _light_of(empty)
    window = bare[low[1] : high[1], low[0] : high[0]].copy()
    side = cv2.convexHull(both)[:, 0]
    for polygon, level in ((side, toy.wall), (deck_px, toy.deck)):
        cover = np.zeros((window.shape[0] * SUPER, window.shape[1] * SUPER), np.uint8)
        inside = (polygon - low + 0.5) * SUPER - 0.5
        cv2.fillPoly(cover, [np.round(inside * 256).astype(np.int32)], 255, cv2.LINE_8, 8)
        share = (
            cv2.resize(cover, None, fx=1 / SUPER, fy=1 / SUPER, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        )
        window = window + share * (_light(level) - window)
    picture = bare.copy()
    picture[low[1] : high[1], low[0] : high[0]] = window
    if blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    picture = 255 * (picture / 255) ** (1 / 2.2)
    if rng is not None and noise:
        picture = picture + rng.normal(0, noise, picture.shape).astype(np.float32)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def run(folder, toy: Toy, places, headings, *, view=None, card=None, seed=0, noise=1.2, empty=None, quality=88):
    """A recording (not a whole folder) of the toy at `places` (N, 2), `headings` (N,), one picture every 33.3 ms."""
    view = view or camera()
    empty = floor(view) if empty is None else empty
    rng = np.random.default_rng(seed)
    video = folder / "video.mjpeg"
    with video.open("wb") as file:
        for (x, y), heading in zip(places, headings, strict=True):
            picture = paint(view, toy, empty, x_mm=x, y_mm=y, heading_rad=heading, rng=rng, noise=noise)
            file.write(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes())
    count = len(places)
    stamps = FrameStamps(
        np.arange(count, dtype=np.int64) * 33_333_333, np.full(count, 4_000_000), np.full(count, 20_000)
    )
    boat = card or Boat(
        "toy",
        length_mm=toy.length_mm * toy.flare,
        width_mm=toy.width_mm * toy.flare,
        freeboard_mm=toy.freeboard_mm,
    )
    start = Line("start", "start", (0.0, -300.0), (0.0, 300.0))
    finish = Line("finish", "finish", (1000.0, -300.0), (1000.0, 300.0))
    rig = Rig(
        "painted", Tank(((-300.0, -400.0), (1400.0, -400.0), (1400.0, 400.0), (-300.0, 400.0)), 100.0), (start, finish)
    )
    recorded = RunCard("painted", "straight", "2026-01-01T00:00:00Z", boat)
    return Recording(folder, recorded, rig, view, "painted", (), (), stamps, video), rig


def voyage(count=150, rest=40, start_mm=-130.0, end_mm=1000.0):
    """Places and headings of a run: at rest, away in a slight curve, at rest again."""
    s = np.clip((np.arange(count) - rest) / max(count - 2 * rest, 1), 0, 1)
    s = s * s * (3 - 2 * s)
    x = start_mm + s * (end_mm - start_mm)
    y = 40 + 50 * np.sin(s * 2.2)
    return np.column_stack([x, y]), np.arctan2(50 * 2.2 * np.cos(s * 2.2), end_mm - start_mm)
