"""Learn one boat's look from a few pictures of its run: one least-squares fit of hull and places together.

Unknowns: for every picture place (2) and heading; for every ray the deck edge and the wall's grey level; for the whole
boat freeboard, taper and blur. A sample touches eight of them, so the normal equations are summed in blocks of 8×8 per
picture and ray. What the boat card says (freeboard, length, width) enters as observations with its own doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.vision import outline
from logger.vision.hull import Floats, Hull, Look, look
from logger.vision.plane import Plane, Singles, sample

_ROUNDS_BLUR_PX = (3.0, 2.2, 1.5, 1.0, 0.0, 0.0, 0.0, 0.0)
"""Blur of the model in each round; 0: fitted. A wide edge first draws in a rough start from several pixels away."""
_CORRELATED = 6.0
"""How many samples share one independent piece of information: neighbours on a ray, JPEG blocks, the same wall."""
_U_TAPER = 0.03
_U_WALL_GREY = 15.0
_GREY_FLOOR = 0.8
_DARKEST = 0.05
"""Light of a picture, as a share of the empty tank's, below which it shows nothing (a film that fades in)."""


@dataclass(frozen=True, slots=True)
class Card:
    """What is known of the boat beforehand, mm; None where it was not measured."""

    freeboard_mm: float
    u_freeboard_mm: float
    length_mm: float | None = None
    u_length_mm: float = 1.0
    width_mm: float | None = None
    u_width_mm: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """The hull, and where the boat was in the pictures that taught it (on the plane they were read on)."""

    hull: Hull
    place_mm: Floats
    heading_rad: Floats
    u_freeboard_mm: float
    u_taper: float
    misfit: Floats
    """(N,) root mean square of residual over noise in each picture."""


def learn(
    pictures: Sequence[NDArray[np.uint8]],
    empty: Singles,
    plane: Plane,
    *,
    polygon_mm: Floats,
    place_mm: Floats,
    heading_rad: Floats,
    card: Card,
    rays_count: int = 72,
) -> Learnt:
    """Fit the hull and the N places.

    Args:
        pictures: N grey pictures.
        empty: the picture of the empty tank, NaN where unknown.
        plane: z = freeboard on the card.
        polygon_mm: (M, 2) first idea of the deck's outline, boat frame.
        place_mm: (N, 2) first idea of the places on `plane`, good to a few pixels.
        heading_rad: (N,) first idea of the headings.
        card: what the boat card says.
        rays_count: how many rays cross the outline.
    """
    step = plane.step_mm(place_mm.mean(axis=0))
    edge = outline.evenly(polygon_mm, rays_count)
    hull = _first_hull(edge, plane, place_mm=place_mm, step=step, card=card)
    fit = _Fit(pictures, empty, plane, hull, place_mm.copy(), heading_rad.copy(), card)
    for blur in _ROUNDS_BLUR_PX:
        fit.round(blur * step)
    return fit.result()


def _first_hull(edge: Floats, plane: Plane, *, place_mm: Floats, step: float, card: Card) -> Hull:
    away = float(np.hypot(*(place_mm - plane.foot_mm).T).max())
    widest = (card.freeboard_mm + 2 * card.u_freeboard_mm) / plane.height_mm * away
    offsets = np.arange(-7.0, 6.0 + widest / step, 0.7) * step
    rays = len(edge)
    return Hull(
        edge_mm=edge,
        normal=outline.normals(edge),
        offsets_mm=offsets,
        deck=np.zeros((rays, len(offsets))),
        wall=np.full(rays, np.nan),
        noise=np.full((rays, len(offsets)), 4.0),
        freeboard_mm=card.freeboard_mm,
        taper=_U_TAPER + card.freeboard_mm / plane.height_mm,
        blur_mm=_ROUNDS_BLUR_PX[0] * step,
    )


