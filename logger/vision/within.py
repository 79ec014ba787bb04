"""A boat of the card's size within silhouettes that are larger than it.

A sail of the boat's own light that stands out beyond the hull is one thing with it in every silhouette, and pulls
middle and axis along. But wherever the sail stands out, the silhouette's border is the hull's edge for most of the way.
So usual shapes of the card's size are laid on the borders where most of their edge lies on one, and the shape that does
so best is where learning starts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background, outline
from logger.vision.background import Grey
from logger.vision.card import USUAL_FLARE, Card
from logger.vision.ground import SHRINK
from logger.vision.plane import Plane, Singles
from logger.vision.silhouette import silhouette
from logger.vision.survey import Survey

Floats = NDArray[np.float64]

_LARGER = 0.9
"""Silhouettes whose length or width is a smaller share of the card's do not hold the boat."""
_AROUND, _AROUND_PX = 0.75, 12.0
"""A silhouette is looked for so far around: as a share of the boat's length, and pixels."""
_FEWEST_COUNT, _TRIED_EVERY = 6, 5
"""So many pictures teach a look; which shape it is, is tried in one of so many."""
_LEAST_ON = 0.4
"""Less than this share of the likeliest shape lies on the borders of other things that are as large: glints, hands,
ripples (found on simulated pictures)."""
_AS_WELL = 0.9
"""A picture teaches if as large a share as this of what lies on the border in the best few does so in it."""
_EDGE_COUNT = 60
_GRID_PX, _MARGIN_PX = 0.9, 24.0
"""Step of the table of distances, and how far beyond the border it goes."""
_SEARCHES = ((28.0, 13, 0.3, 9, 4.0), (5.0, 5, 0.06, 5, 2.0), (1.8, 5, 0.025, 5, 1.2), (0.6, 5, 0.01, 5, 1.0))
"""Each finer one: how far to look (pixels) in so many steps, how far to turn (rad) in so many, and within how much of
the border an edge point lies on it (pixels)."""


@dataclass(frozen=True, slots=True, eq=False)
class Inner:
    """A boat of the card's size in K of a survey's pictures."""

    kept: NDArray[np.int64]
    """(K,) which of the pictures."""
    place_mm: Floats
    """(K, 2)"""
    heading_rad: Floats
    polygon_mm: Floats
    """(M, 2) its usual shape, boat frame."""

    def of(self, found: Survey) -> Survey:
        """What is left of the survey, or of the same in another film."""
        return replace(
            found, numbers=found.numbers[self.kept], pictures=[found.pictures[k] for k in self.kept],
            place_mm=self.place_mm, heading_rad=self.heading_rad, polygon_mm=self.polygon_mm,
        )  # fmt: skip


def within(found: Survey, plane: Plane, card: Card) -> Inner | None:
    """Where a boat of the card's size lies within silhouettes, in the pictures that show it best; None: in none.

    Args:
        found: with the pictures in which silhouettes are looked for.
        plane: on which its poses are.
        card: with the boat's length and width.
    """
    if card.length_mm is None or card.width_mm is None:
        return None
    length, width = outline.extents(found.polygon_mm)
    if length < _LARGER * card.length_mm or width < _LARGER * card.width_mm:
        return None
    borders = _borders(found, plane, card.length_mm)
    if len(borders) < _FEWEST_COUNT:
        return None
    starts = {k: np.array([*found.place_mm[k], found.heading_rad[k]]) for k in borders}
    tried = sorted(borders)[::_TRIED_EVERY]
    shapes = [(deck, has_wall) for deck in _usual(card.length_mm, card.width_mm) for has_wall in (True, False)]
    shares = [
        float(np.median([borders[k].laid(_seen(*shape, plane, starts[k]), starts[k])[1] for k in tried]))
        for shape in shapes
    ]
    best = shapes[int(np.argmax(shares))]
    laid = {k: borders[k].laid(_seen(*best, plane, starts[k]), starts[k]) for k in sorted(borders)}
    good = sorted(share for _, share in laid.values())[-_FEWEST_COUNT]
    if good < _LEAST_ON:
        return None
    kept = [k for k, (_, share) in laid.items() if share >= _AS_WELL * good]
    poses = np.array([laid[k][0] for k in kept])
    return Inner(np.array(kept, np.int64), poses[:, :2], poses[:, 2], best[0])


