"""Hull shapes seen from above, with their exact moments."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Shape: TypeAlias = Literal["pointed", "tray", "round"]


@dataclass(frozen=True, slots=True, eq=False)
class Hull:
    """A boat's body. Boat frame: x forward from the waterline centroid, y to the left, z up from the water; mm."""

    outline_mm: Floats
    """(M, 2) convex waterline outline, anticlockwise; its area centroid is the origin."""
    deck_scale: float
    """Deck outline over waterline outline: more than 1 for sides that lean outward."""
    freeboard_mm: float
    draught_mm: float

    @property
    def deck_mm(self) -> Floats:
        """(M, 2) outline at the height of the deck."""
        return self.outline_mm * self.deck_scale

    def support_mm(self, angle_rad: Floats) -> Floats:
        """(N,) how far the waterline reaches from the centroid in directions at `angle_rad` (N,) from the bow."""
        direction = np.stack([np.cos(angle_rad), np.sin(angle_rad)])
        reach: Floats = (self.outline_mm @ direction).max(axis=0)
        return reach

    def foremost_mm(self, angle_rad: Floats) -> Floats:
        """(N, 2) the waterline point that reaches farthest in each direction, boat frame."""
        direction = np.stack([np.cos(angle_rad), np.sin(angle_rad)])
        point: Floats = self.outline_mm[(self.outline_mm @ direction).argmax(axis=0)]
        return point


def area_and_centroid(polygon: Floats) -> tuple[float, Floats]:
    """Signed area and area centroid (2,) of a simple polygon (N, 2), by the shoelace sums."""
    following = np.roll(polygon, -1, axis=0)
    cross = polygon[:, 0] * following[:, 1] - following[:, 0] * polygon[:, 1]
    area = float(cross.sum() / 2)
    centroid: Floats = ((polygon + following) * cross[:, None]).sum(axis=0) / (6 * area)
    return area, centroid


def outline(shape: Shape, *, length_mm: float, width_mm: float, stern: float = 0.85, fullness: float = 2.0) -> Floats:
    """(M, 2) convex outline, anticlockwise, centroid at the origin, bow toward +x.

    Args:
        shape: pointed bow and flat stern, a box with small round corners, or an ellipse.
        length_mm: overall length.
        width_mm: greatest width.
        stern: width of the flat stern over the greatest width (pointed only).
        fullness: power of the bow's curve: 1 is a straight wedge, larger is fuller (pointed only).
    """
    half = {"pointed": _pointed, "tray": _tray, "round": _round}[shape]
    right = half(stern, fullness) * (length_mm / 2, width_mm / 2)
    left = right[::-1] * (1, -1)
    both = np.vstack([right, left])
    keep = np.hypot(*(both - np.roll(both, 1, axis=0)).T) > 1e-9
    polygon: Floats = both[keep]
    return polygon - area_and_centroid(polygon)[1]


def _pointed(stern: float, fullness: float) -> Floats:
    """Right-hand side from stern to bow, x and y within ±1."""
    back = np.linspace(0, 1, 25)
    aft = np.column_stack([-1 + 0.9 * back, -(stern + (1 - stern) * (1 - (1 - back) ** 2))])
    # closely spaced near the tip, where the curve turns most
    fore = 1 - (1 - np.linspace(0, 1, 33)[1:]) ** 1.5
    return np.vstack([aft, np.column_stack([-0.1 + 1.1 * fore, -(1 - fore**fullness)])])


def _tray(_stern: float, _fullness: float) -> Floats:
    """A box whose corners are rounded by a twelfth of its half length and half width."""
    turn = np.linspace(0, np.pi / 2, 7)
    aft = np.column_stack([-1 + (1 - np.cos(turn)) / 12, -1 + (1 - np.sin(turn)) / 12])
    fore = aft[::-1] * (-1, 1)
    return np.vstack([aft, np.linspace(aft[-1], fore[0], 17)[1:-1], fore])


def _round(_stern: float, _fullness: float) -> Floats:
    """Half an ellipse."""
    turn = np.linspace(-np.pi, 0, 49)
    return np.column_stack([np.cos(turn), np.sin(turn)])
