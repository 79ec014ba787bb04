"""One run as it is drawn: a table of moments, with the numbers of the graphs already in the units of the page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """N moments in order of time. Arrays are (N,) except the outline."""

    t_s: Floats
    """Seconds after the zero of the graphs."""
    zero: str
    """What happened at the zero, in words: "the bow reached the start line"."""
    x_mm: Floats
    y_mm: Floats
    heading_rad: Floats
    along_m: Floats
    """How far the bow is past the start line, along the run; without a start line, along x."""
    u_along_m: Floats
    speed_m_per_s: Floats
    u_speed_m_per_s: Floats
    seen: NDArray[np.bool_]
    """False where the place was carried over a gap or may be something else."""
    outline_mm: Floats
    """(M, 2) waterline outline in the boat's frame, x forward."""

    def at(self, t_s: float, values: Floats) -> float:
        """`values` between the moments, in a straight line; the end values outside."""
        return float(np.interp(t_s, self.t_s, values))

    def outline_at(self, t_s: float) -> Floats:
        """The outline (M, 2) in the tank frame, mm, at time `t_s`."""
        heading = self.at(t_s, self.heading_rad)
        turn = np.array([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
        place: Floats = self.outline_mm @ turn + (self.at(t_s, self.x_mm), self.at(t_s, self.y_mm))
        return place