def _borders(found: Survey, plane: Plane, length_mm: float) -> dict[int, _Border]:
    """The silhouettes' borders, by the index of the picture."""
    step = plane.step_mm(plane.foot_mm)
    radius = _AROUND * length_mm / step + _AROUND_PX
    borders = {}
    for k, (picture, at) in enumerate(zip(found.pictures, plane.pixels(found.place_mm), strict=True)):
        seen = silhouette(
            picture, found.empty, centre_px=(float(at[0]), float(at[1])), radius_px=radius, noise=found.noise,
            light=_light(picture, found.empty),
        )  # fmt: skip
        if seen is not None:
            borders[k] = _Border(plane.points(seen.polygon_px), step)
    return borders


def _light(picture: Grey, empty: Singles) -> float:
    return background.light_of(picture[::SHRINK, ::SHRINK], empty[::SHRINK, ::SHRINK])


def _usual(length_mm: float, width_mm: float) -> list[Floats]:
    """Convex decks (M, 2) of that size around their centroids: with a pointed bow, a barge's, an ellipse."""
    u, turn = np.linspace(0, 1, 30), np.linspace(0, 2 * np.pi, _EDGE_COUNT, endpoint=False)
    half = np.vstack([[-1.0, -0.83], np.column_stack([1.1 * u - 0.1, u**2 - 1])])
    pointed = np.vstack([half, half[::-1] * (1, -1)])
    barge = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
    round_ = np.column_stack([np.cos(turn), np.sin(turn)])
    decks = [outline.convex(shape * (length_mm / 2, width_mm / 2)) for shape in (pointed, barge, round_)]
    return [deck - outline.moments(deck)[1] for deck in decks]


def _seen(deck: Floats, has_wall: bool, plane: Plane, pose: Floats) -> Floats:
    """(N, 2) edge, boat frame, of what is seen of a deck at about that pose: with its wall where that stands out."""
    if not has_wall:
        return outline.evenly(deck, _EDGE_COUNT)
    toward_foot = -(plane.z_mm / plane.height_mm) * (pose[:2] - plane.foot_mm)
    waterline = (1 - USUAL_FLARE) * deck + outline.turned(toward_foot[None], -float(pose[2]))
    return outline.evenly(outline.convex(np.vstack([deck, waterline])), _EDGE_COUNT)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Distances from a border, mm, on a grid of the plane."""

    distance_mm: Singles
    low_mm: Floats
    grid_mm: float


class _Border:
    """The border of one silhouette."""

    def __init__(self, points_mm: Floats, step_mm: float) -> None:
        self._step, grid = step_mm, _GRID_PX * step_mm
        low, high = points_mm.min(axis=0) - _MARGIN_PX * step_mm, points_mm.max(axis=0) + _MARGIN_PX * step_mm
        columns, rows = np.ceil((high - low) / grid).astype(int) + 1
        free = np.full((rows, columns), 255, np.uint8)
        at = np.round((points_mm - low) / grid).astype(int)
        free[at[:, 1], at[:, 0]] = 0
        distance = np.asarray(cv2.distanceTransform(free, cv2.DIST_L2, 5), np.float32) * np.float32(grid)
        self._table = _Table(distance, low, grid)

    def laid(self, edge_mm: Floats, start: Floats) -> tuple[Floats, float]:
        """Pose (3,) of an edge (N, 2) near a start (3,) at which most of it lies on the border, and how much does."""
        best, share = np.array(start, np.float64), 0.0
        for reach_px, places_count, turn_rad, turns_count, near_px in _SEARCHES:
            along = np.linspace(-reach_px, reach_px, places_count) * self._step
            turns = np.linspace(-turn_rad, turn_rad, turns_count)
            tried = best + np.stack(np.meshgrid(along, along, turns, indexing="ij"), axis=-1).reshape(-1, 3)
            shares = self._shares(edge_mm, tried, near_px * self._step)
            best, share = tried[int(shares.argmax())], float(shares.max())
        return best, share

    def _shares(self, edge_mm: Floats, poses: Floats, near_mm: float) -> Floats:
        """(P,) how much of the edge (N, 2) lies on the border at poses (P, 3)."""
        c, s = np.cos(poses[:, 2:]), np.sin(poses[:, 2:])
        x, y = edge_mm.T
        u, v = (
            ((at - low) / self._table.grid_mm).astype(np.float32)
            for at, low in zip(
                (poses[:, :1] + c * x - s * y, poses[:, 1:2] + s * x + c * y), self._table.low_mm, strict=True
            )
        )
        far = float(self._table.distance_mm.max())
        apart = cv2.remap(
            self._table.distance_mm, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=far
        )
        return np.asarray(np.exp(-((apart / near_mm) ** 2) / 2).mean(axis=1), np.float64)
