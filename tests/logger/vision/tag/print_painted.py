"""Small painted pictures of a print with known place: drawn finely in light on its plane, averaged down, toned."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from logger.config import Tag
from logger.vision.plane import Plane
from tests.logger.vision.painted import camera

SUPER = 6
HEIGHT_MM = 25.0
SQUARE = Tag("square", number=7, size_mm=40.0, height_mm=HEIGHT_MM, bow_ahead_mm=90.0)
DISC = Tag("disc", size_mm=30.0, height_mm=HEIGHT_MM, bow_ahead_mm=90.0)


def plane() -> Plane:
    """Of the printed face, about 1.5 mm per pixel."""
    return Plane(camera(), HEIGHT_MM)


@dataclass(frozen=True)
class Sheet:
    """The black cells after OpenCV's own drawing, so that a mistake of ours in their order shows."""

    tag: Tag
    family: int = cv2.aruco.DICT_APRILTAG_16h5

    def light(self, x, y, deck=0.25):
        """Light of places (...) of the tag's frame: 0.75 paper, 0.05 ink, `deck` around."""
        half = self.tag.size_mm / 2
        if self.tag.kind == "disc":
            r = np.hypot(x, y)
            ink, paper = (r < half) & (r > 0.3 * half), r < 1.5 * half
        else:
            listed = cv2.aruco.getPredefinedDictionary(self.family)
            count = listed.markerSize + 2
            drawn = cv2.aruco.generateImageMarker(listed, self.tag.number, count) < 128
            row = np.clip(np.floor((half - x) / (2 * half) * count).astype(int), 0, count - 1)
            column = np.clip(np.floor((half - y) / (2 * half) * count).astype(int), 0, count - 1)
            on = (np.abs(x) < half) & (np.abs(y) < half)
            ink, paper = on & drawn[row, column], np.maximum(np.abs(x), np.abs(y)) < half * (1 + 2 / count)
        return np.where(ink, 0.05, np.where(paper, 0.75, deck))


def empty(level=150, size=(1280, 720)):
    """Nothing but an even floor."""
    return np.full((size[1], size[0]), level, np.uint8)


def paint(picture, on, tag, *, place_mm, heading_rad, smear_mm=(0.0, 0.0), noise=2.0, seed=0, cover=None, deck=None):
    """`picture` with the print at `place_mm` on the plane; `smear_mm` is its way during the exposure.

    `deck`: only the paper is painted, and the deck of that light that its blur mixes with.
    """
    reach = tag.size_mm * 1.3 + np.hypot(*smear_mm)
    corners = on.pixels(np.asarray(place_mm) + reach * np.array([[1, 1], [1, -1], [-1, -1], [-1, 1]], float))
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    u = (np.arange((right - left) * SUPER) + 0.5) / SUPER - 0.5 + left
    v = (np.arange((bottom - top) * SUPER) + 0.5) / SUPER - 0.5 + top
    pixels = np.stack(np.meshgrid(u, v), axis=-1)
    places = on.points(pixels.reshape(-1, 2)).reshape(pixels.shape)
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    moments = np.linspace(-0.5, 0.5, 9) if np.hypot(*smear_mm) else [0.0]
    light = 0
    for moment in moments:
        away = places - place_mm - moment * np.asarray(smear_mm)
        x, y = c * away[..., 0] + s * away[..., 1], c * away[..., 1] - s * away[..., 0]
        light = light + Sheet(tag).light(x, y, 0.25 if deck is None else deck)
    light = cv2.GaussianBlur(light / len(moments), (0, 0), 0.6 * SUPER)
    small = cv2.resize(light, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
    if cover is not None:
        small[cover(*np.indices(small.shape) / np.array(small.shape)[:, None, None])] = 0.3
    grey = 255 * small ** (1 / 2.2) + np.random.default_rng(seed).normal(0, noise, small.shape)
    painted = picture.copy()
    window = painted[top:bottom, left:right]
    inner = np.ones(window.shape, bool)
    if deck is not None:
        paper = np.maximum(np.abs(x), np.abs(y)) < tag.size_mm * 0.7
        inner = cv2.resize(paper.astype(np.float32), window.shape[::-1], interpolation=cv2.INTER_AREA) > 0.5
    window[inner] = np.clip(grey, 0, 255).astype(np.uint8)[inner]
    return painted
