"""Where camera and beams go, before anything is drilled: from lens, tank and boats to heights, pixels and exposure.

A pinhole that looks straight down at height H over the water sees 2·H·tan(a/2) of it, for the full angle a. Three
things ask for more: a rim around the picture, the tilt that a stand is left with, and what rises above the water, which
at the edge is seen from aside and so leaves the picture first. Nothing here is measured; it says where to begin, and
how far off the beginning may be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from calibration.quantity import Quantity, Source

TILT_DEG = 2.0
"""What is left when a stand was levelled by eye and bubble (common practice, no source)."""
RIM_MM = 30.0
"""Water's edge to picture's edge: room for marks at the rim."""
FASTEST_MM_PER_S = 1250.0
BLUR_MM = 5.0
"""A boat may smear so far while the shutter is open (as in hardware/README.md)."""
TAG_CELLS_COUNT = 6
"""Cells along the black square of a printed tag (calibration/tags.py)."""
CELL_LEAST_PX = 3.0
"""A cell of a tag should be so large in the picture (common practice, no source)."""
CEILING_MM = 2400.0
"""A usual room's height; the camera with its arm needs some of it."""
CREST_MM, STRAW_ABOVE_MM = 25.0, 15.0
"""Wave crests stay below; the flag straw rises so far above the beam."""
USUAL_BEAM_MM = 40.0
BEFORE_START_MM, AFTER_FINISH_MM = 100.0, 150.0
"""A boat's stern at the wall, its bow so far before the start; and room for the bow beyond the finish."""
TAPE_U_MM = 1.0
"""Standard uncertainty of a beam's distance by steel tape, for either end (a reading to ±2 mm: 2/√3)."""
STAMP_U_S = 1e-4


@dataclass(frozen=True, slots=True)
class Camera:
    """What a data sheet says of camera and lens."""

    across_deg: float
    """Full angle along the picture's long side."""
    upright_deg: float
    """Full angle along its short side."""
    width_px: int = 1280
    height_px: int = 720
    u_angle_ratio: float = 0.02
    """Standard uncertainty of either angle, as a share of it: data sheets round, and crop for video."""

    @staticmethod
    def by_diagonal(diagonal_deg: float, *, width_px: int = 1280, height_px: int = 720) -> Camera:
        """A camera whose data sheet only tells the angle from corner to corner; for a lens without distortion."""
        half = math.tan(math.radians(diagonal_deg) / 2) / math.hypot(width_px, height_px)
        across, upright = (2 * math.degrees(math.atan(half * n)) for n in (width_px, height_px))
        return Camera(across, upright, width_px, height_px, u_angle_ratio=0.03)


@dataclass(frozen=True, slots=True)
class Site:
    """The water and what moves on it."""

    length_mm: float
    width_mm: float
    tall_mm: float = 100.0
    """The highest thing that shall be seen everywhere: masts, sails, flag straws; above the water."""
    boat_mm: float = 200.0
    """The longest boat."""
    straw_mm: float = 60.0
    """How high the flag straw stands above the water; 0: boats have none."""
    deck_mm: float = 20.0
    """How high the lowest boat's deck or side stands above the water."""


@dataclass(frozen=True, slots=True)
class Gates:
    """Where the beams go."""

    height_mm: float
    """Above still water."""
    start_mm: float
    """From the wall behind the start."""
    distance: Quantity | None
    """From beam to beam, mm; None if no room is left."""


def height_mm(site: Site, camera: Camera) -> Quantity:
    """How high above the water the lens must be to see all of it, with what rises at its edge."""
    value = _height_mm(site, camera.across_deg, camera.upright_deg)
    less = 1 - camera.u_angle_ratio
    higher = _height_mm(site, camera.across_deg * less, camera.upright_deg * less)
    return Quantity.of(value, "mm", u=higher - value, source="lens angle")


def _height_mm(site: Site, across_deg: float, upright_deg: float) -> float:
    needed = []
    for reach_mm, angle_deg in ((site.length_mm, across_deg), (site.width_mm, upright_deg)):
        seen = math.tan(math.radians(angle_deg / 2 - TILT_DEG))
        needed.append(site.tall_mm + (reach_mm / 2 + RIM_MM) / seen)
    return max(needed)


