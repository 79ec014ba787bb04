"""A new plane beside the one that was in use: what moves, what grows, and whether the frame was turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.plane_worth import sees
from calibration.waterplane import View


@dataclass(frozen=True, slots=True)
class Change:
    """A new plane beside the one that was in use."""

    most_mm: float
    """How far the place on the water that moved most has moved."""
    scale_ratio: float
    """New lengths over old ones."""
    is_turned: bool
    """Whether the run goes another way in the picture."""

    def told(self) -> str:
        """The difference as a sentence."""
        longer = round(self.scale_ratio - 1, 4) + 0.0  # a nought has no sign
        words = f"places move by up to {self.most_mm:.1f} mm, lengths by {longer:+.2%}"
        if self.is_turned:
            words += "; the run goes another way in the picture than before: were the marks typed in another order?"
        return words


def change(old: View, new: View, area_mm: ArrayLike) -> Change | None:
    """What is different in an area (N, 2) of the water for the same pixels; None for pictures of another size."""
    if (old.lens.width_px, old.lens.height_px) != (new.lens.width_px, new.lens.height_px):
        return None
    corners = np.asarray(area_mm, np.float64).reshape(-1, 2)
    places = corners[sees(new, corners)]
    if len(places) < 2:
        places = (corners + corners.mean(0)) / 2
    pixels = new.to_pixels(np.column_stack([places, np.zeros(len(places))]))
    before = old.to_plane(pixels)
    if not np.isfinite(before).all():
        return None
    spread_new, spread_old = (np.linalg.norm(p - p.mean(0)) for p in (places, before))
    ways = [view.to_pixels([[0.0, 0, 0], [100.0, 0, 0]]) for view in (old, new)]
    old_way, new_way = (way[1] - way[0] for way in ways)
    apart = float(np.linalg.norm(before - places, axis=1).max())
    return Change(apart, float(spread_new / spread_old) if spread_old > 0 else 1.0, bool(old_way @ new_way < 0))
