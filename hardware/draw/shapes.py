"""Solids that mounts are made of: a thin layer over manifold3d, in millimetres, z up.

A `Solid` is what the library calls a manifold: closed by construction. Holes are made for what goes through them, not
for their nominal size: see `Fits`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any, Literal, TypeAlias

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold
from numpy.typing import NDArray

Solid: TypeAlias = Any
"""A manifold3d.Manifold."""
Floats: TypeAlias = NDArray[np.float64]
Axis: TypeAlias = Literal["x", "y", "z"]
Point: TypeAlias = tuple[float, float, float]

SEGMENTS_COUNT = 64
THROUGH_MM = 0.5
"""A hole sticks out so far at both ends, so that no skin is left."""


@dataclass(frozen=True, slots=True)
class Fits:
    """How much larger than the thing its hole is, for printing in plastic with a 0.4 mm nozzle (common practice)."""

    slide_mm: float = 0.4
    """On the diameter, for a rod or pole that is pushed in and held by a screw."""
    snug_mm: float = 0.2
    """On the diameter, for what is put in once and stays."""
    nut_mm: float = 0.3
    """On the width across flats."""


FITS = Fits()


@dataclass(frozen=True, slots=True)
class Screw:
    """A metric screw and its nut."""

    name: str
    hole_mm: float
    """ISO 273, medium series."""
    nut_flats_mm: float
    """ISO 4032: width across flats, at most."""
    nut_tall_mm: float
    """ISO 4032: at most."""


M4 = Screw("M4", 4.5, 7.0, 3.2)
M6 = Screw("M6", 6.6, 10.0, 5.2)


def box(corner: Point, opposite: Point) -> Solid:
    """A box from corner to corner."""
    size = [b - a for a, b in zip(corner, opposite, strict=True)]
    return Manifold.cube(size).translate(list(corner))


def rod(diameter_mm: float, *, along: Axis, at: tuple[float, float], span: tuple[float, float]) -> Solid:
    """A cylinder along an axis from span[0] to span[1]; `at` are its two other coordinates, in the order x, y, z."""
    lying = Manifold.cylinder(span[1] - span[0], diameter_mm / 2, circular_segments=SEGMENTS_COUNT)
    if along == "z":
        return lying.translate([at[0], at[1], span[0]])
    if along == "x":
        return lying.rotate([0, 90, 0]).translate([span[0], at[0], at[1]])
    return lying.rotate([-90, 0, 0]).translate([at[0], span[0], at[1]])


def hexagon(flats_mm: float, *, along: Axis, at: tuple[float, float], span: tuple[float, float]) -> Solid:
    """A six-sided bar, as `rod`; a flat side faces the later of the two other axes."""
    lying = Manifold.cylinder(span[1] - span[0], flats_mm / sqrt(3), circular_segments=6)
    if along == "z":
        return lying.translate([at[0], at[1], span[0]])
    if along == "x":
        return lying.rotate([0, 0, 30]).rotate([0, 90, 0]).translate([span[0], at[0], at[1]])
    return lying.rotate([-90, 0, 0]).translate([at[0], span[0], at[1]])


def profile(corners: Sequence[tuple[float, float]], *, tall_mm: float, round_mm: float = 0.0) -> Solid:
    """A flat outline, its outer corners rounded, `tall_mm` high."""
    outline = CrossSection([list(corners)])
    if round_mm > 0:
        outline = outline.offset(-round_mm, JoinType.Miter).offset(round_mm, JoinType.Round, 2.0, SEGMENTS_COUNT)
    return Manifold.extrude(outline, tall_mm)


def together(solids: Iterable[Solid]) -> Solid:
    """All of them as one."""
    total = Manifold()
    for solid in solids:
        total = total + solid
    return total


def laid_down(solid: Solid) -> Solid:
    """The same, standing on z = 0 in the middle of the bed."""
    x0, y0, z0, x1, y1, _ = solid.bounding_box()
    return solid.translate([-(x0 + x1) / 2, -(y0 + y1) / 2, -z0])


def mesh_of(solid: Solid) -> tuple[Floats, NDArray[np.int64]]:
    """Corners (N, 3) in mm and triangles (M, 3), anticlockwise seen from outside."""
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties, np.float64)[:, :3], np.asarray(mesh.tri_verts, np.int64)


def size_mm(solid: Solid) -> Point:
    """How far it reaches along x, y and z."""
    x0, y0, z0, x1, y1, z1 = solid.bounding_box()
    return (x1 - x0, y1 - y0, z1 - z0)
