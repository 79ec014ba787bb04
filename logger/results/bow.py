"""The bow: the foremost waterline point of the boat in the direction in which it meets a line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.results.lines import Ahead
from logger.results.motion import Motion

Floats = NDArray[np.float64]


def reach(outline_mm: Floats, heading_rad: Floats, normal: Floats) -> tuple[Floats, Floats, Floats]:
    """How far the outline reaches from its centroid along `normal` (support function of a turned convex shape).

    Args:
        outline_mm: (M, 2) boat frame, x forward; with M = 0 the centroid stands for the boat.
        heading_rad: (k,)
        normal: unit vector (2,), tank frame.

    Returns:
        reach_mm (k,); its derivative by heading (k,), mm/rad; the foremost point (k, 2) from the centroid, tank frame.
    """
    if len(outline_mm) == 0:
        return np.zeros(len(heading_rad)), np.zeros(len(heading_rad)), np.zeros((len(heading_rad), 2))
    cos, sin = np.cos(heading_rad)[:, None], np.sin(heading_rad)[:, None]
    x = cos * outline_mm[:, 0] - sin * outline_mm[:, 1]
    y = sin * outline_mm[:, 0] + cos * outline_mm[:, 1]
    along, across = x * normal[0] + y * normal[1], x * normal[1] - y * normal[0]
    rows, foremost = np.arange(len(heading_rad)), np.argmax(along, axis=1)
    return along[rows, foremost], across[rows, foremost], np.column_stack([x[rows, foremost], y[rows, foremost]])


def past_line_mm(motion: Motion, line: Ahead) -> Floats:
    """(N,) how far the bow is past the line at the motion's own moments."""
    forward, _, _ = reach(motion.outline_mm, motion.heading_rad, line.normal)
    return line.past_mm(motion.place_mm) + forward


def past_line_at_mm(motion: Motion, line: Ahead, time_s: Floats) -> Floats:
    """(k,) the same at any moments."""
    forward, _, _ = reach(motion.outline_mm, motion.heading_at(time_s), line.normal)
    return line.past_mm(motion.states_at(time_s)[:, [0, 3]]) + forward
