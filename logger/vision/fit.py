"""Lay the learnt hull over one picture: place and heading by least squares along its rays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.vision.hull import Floats, Hull, look
from logger.vision.light import PLAIN, Tone
from logger.vision.plane import Light, Plane, Singles, Windowed, sample
from logger.vision.rays import CORRELATED, outside, relit, showing, weights

_CLOSE_PX = 0.05
"""A step that moves the edge by less than this (root mean square of the rays) ends the search."""
_SETTLED = 4.0
"""A last step of so many times that is no end yet."""
_U_HEADING_RAD = 0.05
"""How far a heading is believed to turn from its start: only a round boat, which shows none, is held by it."""
_U_NEAR_MM, _U_NEAR_RAD = 3.0, 0.02
"""How far a boat of which a part is seen is believed to be from where it must be, whichever step it is in."""
_WRONG_AT_FIRST, _WRONG = 0.5, 0.2
"""A ray half shows the boat's edge if so much of what it has to show is wrong; more at first, as the start is rough."""
_PARTS_COUNT = 8
AGREED_PX = 0.5
"""The parts of an outline agree about a place if that is no more doubtful by them (no whole fit that was right had
more than 0.55 on simulated runs)."""
_LEAST_SHOWN, _U_PART_MM, _U_PART_RAD = 0.37, 2.5, 0.05
"""A part of the boat tells of the whole if it has so much to show, and tells place and heading as well as this."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """One picture's answer, on the plane it was read on."""

    place_mm: Floats
    heading_rad: float
    covariance: Floats
    """(3, 3) of x, y (mm) and heading (rad), random part."""
    strength: float
    """1 if the boat stands out from the water as it was learnt to, 0 if only water is there."""
    misfit: float
    """Root mean square of residual over noise; 1 is ordinary."""
    known: float
    """Share of the samples that could be used (in the picture, over known water)."""
    agreeing: float
    """Share of the rays that show the boat's edge as it was learnt, each counting as much as it has to show: a fit of
    the wrong half has few."""
    is_settled: bool = True
    """Whether the search had come to its end."""
    is_partial: bool = False
    """Whether only those rays were used that show the boat's edge."""
    u_parts_mm: float = 0.0
    """How far the parts of the outline disagree about the place: a jackknife's standard uncertainty."""

    @property
    def good(self) -> bool:
        """Whether the picture really shows this hull at this place."""
        if not self.is_settled:
            return False
        if self.is_partial:
            return self.agreeing > _LEAST_SHOWN and self.is_precise
        return self.stands_out and self.misfit < 4.0

    @property
    def is_precise(self) -> bool:
        """Whether what is seen tells place and heading well enough, and the search had come to its end."""
        u_place = float(np.sqrt(np.linalg.eigvalsh(self.covariance[:2, :2])[-1]))
        return self.is_settled and u_place < _U_PART_MM and float(np.sqrt(self.covariance[2, 2])) < _U_PART_RAD

    @property
    def stands_out(self) -> bool:
        """Whether the boat as a whole is there, whatever lies on it."""
        return 0.7 < self.strength < 1.35 and self.known > 0.5 and self.agreeing > 0.7