def mm_per_px(camera: Camera, above_mm: float) -> float:
    """How much water one pixel shows, in the picture's middle, for a lens at `above_mm`: the coarser direction."""
    return max(
        2 * above_mm * math.tan(math.radians(angle_deg) / 2) / count
        for angle_deg, count in ((camera.across_deg, camera.width_px), (camera.upright_deg, camera.height_px))
    )


def blur_mm(speed_mm_per_s: float, exposure_s: float) -> float:
    """How far a boat moves while the shutter is open."""
    return speed_mm_per_s * exposure_s


def exposure_s(speed_mm_per_s: float, *, tag_mm: float | None = None) -> float:
    """The longest exposure: for boats by BLUR_MM, for those with a tag of that size half a cell if that is less."""
    allowed_mm = BLUR_MM if tag_mm is None else min(BLUR_MM, tag_mm / TAG_CELLS_COUNT / 2)
    return allowed_mm / speed_mm_per_s


def gates(site: Site) -> Gates:
    """Beams above the crests and below straw or deck; a boat's length before the start, room after the finish."""
    start = site.boat_mm + BEFORE_START_MM
    left = site.length_mm - start - AFTER_FINISH_MM
    u = math.hypot(TAPE_U_MM, TAPE_U_MM)
    distance = Quantity.of(left, "mm", u=u, source="tape") if left > 0 else None
    if site.straw_mm > 0:
        return Gates(min(USUAL_BEAM_MM, site.straw_mm - STRAW_ABOVE_MM), start, distance)
    return Gates(min(USUAL_BEAM_MM, site.deck_mm / 2), start, distance)


def speed_ratio(distance: Quantity, speed_mm_per_s: float) -> float:
    """U (95 %) of a mean speed between the gates, as a share of it: tape and both stamps."""
    stamps = Source("stamps of both gates")
    time_s = Quantity(distance.value / speed_mm_per_s, "s", {stamps: math.sqrt(2) * STAMP_U_S})
    speed = distance.over(time_s, "mm/s")
    return speed.U / speed.value


def cautions(site: Site, camera: Camera, *, tag_mm: float) -> Iterator[str]:
    """What may not work, one sentence each, with what to do."""
    above = height_mm(site, camera)
    if above.value + above.U > CEILING_MM - 100:
        yield (
            f"the camera would hang at {above}, near or above a usual ceiling ({CEILING_MM:.0f} mm): "
            "take a wider lens, or see only the part between the lines"
        )
    if max(camera.across_deg, camera.upright_deg) > 100:
        yield "beyond 100 degrees a lens bends much: calibrate it with care, and expect less at the picture's ends"
    cell_px = tag_mm / TAG_CELLS_COUNT / mm_per_px(camera, above.value)
    if cell_px < CELL_LEAST_PX:
        most_mm = tag_mm * CELL_LEAST_PX / cell_px
        yield (
            f"a cell of a {tag_mm:g} mm tag is {cell_px:.1f} pixels wide, {CELL_LEAST_PX:g} are wanted: "
            f"print tags of {math.ceil(most_mm / 5) * 5} mm, take more pixels, or use no tags"
        )
    yield from _beam_cautions(site)


def _beam_cautions(site: Site) -> Iterator[str]:
    beams = gates(site)
    left = 0.0 if beams.distance is None else beams.distance.value
    if left < site.boat_mm:
        yield (
            f"{left:.0f} mm are left from beam to beam, less than a boat's length: "
            "take shorter boats, or a longer tank, or let them start with the bow right before the beam"
        )
    if beams.height_mm < CREST_MM:
        above = site.straw_mm if site.straw_mm > 0 else site.deck_mm
        yield (
            f"a beam at {beams.height_mm:.0f} mm, for what rises {above:g} mm, is within reach of the waves "
            f"({CREST_MM:g} mm): give every boat a flag straw of 60 mm"
        )
