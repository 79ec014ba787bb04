"""Roughly where the one boat is in each of a row of small pictures.

In every picture the places that differ most from the empty tank, over an area of the boat's size, are candidates; the
cheapest path through them, by dynamic programming, is the boat. Differences enter as logarithms: a hand is a hundred
times more different than a pale boat and must not win by that alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.background import Grey, Mask, light_of
from logger.vision.plane import Singles

Floats = NDArray[np.float64]

_CANDIDATES = 6
_MISSING_COST = 0.75
_COST_PER_SIZE = 0.06
"""What a step of one boat size from one sparse picture to the next costs, against a score of at most 1."""
_LONGEST_GAP = 8
_FAINTEST_SIGMA = 3.0


@dataclass(frozen=True, slots=True)
class Sighting:
    """A place (u, v) in one small picture, pixels, and how strongly something is there."""

    u: float
    v: float
    strength: float
    """Mean logarithm of the excess over the noise."""


def differences(stack: Grey, empty: Singles) -> tuple[Singles, float]:
    """|picture/light − empty| (N, h, w), and the standard deviation of its noise, grey levels."""
    apart = np.empty(stack.shape, np.float32)
    for k, picture in enumerate(stack):
        apart[k] = np.abs(picture / np.float32(light_of(picture, empty)) - empty)
    noise = 1.4826 * float(np.median(apart[:, ::3, ::3]))
    return apart, max(noise, 0.5)


def size_of_largest(apart: Singles, noise: float) -> float:
    """Typical side (square root of the area, pixels) of the largest different thing; for boats of unknown size."""
    areas = []
    for picture in apart:
        _, _, stats, _ = cv2.connectedComponentsWithStats((picture > max(6 * noise, 10)).astype(np.uint8))
        if len(stats) > 1:
            areas.append(stats[1:, cv2.CC_STAT_AREA].max())
    return float(np.sqrt(np.median(areas))) if areas else 6.0


def find(apart: Singles, *, noise: float, size_px: float, tank: Mask | None = None) -> list[Sighting | None]:
    """The boat's path through N difference pictures (N, h, w), in order of time; None where it is not seen.

    Args:
        apart: differences to the empty tank.
        noise: their noise.
        size_px: the square root of the boat's area.
        tank: where a boat can be.
    """
    rows = [candidates(picture, noise=noise, size_px=size_px, tank=tank) for picture in apart]
    return path(rows, size_px=size_px)


def candidates(apart: Singles, *, noise: float, size_px: float, tank: Mask | None) -> list[Sighting]:
    """The places in one difference picture (h, w) where something of the boat's size is, strongest first."""
    evidence = np.log1p(np.maximum(apart / np.float32(noise) - _FAINTEST_SIGMA, 0))
    if tank is not None:
        evidence[~tank] = 0
    near, far = cv2.GaussianBlur(evidence, (0, 0), 0.45 * size_px), cv2.GaussianBlur(evidence, (0, 0), 1.1 * size_px)
    score = near - 0.8 * far
    found = []
    reach = max(2, round(0.8 * size_px))
    for _ in range(_CANDIDATES):
        _, strength, _, (u, v) = cv2.minMaxLoc(score)
        if strength <= 0.05:
            break
        found.append(Sighting(float(u), float(v), float(strength)))
        cv2.circle(score, (u, v), reach, 0.0, -1)
    return found


def path(candidates: list[list[Sighting]], *, size_px: float) -> list[Sighting | None]:
    """Cheapest path: a candidate costs 1 − its share of the best strength, a picture left out a fixed price."""
    best = max((c.strength for row in candidates for c in row), default=0.0)
    if best <= 0:
        return [None] * len(candidates)
    ends: list[tuple[float, int, int, int]] = []  # cost, picture, candidate, index of the one before in `ends`
    rows: list[range] = []
    for k, row in enumerate(candidates):
        start = len(ends)
        for j, here in enumerate(row):
            own = 1 - here.strength / best
            cost, before = k * _MISSING_COST, -1
            for back in range(max(0, k - _LONGEST_GAP), k):
                for e in rows[back]:
                    there = candidates[back][ends[e][2]]
                    step = np.hypot(here.u - there.u, here.v - there.v) / size_px
                    whole = ends[e][0] + (k - back - 1) * _MISSING_COST + _COST_PER_SIZE * step
                    if whole < cost:
                        cost, before = float(whole), e
            ends.append((cost + own, k, j, before))
        rows.append(range(start, len(ends)))
    found: list[Sighting | None] = [None] * len(candidates)
    if not ends:
        return found
    last = min(range(len(ends)), key=lambda e: ends[e][0] + (len(candidates) - 1 - ends[e][1]) * _MISSING_COST)
    while last >= 0:
        _, k, j, last = ends[last]
        found[k] = candidates[k][j]
    return found