class Fitter:
    """Lays one hull over pictures of one film."""

    def __init__(self, hull: Hull, plane: Plane, water: Singles, tone: Tone = PLAIN) -> None:
        self.hull, self.plane, self._water, self._tone = hull, plane, water, tone
        self._rays, self._distance = hull.rays(), hull.distance()
        self._bundle = hull.bundle()
        self._walls, self._arms = hull.walls(), hull.arms()
        self._slope = hull.freeboard_mm / plane.height_mm
        self._foot = plane.foot_mm
        self._close = _CLOSE_PX * plane.step_mm(plane.foot_mm)
        self._belief = np.diag([1e-9, 1e-9, 1 / _U_HEADING_RAD**2])
        self._near = np.diag([1 / _U_NEAR_MM**2, 1 / _U_NEAR_MM**2, 1 / _U_NEAR_RAD**2])

    def fit(self, picture: Windowed, *, place_mm: Floats, heading_rad: float, steps: int = 5) -> Fit:
        """The best place near `place_mm` (2,) on the plane, from at most `steps` Gauss-Newton steps."""
        return self.fits([picture], place_mm=place_mm[None], heading_rad=np.array([heading_rad]), steps=steps)[0]

    def fits(self, pictures: Sequence[Windowed], *, place_mm: Floats, heading_rad: Floats, steps: int = 5) -> list[Fit]:
        """The same for N pictures, from N places (N, 2) and headings (N,): together they take half the time."""
        search = _Search(place_mm, heading_rad)
        lights = [Light(picture, self._tone) for picture in pictures]
        found: dict[int, Fit] = {}
        for number in range(steps):
            seen = self._compared([lights[k] for k in search.open], search.place, search.heading)
            step = self._step(seen, search.heading, self._belief)
            search.move(step.change, most_mm=3 * self.hull.blur_mm, most_rad=0.1)
            ended = (step.rms_mm < self._close) | (number == steps - 1)
            if ended.any():
                fits = self._wholes(search.poses()[ended], seen.of(ended), step.of(ended))
                found |= zip([search.open[row] for row in np.flatnonzero(ended).tolist()], fits, strict=True)
            if search.close(ended):
                break
        return [found[k] for k in range(len(pictures))]

    def _wholes(self, poses: Floats, seen: _Compared, step: _Step) -> list[Fit]:
        """What N searches (poses (N, 3)) have come to in their last step."""
        shown = (seen.weight * seen.boat * seen.apart).sum(axis=-1)
        whole = (seen.weight * seen.boat**2).sum(axis=-1)
        most = np.maximum(whole.sum(axis=-1), 1e-12)
        strength = shown.sum(axis=-1) / most
        agreeing = np.where(np.abs(shown - whole) < 0.4 * whole, whole, 0.0).sum(axis=-1) / most
        misfit = seen.misfits(self.hull.noise)
        wider = np.where(np.isfinite(misfit), np.maximum(1.0, misfit**2), 1.0)
        u_parts = _disagreeing(step.of_rays, self._belief)
        covariance = _widened(step.covariance * wider[:, None, None], u_parts)
        known = seen.known.mean(axis=(-2, -1))
        is_settled = step.rms_mm < _SETTLED * self._close
        return [
            Fit(
                place_mm=pose[:2],
                heading_rad=float(pose[2]),
                covariance=covariance[row],
                strength=float(strength[row]),
                misfit=float(misfit[row]),
                known=float(known[row]),
                agreeing=float(agreeing[row]),
                is_settled=bool(is_settled[row]),
                u_parts_mm=float(u_parts[row]),
            )
            for row, pose in enumerate(poses)
        ]

    def fit_partly(self, picture: Windowed, *, place_mm: Floats, heading_rad: float) -> Fit:
        """The best place near one that is nearly right already, from those rays that show the boat's edge.

        A hand, a sail or a straw hides some of the rays; which ones is judged anew in every step. What is good here is
        only so because the boat was known to be near: by itself a part may be like a part of something else.
        """
        return self.fits_partly(picture, place_mm=place_mm[None], heading_rad=np.array([heading_rad]))[0]

    def fits_partly(self, picture: Windowed, *, place_mm: Floats, heading_rad: Floats, steps: int = 12) -> list[Fit]:
        """The same from N places (N, 2) and headings (N,) in one picture."""
        search, light = _Search(place_mm, heading_rad), Light(picture, self._tone)
        found: dict[int, Fit] = {}
        for number in range(steps if len(place_mm) else 0):
            seen = self._compared([light] * len(search.open), search.place, search.heading)
            half = _WRONG_AT_FIRST if number == 0 else _WRONG
            shows = showing(seen.residual, seen.boat, self.hull.noise, half=half)
            step = self._step(seen, search.heading, self._near, shows[..., None])
            search.move(step.change, most_mm=self.hull.blur_mm, most_rad=0.03)
            ended = (step.rms_mm < self._close) & (number > 1) | (number == steps - 1)
            for row in np.flatnonzero(ended).tolist():
                fit = self._partial(search.poses()[row], seen.of(row), step.covariance[row], shows[row] > 0.5)
                found[search.open[row]] = replace(fit, is_settled=bool(step.rms_mm[row] < _SETTLED * self._close))
            if search.close(ended):
                break
        return [found[k] for k in range(len(place_mm))]

    def _partial(self, pose: Floats, seen: _Compared, covariance: Floats, is_shown: NDArray[np.bool_]) -> Fit:
        whole = ((seen.boat / self.hull.noise) ** 2).sum(axis=1)
        agreeing = float(whole[is_shown].sum() / max(whole.sum(), 1e-12))
        misfit = seen.misfit(self.hull.noise, seen.known & is_shown[:, None])
        covariance = covariance * (max(1.0, misfit**2) if np.isfinite(misfit) else 1.0)
        known = float(seen.known.mean())
        return Fit(pose[:2], float(pose[2]), covariance, 1.0, misfit, known, agreeing, is_partial=True)

    def _step(self, seen: _Compared, heading_rad: Floats, belief: Floats, shows: Floats | float = 1.0) -> _Step:
        """One Gauss-Newton step of N searches; each ray counts as much as it `shows` (N, M, 1)."""
        lever = self._lever(heading_rad)
        weighted = shows * seen.weight * seen.by_shift / CORRELATED
        stiff, pull = (weighted * seen.by_shift).sum(axis=-1), (weighted * seen.residual).sum(axis=-1)
        normal = np.swapaxes(lever * stiff[..., None], 1, 2) @ lever + belief
        covariance = np.asarray(np.linalg.inv(normal), np.float64)
        change = (covariance @ (lever * pull[..., None]).sum(axis=1)[..., None])[..., 0]
        edge = (lever @ change[..., None])[..., 0]
        return _Step(change, covariance, np.sqrt((edge * edge).mean(axis=1)), _Rays(lever, stiff, pull))

    def _lever(self, heading_rad: Floats) -> Floats:
        """(N, M, 3) by how much each ray's edge moves outward per mm of x, per mm of y, and per radian."""
        c, s = np.cos(heading_rad)[:, None], np.sin(heading_rad)[:, None]
        x, y = self.hull.normal.T
        arms = np.broadcast_to(self._arms, (len(heading_rad), len(x)))
        lever: Floats = np.stack([c * x - s * y, s * x + c * y, arms], axis=-1)
        return lever

    def _compared(self, lights: Sequence[Light], place_mm: Floats, heading_rad: Floats) -> _Compared:
        """N pictures' light along all rays against the model."""
        u, v = self._bundle.pixels(self.plane, place_mm, heading_rad)
        reach = self._walls.reach(place_mm - self._foot, heading_rad, self._slope).mm
        bare = sample(self._water, u, v)
        water: Floats = bare.astype(np.float64)
        if self.hull.shadow.darkness > 0:
            centre = self.hull.shadow.moved(place_mm, heading_rad, self._foot)
            water = bare * (1 - self.hull.shadow.darkness * self.hull.shadow.share(self._distance, self._rays, centre))
        lit = np.empty(u.shape, np.float32)
        for k, light in enumerate(lights):
            lit[k] = light.at(u[k], v[k])
        seen = relit(lit, water, outside(self.hull, reach))
        drawn = look(self.hull, water, reach)
        residual = seen - drawn.grey
        weight = weights(residual, self.hull.noise)
        known = weight > 0
        return _Compared(
            residual=np.where(known, residual, 0.0),
            weight=weight,
            known=known,
            by_shift=np.where(known, drawn.by_shift, 0.0),
            boat=np.where(known, drawn.grey - water, 0.0),
            apart=np.where(known, seen - water, 0.0),
        )


