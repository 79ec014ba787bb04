"""Learn one boat's look from a few pictures of its run: one least-squares fit of hull and places together.

Unknowns: for every picture place (2) and heading; for every ray the deck edge and the wall's grey level; for the whole
run freeboard, taper, blur, and the shadow's offset (2), depth, darkness and softness. A sample touches thirteen,
so the normal equations are summed in blocks of 13×13 per picture and ray. What the boat card says (freeboard, length,
width) enters as observations with its own doubt.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.vision import outline
from logger.vision.card import U_FLARE, USUAL_FLARE, Card
from logger.vision.equations import BOAT_COUNT, assembled, blocks, solved, stiffness
from logger.vision.hull import Floats, Hull, Look, Reach, look
from logger.vision.light import PLAIN, Tone
from logger.vision.plane import Plane, Singles, sample
from logger.vision.rays import CORRELATED, Covered, middle, noise_of, outside, read, relit, repainted, showing, weights
from logger.vision.shadow import Distance, Shadow

_ROUNDS_BLUR_PX = (2.5, 1.6, 1.0, 1.0, *(0.0,) * 6)
"""Blur of the model in each round; 0: fitted. A wide edge first draws in a rough start from several pixels away."""
_SETTLED_PX, _SETTLED_FREEBOARD_MM = 0.01, 0.1
"""If edge (root mean square) and freeboard change by less in a round, the next one would say nothing new."""
_SHADOW_FROM_ROUND = 3
_BLUNT_PX = 3.0
"""How near a corner no ray is laid: blur has rounded it there."""
_WITNESS, _WITNESS_PER_LIGHT, _FAINT_WALL = 1.0, 0.25, 45.0
"""How much more doubtful than their noise walls are as witnesses of freeboard and taper, how much more for each
unit of the noise (light of 255), and from which contrast with the water on they are faint. So much more counts the
card: rough water lengthens or shortens a wall, a pale wall is taken for water, a shadow for a wall (simulated runs)."""
_U_WALL_GREY = 15.0
_U_WAVY_PX = 0.3
"""How far an edge point is believed to move apart from its neighbours: sides are smooth, foil only looks ragged."""
_PROFILE_OF = (0, 0, 0, 0, 1, 2, 2, 3, 4, 5, 6, 7, 8)
"""Place (2), heading and edge move all there is on a ray; wall; freeboard and taper move its foot; blur; shadow (5)."""
_WRONG = 0.3
"""A ray half shows the boat if so much of what it has to show is wrong."""
_LEAST_SHOWN, _HARDLY = 0.3, 1e-3
"""A picture in which fewer rays show the boat hardly counts."""
_SHADOW_RINGS = (0.0, 8.0, 16.0, 26.0, 38.0)
"""Distances at which the shadow is first looked for, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """The hull, and where the boat was in the pictures that taught it (on the plane they were read on)."""

    hull: Hull
    place_mm: Floats
    heading_rad: Floats
    sides_covariance: Floats
    """(2, 2) of the hull's freeboard, mm, and taper, a share."""
    misfit: Floats
    """(N,) root mean square of residual over noise in each picture."""
    water: Floats
    """(M,) light of the water beside each ray."""
    is_crinkled: bool = False
    """Whether the boat is of crinkled foil or the like, and was learnt from its uneven light."""
    is_by_colour: bool = False
    """Whether it was learnt from one colour, which cameras keep at half the sharpness of the light."""
    is_by_crinkles: bool = False
    """Whether it was learnt from how crinkled it is: the same all over, but with a soft edge."""

    @property
    def u_freeboard_mm(self) -> float:
        """Standard uncertainty of the hull's freeboard."""
        return float(np.sqrt(self.sides_covariance[0, 0]))

    @property
    def u_taper(self) -> float:
        """Standard uncertainty of the hull's taper, a share."""
        return float(np.sqrt(self.sides_covariance[1, 1]))


