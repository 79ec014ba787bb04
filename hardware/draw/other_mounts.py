"""Mounts of camera, floating board, flag straw and tag. All are made as they are printed."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.draw.shapes import FITS, M6, THROUGH_MM, Solid, box, hexagon, laid_down, profile, rod


@dataclass(frozen=True, slots=True)
class OtherSizes:
    """What the mounts are made for."""

    pole_mm: float = 25.0
    """Broom stick, wooden round bar or tube: the camera's stand and its arm."""
    board_mm: float = 5.0
    """Thickness of the foam board that floats."""
    straw_mm: float = 6.0
    tag_wide_mm: float = 53.4
    """Of the tag as it is cut out, white and all."""
    tag_tall_mm: float = 64.4


SIZES = OtherSizes()
AROUND_MM = 8.0
"""Plastic around a pole."""
EAR_MM = 14.0
SLIT_MM = 3.0
CAMERA_HOLES_MM = (21.0, 12.5, 2.2)
"""Hole pattern of the usual small camera board: across, upright, diameter (from memory; measure yours)."""
LIP_MM = 3.5
TRIPOD_MM = 6.6
"""A 1/4 inch tripod screw (6.35 mm, ISO 1222) goes through."""


def _bolt(*, along: str, at: tuple[float, float], half_mm: float) -> Solid:
    """A screw of 6 mm across a slit, with its nut sunk into one side."""
    axis = "x" if along == "x" else "z"
    hole = rod(M6.hole_mm, along=axis, at=at, span=(-half_mm - THROUGH_MM, half_mm + THROUGH_MM))  # type: ignore[arg-type]
    deep = M6.nut_tall_mm + FITS.nut_mm
    nut = hexagon(M6.nut_flats_mm + FITS.nut_mm, along=axis, at=at, span=(half_mm - deep, half_mm + THROUGH_MM))  # type: ignore[arg-type]
    return hole + nut


def pole_cross(sizes: OtherSizes = SIZES) -> Solid:
    """Holds an upright pole and an arm across it, each by two screws of 6 mm over a slit."""
    bore = sizes.pole_mm + FITS.slide_mm
    apart = (sizes.pole_mm + AROUND_MM) / 2
    reach = apart + bore / 2 + EAR_MM
    half = bore / 2 + AROUND_MM
    body = box((-half, -reach, -half), (half, reach, half))
    body -= rod(bore, along="z", at=(0, -apart), span=(-half - THROUGH_MM, half + THROUGH_MM))
    body -= rod(bore, along="x", at=(apart, 0), span=(-half - THROUGH_MM, half + THROUGH_MM))
    slit = SLIT_MM / 2
    body -= box((-slit, -reach - THROUGH_MM, -half - THROUGH_MM), (slit, -apart, half + THROUGH_MM))
    body -= box((-half - THROUGH_MM, apart, -slit), (half + THROUGH_MM, reach + THROUGH_MM, slit))
    ear = reach - EAR_MM / 2
    for side in (-12.0, 12.0):
        body -= _bolt(along="x", at=(-ear, side), half_mm=half)
        body -= _bolt(along="z", at=(side, ear), half_mm=half)
    return laid_down(body)


def camera_plate(sizes: OtherSizes = SIZES) -> Solid:
    """Hangs below the arm: a hole for a tripod screw, the four holes of a small camera board, a slot for the tether."""
    bore = sizes.pole_mm + FITS.slide_mm
    half, axis = bore / 2 + 6.0, 5.0 + 6.0 + bore / 2
    plate = profile([(-50, -26), (50, -26), (50, 26), (-50, 26)], tall_mm=5.0, round_mm=4.0)
    ring = rod(2 * half, along="x", at=(0, axis), span=(-16, 16)) + box((-16, -half, 0), (16, half, axis))
    top = axis + bore / 2 + EAR_MM
    ears = box((-16, -9, axis), (16, 9, top))
    body = plate + ring + ears
    body -= rod(bore, along="x", at=(0, axis), span=(-17, 17))
    body -= box((-17, -SLIT_MM / 2, axis), (17, SLIT_MM / 2, top + 1))
    body -= rod(M6.hole_mm, along="y", at=(0, top - 7), span=(-10, 10))
    body -= hexagon(M6.nut_flats_mm + FITS.nut_mm, along="y", at=(0, top - 7), span=(9 - 4.0, 10))
    body -= rod(TRIPOD_MM, along="z", at=(-33, 0), span=(-1, 6))
    across, upright, wide = CAMERA_HOLES_MM
    for dx in (-upright / 2, upright / 2):
        for dy in (-across / 2, across / 2):
            body -= rod(wide, along="z", at=(31 + dx, dy), span=(-1, 6))
    body -= box((-47, -9, -1), (-43, 9, 6))
    return laid_down(body)