class _Search:
    """N searches that go on side by side; each is closed when it has ended."""

    def __init__(self, place_mm: Floats, heading_rad: Floats) -> None:
        self.place, self.heading = np.array(place_mm, np.float64), np.array(heading_rad, np.float64)
        self.open = list(range(len(self.heading)))

    def move(self, change: Floats, *, most_mm: float, most_rad: float) -> None:
        """Move all by `change` (N, 3), no farther than so much at once."""
        self.place = self.place + np.clip(change[:, :2], -most_mm, most_mm)
        self.heading = self.heading + np.clip(change[:, 2], -most_rad, most_rad)

    def poses(self) -> Floats:
        """(N, 3) x, y, heading of those that are open."""
        return np.column_stack([self.place, self.heading])

    def close(self, ended: NDArray[np.bool_]) -> bool:
        """Close those that have ended (N,); whether none is left."""
        self.place, self.heading = self.place[~ended], self.heading[~ended]
        self.open = [k for k, is_over in zip(self.open, ended, strict=True) if not is_over]
        return not self.open


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
    """N pictures along all rays; all (N, M, K), or of one picture (M, K); 0 where nothing is known."""

    residual: Floats
    """Seen light less the model's."""
    weight: Floats
    known: NDArray[np.bool_]
    by_shift: Floats
    boat: Floats
    """The model's light less the water's."""
    apart: Floats
    """Seen light less the water's."""

    def of(self, rows: int | NDArray[np.bool_]) -> _Compared:
        """One of the pictures, or some."""
        return _Compared(
            self.residual[rows],
            self.weight[rows],
            self.known[rows],
            self.by_shift[rows],
            self.boat[rows],
            self.apart[rows],
        )

    def misfit(self, noise: Floats, which: NDArray[np.bool_]) -> float:
        """Root mean square of one picture's residual over noise of those samples; infinite if there are none."""
        return float(np.sqrt(np.mean((self.residual / noise)[which] ** 2))) if which.any() else np.inf

    def misfits(self, noise: Floats) -> Floats:
        """(N,) the same of each picture and of what is known of it."""
        count = self.known.sum(axis=(-2, -1))
        square = ((self.residual / noise) ** 2).sum(axis=(-2, -1)) / np.maximum(count, 1)
        return np.where(count > 0, np.sqrt(square), np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """What M rays say of N poses, or of one without the first axis."""

    lever: Floats
    """(N, M, 3)"""
    stiff: Floats
    """(N, M)"""
    pull: Floats

    def of(self, rows: NDArray[np.bool_]) -> _Rays:
        """Those of some poses."""
        return _Rays(self.lever[rows], self.stiff[rows], self.pull[rows])


def _disagreeing(rays: _Rays, belief: Floats) -> Floats:
    """(N,) standard uncertainty of places, mm, from how far they move as parts of the outline are left out in turn.

    Neighbouring rays are wrong together, as a sail, a shadow or a glint lies on many of them: so they are left out.
    """
    parts = np.arange(rays.stiff.shape[1]) * _PARTS_COUNT // rays.stiff.shape[1]
    share = np.array([parts == k for k in range(_PARTS_COUNT)], np.float64)
    squares = rays.lever[..., :, None] * rays.lever[..., None, :] * rays.stiff[..., None, None]
    normal = (share @ squares.reshape(*rays.stiff.shape, 9)).reshape(-1, _PARTS_COUNT, 3, 3)
    pull = share @ (rays.lever * rays.pull[..., None])
    all_normal, all_pull = normal.sum(axis=1) + belief, pull.sum(axis=1)
    whole = np.linalg.solve(all_normal, all_pull[..., None])[..., 0]
    without = np.linalg.solve(all_normal[:, None] - normal, (all_pull[:, None] - pull)[..., None])[..., 0]
    apart = (without - whole[:, None])[..., :2]
    return np.asarray(np.sqrt((_PARTS_COUNT - 1) / _PARTS_COUNT * (apart**2).sum(axis=(1, 2))), np.float64)


def _widened(covariance: Floats, u_parts_mm: Floats) -> Floats:
    """Covariances (N, 3, 3), at least as doubtful as the parts of each outline disagree (N,)."""
    widened = covariance.copy()
    told = covariance[:, 0, 0] + covariance[:, 1, 1]
    widened[:, [0, 1], [0, 1]] += (np.maximum(0.0, u_parts_mm**2 - told) / 2)[:, None]
    return widened


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One step of N searches."""

    change: Floats
    """(N, 3) of x, y and heading."""
    covariance: Floats
    """(N, 3, 3)"""
    rms_mm: Floats
    """(N,) how far it moves the edge, root mean square of the rays."""
    of_rays: _Rays

    def of(self, rows: NDArray[np.bool_]) -> _Step:
        """That of some of them."""
        return _Step(self.change[rows], self.covariance[rows], self.rms_mm[rows], self.of_rays.of(rows))
