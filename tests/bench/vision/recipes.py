"""Stock recipes, as anybody would put them together from OpenCV's parts (common practice, no source).

Each is given more than the instrument has: the true camera, the true freeboard, where the boat truly is in the first
picture, and 15 pictures in which it stands at even steps along its way. What it answers for a picture is read on the
plane z = 0.7 × freeboard. None of them says when it is in doubt.

- *subtractor*: MOG2 background subtraction, the centroid of the largest contour.
- *difference*: a fixed background (median of the 15 pictures), Otsu's threshold, small gaps closed, the centroid of the
  largest contour.
- *template*: the boat as in the first picture, matched around its last place, and everywhere after a miss; an answer
  below 0.5 is a miss.
- *flow*: corners on the boat in the first picture, followed from picture to picture; their median step.
- *squares*: OpenCV's own detector of printed squares, four corners read at the height of the print; tagged boats only.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import tags
from calibration.waterplane import View
from logger.recording.folder import Recording

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]
LOST_MM = 100.0
"""An answer farther away than this has not got the boat at all: lost."""

_LEAST_PX2 = 50
_LEAST_THRESHOLD = 15
_BACKGROUND_COUNT = 15
_LEAST_MATCH = 0.5
_REACH_PX = 40
_FEWEST_POINTS = 5
_BRUSH, _WIDE_BRUSH = np.ones((3, 3), np.uint8), np.ones((9, 9), np.uint8)


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """What a recipe is told."""

    video: Path
    view: View
    height_mm: float
    start_px: Floats
    """(2,) the boat's reference point in the first picture."""
    outline_px: Floats
    """(N, 2) the boat in the first picture."""
    apart: frozenset[int]
    """Pictures in which it stands at even steps along its way."""
    tag: dict[str, Any] | None


def given(recording: Recording, facts: dict[str, Any], true: Floats) -> Given:
    """What the recipes are told of a clip."""
    view = recording.view
    assert view is not None
    assert recording.video is not None
    height_mm = 0.7 * facts["boat"]["freeboard_mm"]
    turn = np.radians(true[0, 4])
    ahead = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    outline = np.array(facts["boat"]["outline_mm"]) @ ahead.T + true[0, 2:4]
    points = np.vstack([true[0, 2:4], outline])
    pixels = view.to_pixels(np.column_stack([points, np.full(len(points), height_mm)]))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(true[:, 2:4], axis=0).T))])
    apart = frozenset(np.searchsorted(way, np.linspace(0, way[-1], _BACKGROUND_COUNT)).tolist())
    return Given(recording.video, view, height_mm, pixels[0], pixels[1:], apart, facts["boat"].get("tag"))


def pictures(video: Path) -> Iterator[tuple[int, Picture]]:
    """Every picture with its number, blue, green, red."""
    reader = cv2.VideoCapture(str(video))
    number = 0
    while (found := reader.read())[0]:
        yield number, np.asarray(found[1], np.uint8)
        number += 1
    reader.release()


def subtractor(told: Given) -> Floats:
    """(N, 3) picture, column, row."""
    remover = cv2.createBackgroundSubtractorMOG2(history=300, detectShadows=True)
    spots = []
    for number, picture in pictures(told.video):
        mask = (remover.apply(picture) == 255).astype(np.uint8)
        spots += _largest(number, mask)
    return _array(spots)


def difference(told: Given) -> Floats:
    """(N, 3) picture, column, row."""
    kept = [_grey(picture) for number, picture in pictures(told.video) if number in told.apart]
    empty = np.median(np.stack(kept), axis=0).astype(np.uint8)
    spots = []
    for number, picture in pictures(told.video):
        apart = cv2.absdiff(_grey(picture), empty)
        limit, _ = cv2.threshold(apart, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
        mask = (apart > max(limit, _LEAST_THRESHOLD)).astype(np.uint8)
        spots += _largest(number, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, _WIDE_BRUSH))
    return _array(spots)


def template(told: Given) -> Floats:
    """(N, 3) picture, column, row."""
    spots: list[tuple[int, float, float]] = []
    pattern = None
    left = upper = reach = 0
    for number, picture in pictures(told.video):
        grey = _grey(picture)
        if pattern is None:
            low = np.clip(told.outline_px.min(axis=0), 0, None).astype(int)
            high = np.ceil(told.outline_px.max(axis=0)).astype(int)
            pattern, (left, upper) = grey[low[1] : high[1], low[0] : high[0]].copy(), low
            to_point = told.start_px - low
        x, y = max(0, left - reach), max(0, upper - reach)
        near = grey[y : upper + pattern.shape[0] + reach, x : left + pattern.shape[1] + reach]
        _, best, _, where = cv2.minMaxLoc(cv2.matchTemplate(near, pattern, cv2.TM_CCOEFF_NORMED))
        reach = _REACH_PX if best >= _LEAST_MATCH else max(grey.shape)
        if best >= _LEAST_MATCH:
            left, upper = x + where[0], y + where[1]
            spots.append((number, left + float(to_point[0]), upper + float(to_point[1])))
    return _array(spots)


