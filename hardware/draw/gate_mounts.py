"""Mounts of the beams: a clamp for the rim, heads for what shines and what sees, a lid, an arm for the light.

A rod of 8 mm hangs from the clamp inside the tank, or stands above it; the head slides and turns on it, so one set fits
gutters, bins and pools, whatever their rim's height. All are made as they are printed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from hardware.draw.shapes import FITS, M4, M6, THROUGH_MM, Solid, box, hexagon, laid_down, profile, rod

Sensor: TypeAlias = Literal["led", "receiver", "laser"]
"""What a head holds: a 5 mm LED or phototransistor; a 38 kHz receiver; a laser module of 6 mm."""


@dataclass(frozen=True, slots=True)
class GateSizes:
    """What the mounts are made for."""

    rod_mm: float = 8.0
    rim_mm: float = 30.0
    """The thickest rim that the clamp takes."""
    opening_mm: float = 4.0
    """The hole at the hood's end: the beam's width."""
    led_mm: float = 5.0
    receiver_wide_mm: float = 6.0
    receiver_tall_mm: float = 7.0
    laser_mm: float = 6.0
    hood_mm: float = 36.0
    """How far the opening stands before the box."""
    wall_mm: float = 2.0


SIZES = GateSizes()
BOX_MM = (30.0, 26.0, 22.0)
"""The head's box: along the beam, across, upwards."""
ROD_AT_MM = (15.0, -11.0)
"""The rod's axis beside the box: along the beam, across."""
CLAMP_MM = {"jaw": 10.0, "deep": 40.0, "top": 10.0, "wide": 30.0, "boss": 18.0}


def _lock(axis_at: tuple[float, float], *, face_mm: float, top_mm: float) -> Solid:
    """Screw and nut of 4 mm that press on a rod along z at `axis_at`, from the face at y = face_mm, below it."""
    x, y = axis_at
    screw = rod(M4.hole_mm, along="y", at=(x, top_mm / 2), span=(face_mm - THROUGH_MM, y))
    flats, tall = M4.nut_flats_mm + FITS.nut_mm, M4.nut_tall_mm + FITS.nut_mm
    y0 = face_mm + 2.5
    slot = box((x - flats / 2, y0, top_mm / 2 - flats / 2), (x + flats / 2, y0 + tall, top_mm + THROUGH_MM))
    return screw + slot


def rim_clamp(sizes: GateSizes = SIZES) -> Solid:
    """Grips the rim with a screw of 6 mm; the rod stands in the boss on the water's side. Printed on its side."""
    return laid_down(standing_clamp(sizes).rotate([-90, 0, 0]))


def clamp_rod_mm(sizes: GateSizes = SIZES) -> float:
    """How far the rod's axis stands behind the rim's wet side."""
    return CLAMP_MM["jaw"] + CLAMP_MM["boss"] / 2


def standing_clamp(sizes: GateSizes = SIZES) -> Solid:
    """The clamp as it sits on a rim: x from outside to the water, 0 at the rim's wet side; z up, 0 at its top."""
    jaw, deep, top, wide, boss = CLAMP_MM.values()
    inner, tall = jaw + sizes.rim_mm, deep + top
    end = inner + jaw + boss
    outline = [
        (0, 0), (jaw, 0), (jaw, deep), (inner, deep), (inner, 0), (inner + jaw, 0), (inner + jaw, 14),
        (end, 14), (end, tall), (0, tall),
    ]  # fmt: skip
    body = profile(outline, tall_mm=wide, round_mm=1.5)
    middle = wide / 2
    body -= rod(M6.hole_mm, along="x", at=(14, middle), span=(-THROUGH_MM, jaw + THROUGH_MM))
    nut = M6.nut_tall_mm + FITS.nut_mm
    flats = M6.nut_flats_mm + FITS.nut_mm
    body -= hexagon(flats, along="x", at=(14, middle), span=(jaw - nut, jaw + THROUGH_MM))
    axis = inner + jaw + boss / 2
    body -= rod(sizes.rod_mm + FITS.slide_mm, along="y", at=(axis, middle), span=(14 - THROUGH_MM, tall + THROUGH_MM))
    body -= rod(M4.hole_mm, along="x", at=(32, middle), span=(axis, end + THROUGH_MM))
    slot_flats, slot_tall = M4.nut_flats_mm + FITS.nut_mm, M4.nut_tall_mm + FITS.nut_mm
    x0 = axis + sizes.rod_mm / 2 + 0.9
    low, high = 32 - slot_flats / 2, 32 + slot_flats / 2
    body -= box((x0, low, middle - slot_flats / 2), (x0 + slot_tall, high, wide + THROUGH_MM))
    return body.rotate([90, 0, 0]).translate([-inner, middle, -deep])


