"""How far a fit is moved by sides that are not quite as they were learnt.

On the side that faces the foot point the outermost thing to be seen of a boat is not its deck but the foot of its wall.
If freeboard or taper (hull.py) are off, the model's wall ends in the wrong place there, and pulls the whole fit along:
toward one end of the boat before the foot point, toward the other behind it.
"""

from __future__ import annotations

import numpy as np

from logger.vision.hull import Floats, Hull, look
from logger.vision.plane import Plane

_STIFF_HEADING = 1e-9
"""Keeps the heading of a round boat, which shows none, where it is."""


def pulled(hull: Hull, water: Floats, plane: Plane, *, place_mm: Floats, heading_rad: Floats) -> tuple[Floats, Floats]:
    """By how much fits move, to first order, because of the walls' feet alone.

    Args:
        hull: as it was learnt.
        water: (M,) light of the water beside each ray.
        plane: on which the boat was read.
        place_mm: (N, 2) fits on that plane.
        heading_rad: (N,) theirs.

    Returns:
        (N, 2) mm per mm of freeboard that is missing in the model, and (N, 2) mm per unit of taper that is.
    """
    slope = hull.freeboard_mm / plane.height_mm
    reach = hull.walls().reach(place_mm - plane.foot_mm, heading_rad, slope)
    beside = np.broadcast_to(water[None, :, None], (len(place_mm), *hull.noise.shape))
    drawn = look(hull, beside, reach.mm)
    weight = 1 / hull.noise**2
    stiff = (weight * drawn.by_shift**2).sum(axis=2)
    foot = (weight * drawn.by_shift * drawn.by_reach).sum(axis=2)
    c, s = np.cos(heading_rad)[:, None], np.sin(heading_rad)[:, None]
    nx, ny = hull.normal.T
    lever = np.stack([c * nx - s * ny, s * nx + c * ny, np.broadcast_to(hull.arms(), stiff.shape)], axis=-1)
    normal = np.swapaxes(lever * stiff[..., None], 1, 2) @ lever + np.diag([0.0, 0.0, _STIFF_HEADING])
    changes = [foot * reach.by_slope / plane.height_mm, foot * reach.by_taper]
    pull = np.stack([(lever * change[..., None]).sum(axis=1) for change in changes], axis=-1)
    moved = np.linalg.solve(normal, pull)[:, :2]
    return moved[..., 0], moved[..., 1]