def flow(told: Given) -> Floats:
    """(N, 3) picture, column, row."""
    spots: list[tuple[int, float, float]] = []
    before, points, place = None, None, told.start_px.copy()
    for number, picture in pictures(told.video):
        grey = _grey(picture)
        if before is None:
            mask = np.zeros_like(grey)
            cv2.fillPoly(mask, [np.round(told.outline_px).astype(np.int32)], 255)
            points = cv2.goodFeaturesToTrack(grey, 60, 0.01, 4, mask=mask)
        elif points is not None:
            moved, found, _ = cv2.calcOpticalFlowPyrLK(before, grey, points, None)
            held = found.ravel() == 1
            step = (moved - points).reshape(-1, 2)[held]
            points = moved[held] if held.sum() >= _FEWEST_POINTS else None
            place = place + np.median(step, axis=0) if points is not None else place
        before = grey
        if points is not None:
            spots.append((number, float(place[0]), float(place[1])))
    return _array(spots)


def squares(told: Given) -> Floats:
    """(N, 3) picture, x, y in mm: the reference point that the true place of the tag on the boat gives."""
    tag = told.tag
    assert tag is not None
    detector = cv2.aruco.ArucoDetector(tags.dictionary())
    spots: list[tuple[int, float, float]] = []
    for number, picture in pictures(told.video):
        corners, numbers, _ = detector.detectMarkers(_grey(picture))
        for one, four in zip([] if numbers is None else np.ravel(numbers), corners, strict=True):
            if int(one) == tag["number"]:
                at = told.view.to_plane(np.asarray(four, float).reshape(4, 2), z_mm=tag["height_mm"])
                spots.append((number, *_reference(at, tag)))
                break
    return _array(spots)


def _reference(corners_mm: Floats, tag: dict[str, Any]) -> tuple[float, float]:
    across = corners_mm[0] + corners_mm[1] - corners_mm[2] - corners_mm[3]
    turn = np.arctan2(across[1], across[0]) - np.radians(tag["turn_deg"])
    ahead, left = tag["ahead_mm"], tag["left_mm"]
    x, y = corners_mm.mean(axis=0)
    return (
        float(x - ahead * np.cos(turn) + left * np.sin(turn)),
        float(y - ahead * np.sin(turn) - left * np.cos(turn)),
    )


RECIPES: dict[str, Callable[[Given], Floats]] = {
    "subtractor": subtractor,
    "difference": difference,
    "template": template,
    "flow": flow,
}
ONLY_SQUARES: dict[str, Callable[[Given], Floats]] = {"squares": squares}


@dataclass(frozen=True, slots=True)
class RecipeFigures:
    """What one recipe came to on one clip."""

    recipe: str
    rms_mm: float
    """Of the pictures in which it held the boat."""
    p95_mm: float
    lost_share: float
    silent_share: float
    """Wrong by more than 10 mm; no recipe marks its doubts."""
    spent_s: float
    speed_share: float
    """Time of decoding only over its time."""
    apart_mm: tuple[float, ...]
    """Every answer that holds the boat."""


def cooked(name: str, told: Given, true: Floats, *, decode_s: float, silent_mm: float) -> RecipeFigures:
    """Run one recipe on one clip and compare it with the truth."""
    recipe = {**RECIPES, **ONLY_SQUARES}[name]
    began = time.process_time()
    found = recipe(told)
    spent_s = time.process_time() - began
    found = found[found[:, 0] < len(true)]
    places = found[:, 1:]
    if len(found) and name not in ONLY_SQUARES:
        places = told.view.to_plane(places, z_mm=told.height_mm)
    apart = np.hypot(*(places - true[found[:, 0].astype(int), 2:4]).T)
    held = apart[apart < LOST_MM]
    return RecipeFigures(
        recipe=name,
        rms_mm=float(np.sqrt((held**2).mean())) if len(held) else float("nan"),
        p95_mm=float(np.percentile(held, 95)) if len(held) else float("nan"),
        lost_share=1 - len(held) / len(true),
        silent_share=float((apart > silent_mm).sum() / len(true)),
        spent_s=spent_s,
        speed_share=decode_s / spent_s,
        apart_mm=tuple(np.round(held, 3).tolist()),
    )


def _grey(picture: Picture) -> Picture:
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)


def _largest(number: int, mask: Picture) -> list[tuple[int, float, float]]:
    pieces, _ = cv2.findContours(
        cv2.morphologyEx(mask, cv2.MORPH_OPEN, _BRUSH), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    largest = max(pieces, key=cv2.contourArea, default=None)
    if largest is None or cv2.contourArea(largest) <= _LEAST_PX2:
        return []
    m = cv2.moments(largest)
    return [(number, m["m10"] / m["m00"], m["m01"] / m["m00"])]


def _array(spots: list[tuple[int, float, float]]) -> Floats:
    return np.array(spots, float).reshape(-1, 3)