class _Fit:
    """The running state of one fit."""

    def __init__(
        self,
        pictures: Sequence[NDArray[np.uint8]],
        empty: Singles,
        plane: Plane,
        hull: Hull,
        place: Floats,
        heading: Floats,
        card: Card,
    ) -> None:
        self.pictures, self.empty, self.plane, self.card = pictures, empty, plane, card
        self.hull, self.place, self.heading = hull, place, heading
        self.u_freeboard, self.u_taper = card.u_freeboard_mm, _U_TAPER
        self.misfit = np.zeros(len(pictures))

    def round(self, blur_mm: float) -> None:
        """One step of Gauss-Newton for everything; `blur_mm` 0 fits the blur too."""
        free_blur = blur_mm == 0.0
        if not free_blur:
            self.hull = replace(self.hull, blur_mm=blur_mm)
        seen, water = self.samples()
        reach = self.reach()
        self.hull = repainted(self.hull, seen, water, reach)
        drawn = look(self.hull, water, reach)
        residual = seen - drawn.grey
        self.hull = replace(self.hull, noise=_noise(residual))
        weight = weights(residual, self.hull.noise)
        self.misfit = np.sqrt(np.nanmean((residual / self.hull.noise) ** 2, axis=(1, 2)))
        self._step(residual, weight, drawn, free_blur)

    def samples(self) -> tuple[Floats, Floats]:
        """Grey along all rays (N, M, K): seen, brought to the light of the empty picture; and empty."""
        pixels = self.plane.pixels(self.hull.positions(self.place, self.heading))
        seen = np.stack([sample(picture, at) for picture, at in zip(self.pictures, pixels, strict=True)])
        count = len(pixels)
        water = sample(self.empty, pixels.reshape(count * pixels.shape[1], -1, 2)).reshape(seen.shape)
        outside = self.hull.offsets_mm > self.reach().max(initial=0.0) + 2.5 * self.hull.blur_mm
        if outside.sum() < 2:
            outside = self.hull.offsets_mm >= self.hull.offsets_mm[-2]
        return relit(seen, water, outside)

    def reach(self) -> Floats:
        """(N, M) mm of visible wall, negative where hidden."""
        lever = self.hull.wall_lever(self.place, self.heading, self.plane.foot_mm)
        return lever * (self.hull.freeboard_mm / self.plane.height_mm) - self.hull.taper * self.hull.span()

    def _step(self, residual: Floats, weight: Floats, drawn: Look, free_blur: bool) -> None:
        N, M, _ = residual.shape
        c, s = np.cos(self.heading), np.sin(self.heading)
        nx, ny = self.hull.normal.T
        outward = np.stack([np.outer(c, nx) - np.outer(s, ny), np.outer(s, nx) + np.outer(c, ny)])
        lever = self.hull.wall_lever(self.place, self.heading, self.plane.foot_mm)
        J = np.stack(
            [
                drawn.by_shift * outward[0][:, :, None],
                drawn.by_shift * outward[1][:, :, None],
                drawn.by_shift * self.hull.arms()[None, :, None],
                drawn.by_shift,
                drawn.by_wall,
                drawn.by_reach * (lever / self.plane.height_mm)[:, :, None],
                drawn.by_reach * -self.hull.span()[None, :, None],
                drawn.by_blur,
            ],
            axis=-1,
        )
        J, r = np.nan_to_num(J), np.nan_to_num(residual)
        w = weight / _CORRELATED
        A = np.einsum("imka,imk,imkb->imab", J, w, J, optimize=True)
        g = np.einsum("imka,imk,imk->ima", J, w, r, optimize=True)
        normal, right = _assembled(A, g)
        diagonal, pull = self._beliefs(N, M, free_blur)
        normal[np.diag_indices_from(normal)] += diagonal
        covariance = np.linalg.inv(normal)
        self._apply(covariance @ (right + pull), N, M)
        tail = np.sqrt(np.diag(covariance)[-3:])
        self.u_freeboard, self.u_taper = float(tail[0]), float(tail[1])

    def _beliefs(self, N: int, M: int, free_blur: bool) -> tuple[Floats, Floats]:
        """Diagonal weights and pulls of what is believed beforehand."""
        step = self.plane.step_mm(self.place.mean(axis=0))
        diagonal = np.concatenate(
            [
                np.tile([1 / (10 * step) ** 2, 1 / (10 * step) ** 2, 1 / 0.2**2], N),
                np.full(M, 1 / (3 * step) ** 2),
                np.full(M, 1 / _U_WALL_GREY**2),
                [1 / self.card.u_freeboard_mm**2, 0.0, 1 / (0.3 * step) ** 2 if free_blur else 1e12],
            ]
        )
        pull = np.zeros(len(diagonal))
        pull[3 * N + M : 3 * N + 2 * M] = (np.median(self.hull.wall) - self.hull.wall) / _U_WALL_GREY**2
        pull[-3] = (self.card.freeboard_mm - self.hull.freeboard_mm) / self.card.u_freeboard_mm**2
        for taper, u in self._taper_beliefs():
            diagonal[-2] += 1 / u**2
            pull[-2] += (taper - self.hull.taper) / u**2
        return diagonal, pull

    def _taper_beliefs(self) -> list[tuple[float, float]]:
        """What the card's length and width say of the taper, each with its standard uncertainty."""
        deck = outline.extents(outline.tangent_polygon(self.hull.edge_mm, self.hull.normal))
        nearer = 1 - self.hull.freeboard_mm / self.plane.height_mm
        beliefs = [(1 - (1 - _U_TAPER) * nearer, _U_TAPER)]
        known = ((self.card.length_mm, self.card.u_length_mm), (self.card.width_mm, self.card.u_width_mm))
        for seen, (value, u) in zip(deck, known, strict=True):
            if value is not None:
                beliefs.append((1 - value / seen * nearer, float(np.hypot(u, 0.5)) / seen))
        return beliefs

    def _apply(self, change: Floats, N: int, M: int) -> None:
        pose = change[: 3 * N].reshape(N, 3)
        step = self.plane.step_mm(self.place.mean(axis=0))
        self.place = self.place + np.clip(pose[:, :2], -5 * step, 5 * step)
        self.heading = self.heading + np.clip(pose[:, 2], -0.1, 0.1)
        edge = self.hull.edge_mm + np.clip(change[3 * N : 3 * N + M], -3 * step, 3 * step)[:, None] * self.hull.normal
        freeboard = max(0.0, self.hull.freeboard_mm + float(change[-3]))
        self.hull = replace(
            self.hull,
            wall=np.clip(self.hull.wall + change[3 * N + M : 3 * N + 2 * M], 0, 255),
            freeboard_mm=freeboard,
            taper=float(np.clip(self.hull.taper + change[-2], -0.1, 0.3)),
            blur_mm=float(np.clip(self.hull.blur_mm + change[-1], 0.4 * step, 4 * step)),
        )
        self._recentre(edge)

    def _recentre(self, edge: Floats) -> None:
        """Put the boat frame back into the area centroid and along the long axis, moving the places to suit."""
        edge = outline.evenly_kept(edge)
        _, centre, second = outline.moments(outline.tangent_polygon(edge, outline.normals(edge)))
        turn, elongation = outline.axis(second)
        if elongation < 1.1:
            turn = 0.0
        c, s = np.cos(self.heading), np.sin(self.heading)
        self.place = self.place + np.column_stack([c * centre[0] - s * centre[1], s * centre[0] + c * centre[1]])
        self.heading = self.heading + turn
        edge = outline.turned(edge - centre, -turn)
        self.hull = replace(self.hull, edge_mm=edge, normal=outline.normals(edge))

    def result(self) -> Learnt:
        return Learnt(self.hull, self.place, self.heading, self.u_freeboard, self.u_taper, self.misfit)


