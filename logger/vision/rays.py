"""What the samples along a hull's rays say: light, deck, noise, and how much each is worth."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Floats, Hull
from logger.vision.light import Tone
from logger.vision.plane import Singles, sample

Covered: TypeAlias = Callable[[Floats, Floats], NDArray[np.bool_]]
"""Tells of pixels, columns and rows (N, M, K), which of them show something that lies on the boat."""

CORRELATED = 6.0
"""How many samples share one independent piece of information: neighbours on a ray, JPEG blocks, the same wall."""
_GREY_FLOOR = 0.8
"""Least noise of one sample, light of 255."""
_DARKEST = 0.05
"""Light of a picture, as a share of the empty tank's, below which it shows nothing (a film that fades in)."""


def read(
    pictures: Sequence[NDArray[np.uint8]], columns_px: Floats, rows_px: Floats, *, tone: Tone, covered: Covered | None
) -> Singles:
    """Light (N, M, K) of N pictures at those pixels (N, M, K); NaN outside them and where they are `covered`."""
    rows = zip(pictures, columns_px, rows_px, strict=True)
    seen = np.stack([sample(picture, u, v, tone) for picture, u, v in rows])
    if covered is not None:
        seen[covered(columns_px, rows_px)] = np.nan
    return seen


def outside(hull: Hull, reach_mm: Floats) -> NDArray[np.bool_]:
    """(K,) which samples of a ray lie beyond every wall, on water: the last ones."""
    beyond = hull.offsets_mm > max(float(reach_mm.max(initial=0.0)), 0.0) + 2.5 * hull.blur_mm
    return beyond if beyond.sum() >= 3 else hull.offsets_mm >= hull.offsets_mm[-3]


def middle(values: Floats) -> Floats:
    """Median over the first axis of what is known; NaN where nothing is."""
    known = np.isfinite(values).sum(axis=0)
    ordered = np.sort(values, axis=0)
    at = np.stack([np.maximum(known - 1, 0) // 2, np.minimum(known // 2, len(values) - 1)])
    low, high = np.take_along_axis(ordered, at, axis=0)
    found: Floats = (low + high) / 2
    return found


def relit(seen: Singles, water: Floats, beyond: NDArray[np.bool_]) -> Floats:
    """`seen` (N, M, K) divided by each picture's light against the `water`, judged on the samples `beyond` the hull."""
    first = int(np.argmax(beyond))
    ratio = seen[:, :, first:].astype(np.float64) / np.maximum(water[:, :, first:], 0.5)
    flat = ratio.reshape(len(seen), -1)
    if np.isfinite(flat).all():
        light = _median(flat)
    else:
        light = np.ones(len(seen))
        for k, row in enumerate(flat):
            known = row[np.isfinite(row)]
            if len(known):
                light[k] = _median(known)
    light[light < _DARKEST] = np.nan  # a black picture shows nothing, not a black boat
    return seen / light[:, None, None]


def _median(values: Floats) -> Floats:
    """Along the last axis: NumPy's own spends most of its time on other things than a few hundred numbers."""
    middle = values.shape[-1] // 2
    if values.shape[-1] % 2:
        found: Floats = np.partition(values, middle)[..., middle]
        return found
    low, high = np.moveaxis(np.partition(values, (middle - 1, middle))[..., middle - 1 : middle + 1], -1, 0)
    return np.asarray((low + high) / 2, np.float64)


def repainted(hull: Hull, seen: Floats, *, wall_shade: float) -> Hull:
    """The hull with its deck's grey levels taken from the pictures, and a first wall where it has none."""
    inside = hull.offsets_mm <= -1.5 * hull.blur_mm
    if inside.sum() < 2:
        inside = hull.offsets_mm <= hull.offsets_mm[1]
    plain = hull.own() & ~hull.is_corner[:, None]  # on a corner no sample is all deck
    if not (plain[:, inside] & np.isfinite(seen[:, :, inside]).any(axis=0)).any():
        plain = np.ones_like(plain)  # a boat so narrow that two sides show everywhere
    typical = middle(np.where(plain & np.isfinite(seen), seen, np.nan)[:, :, inside])
    rim = _rim(typical)
    typical = np.where(np.isfinite(typical), typical, rim[:, None])
    deck = np.repeat(rim[:, None], len(hull.offsets_mm), axis=1)
    deck[:, inside] = typical
    wall = hull.wall
    if not np.isfinite(wall).all():
        wall = wall_shade * rim
    return replace(hull, deck=deck, wall=wall)


def _rim(typical: Floats) -> Floats:
    """(M,) light of the deck at its edge, from the outermost known samples (M, K) inside; or a neighbour's."""
    known = np.isfinite(typical)
    rim = np.full(len(typical), np.nan)
    for ray, (levels, here) in enumerate(zip(typical, known, strict=True)):
        if here.any():
            rim[ray] = levels[here][-3:].mean()
    bare = np.flatnonzero(np.isnan(rim))
    told = np.flatnonzero(np.isfinite(rim))
    apart = np.abs(bare[:, None] - told[None])
    if told.size:
        rim[bare] = rim[told[np.minimum(apart, len(rim) - apart).argmin(axis=1)]]
    return rim


def noise_of(residual: Floats) -> Floats:
    """(M, K) robust spread of residuals (N, M, K) over the pictures, never below the camera's own."""
    spread = 1.4826 * middle(np.abs(residual))
    known = spread[np.isfinite(spread)]
    floor = max(_GREY_FLOOR, 0.7 * float(np.median(known))) if known.size else _GREY_FLOOR
    return np.where(np.isfinite(spread), np.maximum(spread, floor), 50.0)


def weights(residual: Floats, noise: Floats) -> Floats:
    """1/noise² of each sample, less where the residual is beyond the ordinary; 0 where nothing is known."""
    scaled = residual / noise
    return np.where(np.isfinite(scaled), 1 / (noise**2 * (1 + (scaled / 3) ** 2)), 0.0)


def showing(residual: Floats, boat: Floats, noise: Floats, *, half: float) -> Floats:
    """(..., M) how surely each ray shows the boat's edge, 0 to 1.

    Args:
        residual: (..., M, K) seen less the model; what is not known may be NaN.
        boat: (..., M, K) what the boat's model changes in the picture of the water.
        noise: (M, K).
        half: the share of what a ray has to show that may be wrong where it half shows it.
    """
    weight = 1 / noise**2
    known = np.isfinite(residual) & np.isfinite(boat)
    whole = (weight * np.where(known, boat, 0.0) ** 2).sum(axis=-1)
    wrong = (weight * np.where(known, residual, 0.0) ** 2).sum(axis=-1) / np.maximum(whole, 1e-9)
    sure: Floats = 1 / (1 + (wrong / half) ** 4)
    return sure
