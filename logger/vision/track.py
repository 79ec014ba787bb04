"""The track of one run: what the camera saw of one boat, frame by frame, before any smoothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MEASURED, BRIDGED, DOUBTFUL = 0, 1, 2
QUALITY_WORDS = ("measured", "bridged", "doubtful")


@dataclass(frozen=True, slots=True)
class Touch:
    """Something touched the boat and changed its speed."""

    from_ns: int
    to_ns: int
    """From when to when its speed changed."""
    change_mm_per_s: float
    """By how much, > 0, in whatever direction."""


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """N fixes in order of time. Positions are the waterline centroid on the water plane, tank frame, mm.

    Random doubt (new in every frame) is in `noise_mm2`; doubt that is the same in all frames (freeboard, calibration)
    is in `shifts_mm`: for each named source, by how much every fix would move if that source were off by one standard
    uncertainty. A measure f gets its contribution from source s as f(track + shift_s) − f(track).
    """

    t_ns: NDArray[np.int64]
    """(N,) mid-exposure at the boat's own picture row, camera delay removed; strictly increasing."""
    x_mm: Floats
    y_mm: Floats
    heading_rad: Floats
    """(N,) direction of the bow, anticlockwise from +x, continuous (not wrapped)."""
    noise_mm2: Floats
    """(N, 2, 2) covariance of the random part."""
    u_heading_rad: Floats
    quality: NDArray[np.uint8]
    """(N,) MEASURED, BRIDGED or DOUBTFUL."""
    frame: NDArray[np.int64]
    """(N,) number of the frame in the recording, from 0."""
    outline_mm: Floats
    """(M, 2) convex waterline outline in the boat's frame: x forward from the centroid, y to the left."""
    u_outline_mm: float
    """Standard uncertainty of the outline's reach in any direction (the same in all frames)."""
    shifts_mm: Mapping[str, Floats] = field(default_factory=dict)
    """Source name -> (N, 2)."""
    frames_seen_count: int = 0
    """How many frames the recording has between arming and end; N is less where frames were lost."""
    flags: tuple[str, ...] = ()
    """Doubts about the whole track, in words."""
    touches: tuple[Touch, ...] = ()
    """In order of time, whenever they were: a hand at rest on a boat is none, nor is one that lets it go."""


@dataclass(frozen=True, slots=True)
class NotFound:
    """No track could be made; false, and says why."""

    reason: str

    def __bool__(self) -> bool:
        return False
