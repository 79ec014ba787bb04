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
from logger.vision.ground import SHRINK
from logger.vision.plane import Singles

Floats = NDArray[np.float64]

_CANDIDATES = 6
_MISSING_COST = 0.75
_COST_PER_SIZE = 0.06
"""What a step of one boat size from one sparse picture to the next costs, against a score of at most 1."""
_LONGEST_GAP = 8
_FAINTEST_SIGMA = 3.0
_STRONG, _ARM_SIZES = 1.0, 1.6
"""Evidence that belongs to a thing, and how many boats large a thing that reaches in over the rim is an arm."""
_NARROW_PX = 3.0
"""Narrower blurs are exact: that is as quick, and odd widths are too coarse for them."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A place (u, v) in one small picture, pixels, and how strongly something is there."""

    u: float
    v: float
    strength: float
    """Mean logarithm of the excess over the noise."""


def shrunk(picture: Grey) -> Grey:
    """The picture SHRINK times smaller each way, by way of half its size, which is quicker."""
    height, width = picture.shape
    half = cv2.resize(picture, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    small = cv2.resize(half, (width // SHRINK, height // SHRINK), interpolation=cv2.INTER_AREA)
    return small.astype(np.uint8, copy=False)


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
        evidence[_arms(evidence, tank, most_px=_ARM_SIZES * size_px**2)] = 0
    score = _blurred(evidence, 0.45 * size_px) - 0.8 * _blurred(evidence, 1.1 * size_px)
    found = []
    reach = max(2, round(0.8 * size_px))
    for _ in range(_CANDIDATES):
        _, strength, _, (u, v) = cv2.minMaxLoc(score)
        if strength <= 0.05:
            break
        found.append(Sighting(float(u), float(v), float(strength)))
        cv2.circle(score, (u, v), reach, 0.0, -1)
    return found


def _arms(evidence: Singles, tank: Mask, *, most_px: float) -> Mask:
    """Where something larger than `most_px` pixels reaches in over the rim: an arm, with what it holds."""
    strong = (evidence > _STRONG).astype(np.uint8)
    rim = tank & (cv2.erode(tank.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0)
    if not strong[rim].any():
        return np.zeros(tank.shape, bool)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(strong, connectivity=8)
    touching = np.zeros(count, bool)
    touching[np.unique(labels[rim])] = True
    is_arm = touching & (stats[:, cv2.CC_STAT_AREA] > most_px)
    is_arm[0] = False
    arms: Mask = is_arm[labels]
    return arms


def _blurred(evidence: Singles, sigma_px: float) -> Singles:
    """A Gauss blur, if wide only nearly: three running means, whose cost does not grow with their width.

    Outside the picture there is no evidence. Were the edge a mirror, a thing near it and its image would draw the
    strongest place to the edge itself.
    """
    if sigma_px < _NARROW_PX:
        exact = cv2.GaussianBlur(evidence, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(exact, np.float32)
    for width in _widths(sigma_px):
        evidence = np.asarray(cv2.blur(evidence, (width, width), borderType=cv2.BORDER_CONSTANT), np.float32)
    return evidence


def _widths(sigma_px: float) -> list[int]:
    """Odd widths of three running means, two sizes at most, that blur most nearly by `sigma_px`.

    A running mean of width w has the variance (w² − 1)/12; variances add.
    """
    less = 2 * int((np.sqrt(4 * sigma_px**2 + 1) - 1) / 2) + 1
    wider = round((12 * sigma_px**2 - 3 * (less**2 - 1)) / (4 * less + 4))
    return [less] * (3 - wider) + [less + 2] * wider


def path(candidates: list[list[Sighting]], *, size_px: float) -> list[Sighting | None]:
    """Cheapest path: a candidate costs 1 − its share of the best strength, a picture left out a fixed price."""
    best = max((c.strength for row in candidates for c in row), default=0.0)
    if best <= 0:
        return [None] * len(candidates)
    every = [(k, seen) for k, row in enumerate(candidates) for seen in row]
    picture = np.array([k for k, _ in every])
    place = np.array([(seen.u, seen.v) for _, seen in every])
    own = 1 - np.array([seen.strength for _, seen in every]) / best
    whole, before = _cheapest(picture, place / size_px, own)
    found: list[Sighting | None] = [None] * len(candidates)
    last = int(np.argmin(whole + (len(candidates) - 1 - picture) * _MISSING_COST))
    while last >= 0:
        found[picture[last]] = every[last][1]
        last = before[last]
    return found


def _cheapest(picture: NDArray[np.int64], place: Floats, own: Floats) -> tuple[Floats, list[int]]:
    """Cost of the cheapest path that ends at each of N candidates, and the candidate before it (-1: none).

    Args:
        picture: (N,) in which picture, rising.
        place: (N, 2) in boat sizes.
        own: (N,) cost of the candidate itself.
    """
    before = [-1] * len(picture)
    whole = np.asarray(picture * _MISSING_COST, np.float64)
    for k in np.unique(picture):
        here = np.flatnonzero(picture == k)
        there = np.flatnonzero((picture < k) & (picture >= k - _LONGEST_GAP))
        if len(there):
            step = np.hypot(*np.moveaxis(place[here, None] - place[there], -1, 0))
            through = whole[there] + (k - picture[there] - 1) * _MISSING_COST + _COST_PER_SIZE * step
            least = np.argmin(through, axis=1)
            for row, (end, j) in enumerate(zip(here, least, strict=True)):
                if through[row, j] < whole[end]:
                    whole[end], before[end] = through[row, j], int(there[j])
        whole[here] += own[here]
    return whole, before