def learn(
    pictures: Sequence[NDArray[np.uint8]],
    water: Singles,
    plane: Plane,
    *,
    polygon_mm: Floats,
    place_mm: Floats,
    heading_rad: Floats,
    card: Card,
    depth_share: float = 0.0,
    is_faint: bool = False,
    tone: Tone = PLAIN,
    rays_count: int = 60,
    held: Callable[[Floats, Floats], tuple[Floats, Floats]] | None = None,
    covered: Covered | None = None,
) -> Learnt:
    """Fit the hull and the N places.

    Args:
        pictures: N grey pictures.
        water: the light of the empty tank, NaN where unknown.
        plane: z = freeboard on the card.
        polygon_mm: (M, 2) first idea of the deck's outline, boat frame.
        place_mm: (N, 2) first idea of the places on `plane`, good to a few pixels.
        heading_rad: (N,) first idea of the headings.
        card: what the boat card says.
        depth_share: how much of the way to the foot point things on the floor seem moved (shadow.py).
        is_faint: the boat hardly stands out: its freeboard and taper are then left as they were told.
        tone: what light the pictures' numbers stand for.
        rays_count: how many rays cross the outline.
        held: places (N, 2) and headings (N,) put where something else says they are, after each round.
        covered: which pixels show something that lies on the boat: what it hides is not known.
    """
    step = plane.step_mm(place_mm.mean(axis=0))
    edge, is_corner = outline.laid_out(polygon_mm, rays_count, blunt_mm=_BLUNT_PX * step)
    hull = _first_hull(edge, is_corner, plane, place_mm=place_mm, step=step, card=card, wall_bend=tone.wall_bend)
    fit = _Fit(pictures, water, plane, hull, place_mm.copy(), heading_rad.copy(), card, depth_share, is_faint, tone)
    fit.covered = covered
    for number, blur in enumerate(_ROUNDS_BLUR_PX):
        if number == _SHADOW_FROM_ROUND:
            fit.look_for_shadow()
        fit.round(blur * step)
        if held is not None:
            fit.place, fit.heading = held(fit.place, fit.heading)
        if fit.is_lost or (blur == 0.0 and fit.is_settled):
            break
    return fit.result()


def _first_hull(
    edge: Floats,
    is_corner: NDArray[np.bool_],
    plane: Plane,
    *,
    place_mm: Floats,
    step: float,
    card: Card,
    wall_bend: float,
) -> Hull:
    away = float(np.hypot(*(place_mm - plane.foot_mm).T).max())
    widest = (card.freeboard_mm + 2 * card.u_freeboard_mm) / plane.height_mm * away
    offsets = np.arange(-5.0, 8.0 + widest / step, 1.0) * step
    rays = len(edge)
    return Hull(
        edge_mm=edge,
        normal=outline.normals(edge, is_corner),
        is_corner=is_corner,
        offsets_mm=offsets,
        deck=np.zeros((rays, len(offsets))),
        wall=np.full(rays, np.nan),
        noise=np.full((rays, len(offsets)), 4.0),
        freeboard_mm=card.freeboard_mm,
        taper=USUAL_FLARE + card.freeboard_mm / plane.height_mm,
        blur_mm=_ROUNDS_BLUR_PX[0] * step,
        wall_bend=wall_bend,
    )


