"""What is painted on a deck: plain colour, planks, a hatch; crinkled foil."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.background import linear
from logger.simulator.boats import PAINTS
from logger.simulator.chance import stream
from logger.simulator.scene import Scene
from logger.simulator.window import Picture, Window

Floats = NDArray[np.float64]
_STEP_MM = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class Deck:
    """The deck's paint, laid out flat in the boat's frame, and how to see it in a picture."""

    paints: tuple[Picture, ...]
    """(rows, columns, 3) linear colour; columns run along x, rows along y, from the least x and y. Two for a deck that
    sparkles: it looks like one or the other depending on where it is."""
    least_mm: tuple[float, float]
    corners_mm: Floats
    """(4, 2) four outline points that fix where the paint goes."""
    corner_index: NDArray[np.int64]

    def seen(self, deck_px: Floats, window: Window, turn_rad: float) -> Picture:
        """The paint over a window, given the deck's outline (M, 2) in the picture and how the light meets the foil."""
        flat = (self.corners_mm - self.least_mm) / _STEP_MM
        there = deck_px[self.corner_index] - (window.left_px, window.top_px)
        lay = cv2.getPerspectiveTransform(flat.astype(np.float32), there.astype(np.float32))
        size, border = (window.width_px, window.height_px), cv2.BORDER_REPLICATE
        share = np.float32(np.sin(turn_rad) ** 2)
        paint = self.paints[0] if len(self.paints) == 1 else self.paints[0] * (1 - share) + self.paints[1] * share
        seen = cv2.warpPerspective(paint, lay, size, flags=cv2.INTER_LINEAR, borderMode=border)
        return np.asarray(seen, np.float32)


def deck_paint(scene: Scene) -> Deck:
    """The deck of the scene's boat."""
    outline = scene.hull.deck_mm
    least, most = outline.min(axis=0) - 3, outline.max(axis=0) + 3
    columns, rows = (np.ceil((most - least) / _STEP_MM).astype(int) + 1).tolist()
    x = least[0] + np.arange(columns) * _STEP_MM
    y = least[1] + np.arange(rows) * _STEP_MM
    rng = stream(scene.seed, "deck")
    base = linear(PAINTS[scene.paint])
    if scene.wishes.plain_deck:
        gains = [np.ones((rows, columns))]
    elif scene.paint == "foil":
        gains = [_foil(rows, columns, rng) for _ in range(2)]
    else:
        gains = [_planks(x, y, outline, rng)]
    paints = tuple(np.clip(base * gain[..., None], 0, 1).astype(np.float32) for gain in gains)
    index = _spread(outline)
    return Deck(paints, (float(least[0]), float(least[1])), outline[index], index)


def _spread(outline: Floats) -> NDArray[np.int64]:
    """Four outline points far apart: the farthest toward each of four diagonal directions."""
    size = np.ptp(outline, axis=0)
    ways = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) / size
    return np.asarray(np.argmax(outline @ ways.T, axis=0), np.int64)


def _planks(x: Floats, y: Floats, outline: Floats, rng: np.random.Generator) -> Floats:
    """Brush strokes and a darker hatch."""
    length, width = np.ptp(outline, axis=0)
    gain = 1.0 + 0.03 * np.sin(2 * np.pi * y / rng.uniform(8, 20) + rng.uniform(0, 6))[:, None] * np.ones(len(x))
    if rng.random() < 0.6:
        middle = rng.uniform(-0.25, 0.05) * length
        across = (np.abs(x - middle) < 0.12 * length)[None, :] & (np.abs(y) < 0.2 * width)[:, None]
        gain = np.where(across, gain * rng.uniform(0.55, 0.8), gain)
    return gain


def _foil(rows: int, columns: int, rng: np.random.Generator) -> Floats:
    """Crinkles: facets of different brightness with a few bright creases."""
    coarse = rng.uniform(0.6, 1.3, (rows // 16 + 3, columns // 16 + 3)).astype(np.float32)
    fine = rng.uniform(0.8, 1.2, (rows // 5 + 3, columns // 5 + 3)).astype(np.float32)
    facets = cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_LINEAR)
    facets = facets * cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_LINEAR)
    creases = cv2.GaussianBlur((rng.random((rows, columns)) > 0.997).astype(np.float32), (0, 0), 1.2) * 6
    return np.asarray(facets + creases, np.float64)