def board_corner(sizes: OtherSizes = SIZES) -> Solid:
    """Slides over a corner of the floating board, keeps it stiff, and has an eye for the string that holds it."""
    leg, deep, skin = 36.0, 8.0, 1.2
    slot = sizes.board_mm + FITS.snug_mm
    tall = slot + 2 * skin
    outline = [(0, 0), (leg, 0), (leg, deep + 2), (deep + 2, deep + 2), (deep + 2, leg), (0, leg)]
    body = profile(outline, tall_mm=tall, round_mm=1.0)
    body -= box((2, 2, skin), (leg + 1, leg + 1, skin + slot))
    lip = 2 + LIP_MM  # the upper lip hangs in the air while it is printed, so it is narrow
    body -= box((lip, lip, skin), (leg + 1, leg + 1, tall + 1))
    eye = rod(9.0, along="z", at=(-2, -2), span=(0, 3.0)) - rod(4.0, along="z", at=(-3, -3), span=(-1, 4))
    return laid_down(body + (eye - box((0, 0, -1), (9, 9, 4))))


def straw_holder(sizes: OtherSizes = SIZES) -> Solid:
    """Stands on a deck by tape or clay and holds the flag straw upright; about a gram."""
    base = rod(24.0, along="z", at=(0, 0), span=(0, 1.2))
    socket = rod(sizes.straw_mm + FITS.snug_mm + 2.4, along="z", at=(0, 0), span=(0, 13.0))
    ribs = [box((-9, -0.6, 0), (9, 0.6, 5)), box((-0.6, -9, 0), (0.6, 9, 5))]
    body = base + socket + ribs[0] + ribs[1]
    return laid_down(body - rod(sizes.straw_mm + FITS.snug_mm, along="z", at=(0, 0), span=(1.2, 14)))


def tag_plate(sizes: OtherSizes = SIZES) -> Solid:
    """Keeps a tag flat on a curved or soft deck: a rim around it, windows to save weight, a nose to the bow."""
    wide, tall = sizes.tag_wide_mm + 2 * FITS.snug_mm, sizes.tag_tall_mm + 2 * FITS.snug_mm
    rim = 1.2
    w, t = wide / 2 + rim, tall / 2 + rim
    body = profile([(-w, -t), (w, -t), (w, t), (0, t + 6), (-w, t)], tall_mm=1.8)
    body -= box((-wide / 2, -tall / 2, 0.8), (wide / 2, tall / 2, 3))
    for x in (-1, 1):
        for y in (-1, 1):
            near, far = 4.0, 3.0
            corner = (x * near, y * near, -1.0)
            opposite = (x * (wide / 2 - far), y * (tall / 2 - far), 2.0)
            low = tuple(min(a, b) for a, b in zip(corner, opposite, strict=True))
            high = tuple(max(a, b) for a, b in zip(corner, opposite, strict=True))
            body -= box(low, high)  # type: ignore[arg-type]
    return laid_down(body)


def face_height_mm(*, mass_g: float, area_mm2: float, thick_mm: float) -> float:
    """How high the face of a floating board stands above the water: its thickness less its draught (Archimedes)."""
    return thick_mm - 1000.0 * mass_g / (0.998 * area_mm2)