class _Fit:
    """The running state of one fit."""

    def __init__(
        self,
        pictures: Sequence[NDArray[np.uint8]],
        water: Singles,
        plane: Plane,
        hull: Hull,
        place: Floats,
        heading: Floats,
        card: Card,
        depth_share: float,
        is_faint: bool,
        tone: Tone,
    ) -> None:
        self.pictures, self.water, self.plane, self.card = pictures, water, plane, card
        self.hull, self.place, self.heading = hull, place, heading
        self.depth_share, self.is_faint, self.tone = depth_share, is_faint, tone
        self.sides = card.sides_covariance()
        self.misfit = np.zeros(len(pictures))
        self.step = plane.step_mm(place.mean(axis=0))
        self.is_settled = self.is_lost = False
        self.covered: Covered | None = None
        self._tabled: tuple[Floats, Distance] | None = None
        self._walls: tuple[Floats, Reach] | None = None
        self._shaded: tuple[tuple[Shadow, Floats, Floats, Floats], Singles] | None = None
        self._moved = np.zeros(len(hull.edge_mm))
        self._shown = np.ones((len(pictures), len(hull.edge_mm)), bool)
        self._wall_contrast = np.inf
        self._stiffness = stiffness(hull.is_corner) / (_U_WAVY_PX * self.step) ** 2

    def round(self, blur_mm: float) -> None:
        """One step of Gauss-Newton for everything; `blur_mm` 0 fits the blur too."""
        free_blur = blur_mm == 0.0
        if not free_blur:
            self.hull = replace(self.hull, blur_mm=blur_mm)
        seen, water, shaded = self.samples()
        reach = self.reach()
        hidden = ~self._shown[:, :, None]
        self.hull = repainted(self.hull, np.where(hidden, np.nan, seen), wall_shade=self.tone.wall_shade)
        drawn = look(self.hull, shaded, reach)
        residual = seen - drawn.grey
        noise = noise_of(np.where(hidden, np.nan, residual))
        self.hull = replace(self.hull, noise=np.where(self.hull.own(), noise, np.inf))
        weight = weights(residual, self.hull.noise)
        if free_blur and not self.is_faint:
            weight = weight * self._look_for_hidden(residual, drawn.grey - shaded)[:, :, None]
        off = (residual / self.hull.noise) ** 2
        shown = self._shown[:, :, None] & np.isfinite(off)
        self.misfit = np.sqrt(np.where(shown, off, 0.0).sum(axis=(1, 2)) / np.maximum(shown.sum(axis=(1, 2)), 1))
        beside = middle(np.swapaxes(shaded, 1, 2).reshape(-1, shaded.shape[1]))
        apart = np.abs(self.hull.wall - beside)
        self._wall_contrast = float(np.median(apart[np.isfinite(apart)])) if np.isfinite(apart).any() else 0.0
        self._step(residual, weight, drawn, water, free_blur)

    def _look_for_hidden(self, residual: Floats, boat: Floats) -> Floats:
        """(N, M) how much each ray shows of the boat in each picture: a sail or a hand lies on some."""
        shows = showing(residual, boat, self.hull.noise, half=_WRONG)
        self._shown = shows > 0.5
        bare = self._shown.mean(axis=1) < _LEAST_SHOWN
        self._shown[bare] = True  # such a picture says nothing; it must not say that in NaN
        return np.where(bare[:, None], _HARDLY, shows)

    def samples(self) -> tuple[Floats, Floats, Floats]:
        """Grey along all rays (N, M, K): seen, in the light of the empty picture; empty; empty under the shadow."""
        u, v = self.hull.bundle().pixels(self.plane, self.place, self.heading)
        seen = read(self.pictures, u, v, tone=self.tone, covered=self.covered)
        water = sample(self.water, u, v)
        shaded = water.astype(np.float64)
        if self.hull.shadow.darkness > 0:
            shaded *= 1 - self.hull.shadow.darkness * self.shadow_share(self.hull.shadow)
        return relit(seen, shaded, outside(self.hull, self.reach())), water.astype(np.float64), shaded

    def reach(self) -> Floats:
        """(N, M) mm of visible wall, negative where hidden."""
        return self._reach().mm

    def _reach(self) -> Reach:
        """Found anew only when the edge, and with it all else, has moved."""
        if self._walls is None or self._walls[0] is not self.hull.edge_mm:
            slope = self.hull.freeboard_mm / self.plane.height_mm
            found = self.hull.walls().reach(self.place - self.plane.foot_mm, self.heading, slope)
            self._walls = self.hull.edge_mm, found
        return self._walls[1]

    def shadow_share(self, shadow: Shadow) -> Singles:
        """(N, M, K) how deep in the shadow each sample is; that of the hull's own is kept until something has moved."""
        state = (shadow, self.hull.edge_mm, self.place, self.heading)
        if self._shaded is not None and all(a is b for a, b in zip(self._shaded[0], state, strict=True)):
            return self._shaded[1]
        centre = shadow.moved(self.place, self.heading, self.plane.foot_mm)
        share = shadow.share(self._distance(), self.hull.rays(), centre)
        if shadow is self.hull.shadow:
            self._shaded = state, share
        return share

    def _distance(self) -> Distance:
        """Made anew only when the edge has moved."""
        if self._tabled is None or self._tabled[0] is not self.hull.edge_mm:
            self._tabled = self.hull.edge_mm, self.hull.distance()
        return self._tabled[1]

    def look_for_shadow(self) -> None:
        """Try the shadow all around the boat and start from where it explains most of the water beside the hull."""
        seen, water, _ = (levels[::3, ::2] for levels in self.samples())
        distance, rays = self._distance(), self.hull.rays()[::2]
        place, heading = self.place[::3], self.heading[::3]
        reach = np.maximum(self.reach()[::3, ::2], 0)[:, :, None]
        beside = (self.hull.offsets_mm > reach + 2.5 * self.hull.blur_mm) & np.isfinite(seen) & np.isfinite(water)
        missing = np.where(beside, 1 - seen / np.maximum(water, 8), 0.0)
        missing = np.clip(missing, -0.5, 0.5)
        best, gain = self.hull.shadow, 0.0
        for ring_mm in _SHADOW_RINGS:
            for turn in np.arange(12) * (2 * np.pi / 12) if ring_mm else [0.0]:
                offset = ring_mm * np.array([np.cos(turn), np.sin(turn)])
                tried = Shadow(offset, self.depth_share, 0.0, 3 * self.step)
                centre = tried.moved(place, heading, self.plane.foot_mm)
                share = np.where(beside, tried.share(distance, rays, centre), 0.0)
                share -= beside * share.sum() / max(beside.sum(), 1)
                power = float((share * share).sum())
                darkness = float((share * missing).sum()) / max(power, 1e-9)
                if darkness > 0.02 and darkness**2 * power > gain:
                    best, gain = replace(tried, darkness=min(darkness, 0.5)), darkness**2 * power
        self.hull = replace(self.hull, shadow=best)

    def _step(self, residual: Floats, weight: Floats, drawn: Look, water: Floats, free_blur: bool) -> None:
        N, M, _ = residual.shape
        c, s = np.cos(self.heading), np.sin(self.heading)
        nx, ny = self.hull.normal.T
        outward = np.stack([np.outer(c, nx) - np.outer(s, ny), np.outer(s, nx) + np.outer(c, ny)])
        reach = self._reach()
        # each unknown's column is a multiple of one profile along the ray
        profiles = [drawn.by_shift, drawn.by_wall, drawn.by_reach, drawn.by_blur]
        profiles += self._by_shadow(water * (1 - drawn.deck_share - drawn.wall_share))
        by = np.ones((N, M, len(_PROFILE_OF)))
        by[..., 0], by[..., 1], by[..., 2] = *outward, self.hull.arms()
        by[..., 5], by[..., 6] = reach.by_slope / self.plane.height_mm, reach.by_taper
        normal, right = assembled(*blocks(profiles, weight / CORRELATED, residual, of=_PROFILE_OF, by=by))
        diagonal, pull = self._beliefs(N, M, free_blur)
        normal[np.diag_indices_from(normal)] += diagonal
        edges = slice(3 * N, 3 * N + M)
        normal[edges, edges] += self._stiffness
        pull[edges] -= self._stiffness @ self._moved
        change, covariance = solved(normal, right + pull)
        self.is_lost = not np.isfinite(change).all()  # no picture shows enough of it: it will be found in none
        if self.is_lost:
            return
        self._apply(change, N, M)
        self.sides = self._witness() ** 2 * covariance[:2, :2]

    def _by_shadow(self, bare: Floats) -> list[Floats]:
        """Derivatives (N, M, K) by the shadow's offset (2), depth, darkness and softness; `bare` is water in view."""
        shadow = self.hull.shadow
        if shadow.darkness == 0.0:
            return [np.zeros_like(bare)] * 5
        share = self.shadow_share(shadow)
        dark = -bare * shadow.darkness
        nudged = [
            (replace(shadow, offset_mm=shadow.offset_mm + np.array([1.0, 0.0])), 1.0),
            (replace(shadow, offset_mm=shadow.offset_mm + np.array([0.0, 1.0])), 1.0),
            (replace(shadow, depth_share=shadow.depth_share + 0.002), 0.002),
            (replace(shadow, softness_mm=shadow.softness_mm + 0.3), 0.3),
        ]
        x, y, depth, soft = (dark * ((self.shadow_share(cast) - share) / by) for cast, by in nudged)
        return [x, y, depth, -bare * share, soft]

    def _beliefs(self, N: int, M: int, free_blur: bool) -> tuple[Floats, Floats]:
        """Diagonal weights and pulls of what is believed beforehand."""
        shadow = self.hull.shadow
        held = 1e9 if shadow.darkness == 0.0 else 0.0
        shape_held = 0.0 if free_blur and not self.is_faint else 1e9
        witness = self._witness()
        told = (witness / self.card.u_freeboard_mm) ** 2
        diagonal = np.concatenate(
            [
                np.tile([1 / (10 * self.step) ** 2, 1 / (10 * self.step) ** 2, 1 / 0.2**2], N),
                np.full(M, 1 / (3 * self.step) ** 2),
                np.full(M, 1 / _U_WALL_GREY**2),
                [shape_held + told, shape_held, 1 / (0.3 * self.step) ** 2 if free_blur else 1e12],
                [held + 0.1**2, held + 0.1**2, 1 / (0.1 * self.depth_share + 1e-3) ** 2, held + 1 / 0.2**2],
                [held + 1 / (1.0 * self.step) ** 2],
            ]
        )
        pull = np.zeros(len(diagonal))
        pull[3 * N + M : 3 * N + 2 * M] = (np.median(self.hull.wall) - self.hull.wall) / _U_WALL_GREY**2
        pull[-8] = (self.card.freeboard_mm - self.hull.freeboard_mm) * told
        pull[-3] = (self.depth_share - shadow.depth_share) * diagonal[-3]
        nearer = 1 - self.hull.freeboard_mm / self.plane.height_mm
        usual = 1 - (1 - USUAL_FLARE) * nearer
        diagonal[-7] += (witness / U_FLARE) ** 2
        pull[-7] += (usual - self.hull.taper) * (witness / U_FLARE) ** 2
        return diagonal, pull

    def _witness(self) -> float:
        faint = (_FAINT_WALL / max(self._wall_contrast, 1.0)) ** 2
        return _WITNESS + _WITNESS_PER_LIGHT * self.hull.typical_noise() + faint

    def _apply(self, change: Floats, N: int, M: int) -> None:
        pose = change[: 3 * N].reshape(N, 3)
        self.place = self.place + np.clip(pose[:, :2], -5 * self.step, 5 * self.step)
        self.heading = self.heading + np.clip(pose[:, 2], -0.1, 0.1)
        outward = np.clip(change[3 * N : 3 * N + M], -3 * self.step, 3 * self.step)
        boat, shadow = change[-BOAT_COUNT:], self.hull.shadow
        edge = float(np.sqrt(np.mean(outward**2)))
        self.is_settled = edge < _SETTLED_PX * self.step and abs(boat[0]) < _SETTLED_FREEBOARD_MM
        told, u = self.card.freeboard_mm, self.card.u_freeboard_mm
        self.hull = replace(
            self.hull,
            wall=np.clip(self.hull.wall + change[3 * N + M : 3 * N + 2 * M], 0, 255),
            freeboard_mm=float(np.clip(self.hull.freeboard_mm + boat[0], max(0.0, told - 4 * u), told + 4 * u)),
            taper=float(np.clip(self.hull.taper + boat[1], -0.1, 0.3)),
            blur_mm=float(np.clip(self.hull.blur_mm + boat[2], 0.4 * self.step, 4 * self.step)),
            shadow=Shadow(
                offset_mm=shadow.offset_mm + np.clip(boat[3:5], -5, 5),
                depth_share=float(np.clip(shadow.depth_share + boat[5], 0, 0.3)),
                darkness=float(np.clip(shadow.darkness + boat[6], 0, 0.8)),
                softness_mm=float(np.clip(shadow.softness_mm + boat[7], 0.7 * self.step, 30.0)),
            ),
        )
        self._moved += outward
        self._recentre(self.hull.edge_mm + outward[:, None] * self.hull.normal)

    def _recentre(self, edge: Floats) -> None:
        """Put the boat frame back into the area centroid and along the long axis, moving the places to suit."""
        sharp = outline.sharpened(edge, self.hull.is_corner, blur_mm=self.hull.blur_mm)
        _, centre, second = outline.moments(sharp)
        turn, elongation = outline.axis(second)
        if elongation < 1.1:
            turn = 0.0
        c, s = np.cos(self.heading), np.sin(self.heading)
        self.place = self.place + np.column_stack([c * centre[0] - s * centre[1], s * centre[0] + c * centre[1]])
        self.heading = self.heading + turn
        edge = outline.turned(edge - centre, -turn)
        self.hull = replace(self.hull, edge_mm=edge, normal=outline.normals(edge, self.hull.is_corner))

    def result(self) -> Learnt:
        """What was learnt so far."""
        sides = self.card.sides_covariance() if self.is_faint else self.sides
        _, _, shaded = self.samples()
        water = middle(np.swapaxes(shaded, 1, 2).reshape(-1, shaded.shape[1]))
        return Learnt(self.hull, self.place, self.heading, sides, self.misfit, water)