def relit(seen: Singles, water: Singles, outside: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """`seen` (N, M, K) divided by each picture's light against the empty water, judged on the `outside` samples."""
    ratio = seen[:, :, outside].astype(np.float64) / np.maximum(water[:, :, outside], 4.0)
    flat = ratio.reshape(len(seen), -1)
    known = np.isfinite(flat).any(axis=1)
    light = np.ones(len(seen))
    light[known] = np.nanmedian(flat[known], axis=1)
    light[light < _DARKEST] = np.nan  # a black picture shows nothing, not a black boat
    return seen / light[:, None, None], water.astype(np.float64)


def repainted(hull: Hull, seen: Floats, water: Floats, reach: Floats) -> Hull:
    """The hull with its deck's grey levels taken from the pictures, and a first wall where it has none."""
    inside = hull.offsets_mm <= -1.5 * hull.blur_mm
    if inside.sum() < 2:
        inside = hull.offsets_mm <= hull.offsets_mm[1]
    with np.errstate(all="ignore"):
        typical = np.nanmedian(np.where(np.isfinite(seen), seen, np.nan)[:, :, inside], axis=0)
    typical = np.where(np.isfinite(typical), typical, np.nanmedian(typical))
    rim = typical[:, -3:].mean(axis=1)
    deck = np.repeat(rim[:, None], len(hull.offsets_mm), axis=1)
    deck[:, inside] = typical
    wall = hull.wall
    if not np.isfinite(wall).all():
        wall = 0.75 * rim + 0.25 * float(np.nanmedian(water))
    return replace(hull, deck=deck, wall=wall)


def _noise(residual: Floats) -> Floats:
    """(M, K) robust spread of residuals (N, M, K) over the pictures, never below the camera's own."""
    with np.errstate(all="ignore"):
        spread = 1.4826 * np.nanmedian(np.abs(residual), axis=0)
    floor = max(_GREY_FLOOR, 0.7 * float(np.nanmedian(spread)))
    return np.where(np.isfinite(spread), np.maximum(spread, floor), 50.0)


def weights(residual: Floats, noise: Floats) -> Floats:
    """1/noise² of each sample, less where the residual is beyond the ordinary; 0 where nothing is known."""
    scaled = residual / noise
    return np.where(np.isfinite(scaled), 1 / (noise**2 * (1 + (scaled / 3) ** 2)), 0.0)


def _assembled(A: Floats, g: Floats) -> tuple[Floats, Floats]:
    """Normal equations over (3N places, M edges, M walls, 3 of the boat) from 8×8 blocks per picture and ray."""
    N, M = A.shape[:2]
    rays = np.arange(M)
    normal, right = np.zeros((3 * N + 2 * M + 3,) * 2), np.zeros(3 * N + 2 * M + 3)
    for i in range(N):
        at = slice(3 * i, 3 * i + 3)
        normal[at, at] += A[i, :, :3, :3].sum(axis=0)
        right[at] += g[i, :, :3].sum(axis=0)
        for column, start in ((3, 3 * N), (4, 3 * N + M)):
            normal[at, start : start + M] += A[i, :, :3, column].T
            normal[start : start + M, at] += A[i, :, :3, column]
        normal[at, -3:] += A[i, :, :3, 5:].sum(axis=0)
        normal[-3:, at] += A[i, :, 5:, :3].sum(axis=0)
    total, pulls = A.sum(axis=0), g.sum(axis=0)
    for a, first in ((3, 3 * N), (4, 3 * N + M)):
        right[first + rays] += pulls[:, a]
        normal[first + rays, -3:] += total[:, a, 5:]
        normal[-3:, first + rays] += total[:, 5:, a].T
        for b, second in ((3, 3 * N), (4, 3 * N + M)):
            normal[first + rays, second + rays] += total[:, a, b]
    normal[-3:, -3:] += total[:, 5:, 5:].sum(axis=0)
    right[-3:] += pulls[:, 5:].sum(axis=0)
    return normal, right