def beam_head(sensor: Sensor, sizes: GateSizes = SIZES) -> Solid:
    """A box with a hood before it and a hole for the rod beside it. Printed on its back, the hood upwards."""
    return laid_down(standing_head(sensor, sizes).rotate([0, -90, 0]))


def beam_at_mm() -> tuple[float, float, float]:
    """Where the beam leaves a standing head, measured from the rod's axis and the head's foot."""
    return (BOX_MM[0] + SIZES.hood_mm - ROD_AT_MM[0], BOX_MM[1] / 2 - ROD_AT_MM[1], BOX_MM[2] / 2)


def standing_head(sensor: Sensor, sizes: GateSizes = SIZES) -> Solid:
    """The head as it hangs on the rod: the rod's axis is z, the beam leaves along x at half the box's height."""
    long, across, tall = BOX_MM
    wall, middle = sizes.wall_mm, tall / 2
    body = box((0, 0, 0), (long, across, tall)) + box((5, -22, 0), (25, 1, tall))
    beam = (across / 2, middle)
    end = long + sizes.hood_mm
    body += rod(15.0, along="x", at=beam, span=(long - 1, end))
    body -= box((wall, wall, wall), (long - 2 * wall, across - wall, tall + THROUGH_MM))
    body -= rod(8.0, along="x", at=beam, span=(long + 4, end - wall))
    body -= rod(sizes.opening_mm, along="x", at=beam, span=(end - wall - THROUGH_MM, end + THROUGH_MM))
    body -= _seat(sensor, beam, sizes)
    body -= rod(5.0, along="x", at=(across / 2, 6.0), span=(-THROUGH_MM, wall + THROUGH_MM))
    body -= rod(sizes.rod_mm + FITS.slide_mm, along="z", at=ROD_AT_MM, span=(-THROUGH_MM, tall + THROUGH_MM))
    body -= _lock(ROD_AT_MM, face_mm=-22.0, top_mm=tall)
    return body.translate([-ROD_AT_MM[0], -ROD_AT_MM[1], 0])


def _seat(sensor: Sensor, beam: tuple[float, float], sizes: GateSizes) -> Solid:
    long, wall = BOX_MM[0], sizes.wall_mm
    span = (long - 2 * wall - THROUGH_MM, long + 4 + THROUGH_MM)
    if sensor == "led":
        return rod(sizes.led_mm + FITS.snug_mm, along="x", at=beam, span=span)
    if sensor == "laser":
        return rod(sizes.laser_mm + FITS.snug_mm, along="x", at=beam, span=span)
    wide, tall = (n + 2 * FITS.snug_mm for n in (sizes.receiver_wide_mm, sizes.receiver_tall_mm))
    y, z = beam
    return box((span[0], y - wide / 2, z - tall / 2), (span[1], y + wide / 2, z + tall / 2))


def head_lid(sizes: GateSizes = SIZES) -> Solid:
    """Closes a head's box: a plate with a lip that stays by friction; a drop of silicone where it splashes."""
    long, across, _ = BOX_MM
    wall, play = sizes.wall_mm, FITS.snug_mm
    plate = box((0, 0, 0), (long, across, 1.6))
    lip = box((wall + play, wall + play, 1.6 - 0.1), (long - 2 * wall - play, across - wall - play, 5.0))
    rim = wall + play + 1.6
    inside = box((rim, rim, 1.6), (long - wall - rim, across - rim, 6.0))
    return laid_down(plate + (lip - inside))


def light_arm(sizes: GateSizes = SIZES) -> Solid:
    """Holds the LED for the camera's delay at the end of an arm, facing up, on the same kind of rod."""
    body = box((0, 0, 0), (20, 22, 16)) + box((18, 5, 0), (60, 17, 6)) + rod(12.0, along="z", at=(60, 11), span=(0, 10))
    body -= rod(sizes.rod_mm + FITS.slide_mm, along="z", at=(10, 11), span=(-THROUGH_MM, 17))
    body -= _lock((10, 11), face_mm=0.0, top_mm=16.0)
    body -= rod(sizes.led_mm + FITS.snug_mm, along="z", at=(60, 11), span=(-THROUGH_MM, 11))
    return laid_down(body)
