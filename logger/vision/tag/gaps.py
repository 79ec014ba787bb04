"""Where the print is hidden and the hull is not, the hull tells where the print must be.

A sail, a hand or a lamp's reflection hides a print as a whole, and a hull only in part. So the hull that was learnt
around the tag is laid over the pictures in which the print was lost, each from where the boat was just before or after.
A disc shows no heading: there the hull's axis is read in every so-manieth picture, or, of a round hull, which way
its middle lies from the disc.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.recording.folder import FrameStamps
from logger.vision import doubts
from logger.vision.batches import batched
from logger.vision.film import StoredFilm
from logger.vision.fit import Fit, Fitter
from logger.vision.plane import Plane, Windowed
from logger.vision.pursuit import complete
from logger.vision.stamps import forwards, times_ns
from logger.vision.tag.course import WIDENS_RAD_PER_S
from logger.vision.tag.hull import Around
from logger.vision.tag.seat import Seat
from logger.vision.tag.track import Poses

Floats = NDArray[np.float64]

_EVERY_S = 0.12
"""A heading is read so often ..."""
_APART_S = 0.5
"""... and where it could not be for longer, it is as doubtful as it was."""
_TOGETHER_COUNT = 24
_BLOCK_PX, _MARGIN_PX = 16, 24
_FEWEST_COUNT = 4
_ASTRAY_MM, _ASTRAY_TIMES = 5.0, 4.0
"""A place so far beside its neighbours' way, and by so many standard uncertainties, is doubtful."""


class Laid:
    """The hull on its deck's plane, from the print's poses and back."""

    def __init__(self, seat: Seat, around: Around) -> None:
        self.deck, self.learnt, self.found = around.deck, around.learnt, around.found
        self._seat, self._c = seat, np.array(seat.centroid_mm)
        self._at_deck = Plane(around.deck.view, seat.freeboard_mm)

    def hulls(self, poses: Poses) -> tuple[Floats, Floats]:
        """Places (N, 2) on the deck's plane and headings (N,)."""
        heading = poses.heading_rad + self._seat.turn_rad
        centroid = poses.place_mm + self._arms(heading)
        return self._at_deck.lowered(centroid, self.deck.z_mm), heading

    def hull(self, place_mm: Floats, heading_rad: float) -> Floats:
        """Place (2,) on the deck's plane of a hull with that heading, whose print is at `place_mm` (2,)."""
        centroid = place_mm + self._arms(np.array([heading_rad]))[0]
        place: Floats = self._at_deck.lowered(centroid[None], self.deck.z_mm)[0]
        return place

    def print(self, fit: Fit) -> tuple[Floats, float, Floats]:
        """Place, heading and covariance (3, 3) of the print, from the hull."""
        centroid = self.deck.lowered(fit.place_mm[None], self._seat.freeboard_mm)[0]
        heading = fit.heading_rad
        arm = self._arms(np.array([heading]))[0]
        lever = np.eye(3)
        lever[:2, 2] = arm[1], -arm[0]
        c, s = np.cos(heading), np.sin(heading)
        ways = np.array([[c, -s], [s, c]])
        covariance = lever @ fit.covariance @ lever.T
        covariance[:2, :2] += ways @ np.diag(np.square(self._seat.scatter_mm)) @ ways.T
        return centroid - arm, heading - self._seat.turn_rad, covariance

    def by_arm(self, fit: Fit, place_mm: Floats, covariance_mm2: Floats) -> tuple[float, float]:
        """Heading and its variance from where the hull's centroid lies as seen from the print at `place_mm` (2,)."""
        x, y = self.deck.lowered(fit.place_mm[None], self._seat.freeboard_mm)[0] - place_mm
        across = np.array([-y, x]) / np.hypot(x, y)
        random = across @ (fit.covariance[:2, :2] + covariance_mm2) @ across + self._seat.scatter_mm[1] ** 2
        own = np.arctan2(self._c[1], self._c[0])
        return float(np.arctan2(y, x) - own), float(random / (self._c @ self._c))

    def _arms(self, heading_rad: Floats) -> Floats:
        """(N, 2) from the print to the centroid."""
        c, s = np.cos(heading_rad), np.sin(heading_rad)
        x, y = self._c
        return np.column_stack([c * x - s * y, s * x + c * y])


def filled(poses: Poses, seat: Seat, film: StoredFilm, *, stamps: FrameStamps, rig: Rig) -> Poses:
    """The poses, and those of pictures that show the hull only.

    Args:
        poses: of the print, at the seat's height.
        seat: how the hull lies around it.
        film: all pictures.
        stamps: of the same pictures.
        rig: with the camera's delay.
    """
    missed = sorted(set(range(film.count)) - set(poses.frame.tolist()))
    if not missed or seat.around is None or doubts.shines(seat.around.learnt):
        return poses
    laid, film = Laid(seat, seat.around), seat.around.film or film
    place, heading = laid.hulls(poses)
    known = {
        int(n): Fit(place[k], float(heading[k]), poses.covariance[k], 1.0, 1.0, 1.0, 1.0)
        for k, n in enumerate(poses.frame)
    }
    t_s = (stamps.t_ns - stamps.t_ns[0]) / 1e9
    fits = complete(film, t_s, plane=laid.deck, found=laid.found, learnt=laid.learnt, fits=known)
    new = [n for n in missed if n in fits and fits[n].good]
    return poses if not new else _joined(poses, new, [laid.print(fits[n]) for n in new], stamps, rig)


def _joined(
    poses: Poses, new: Sequence[int], found: Sequence[tuple[Floats, float, Floats]], stamps: FrameStamps, rig: Rig
) -> Poses:
    """With the poses found in the pictures `new`."""
    numbers = np.concatenate([poses.frame, np.array(new, np.int64)])
    order = np.argsort(numbers)
    place = np.concatenate([poses.place_mm, [p for p, _, _ in found]])
    heading = np.concatenate([poses.heading_rad, [h for _, h, _ in found]])
    covariance = np.concatenate([poses.covariance, [c for _, _, c in found]])
    doubtful = np.concatenate([poses.doubtful, np.zeros(len(new), bool)])[order]
    numbers, place, heading, covariance = numbers[order], place[order], heading[order], covariance[order]
    t_ns = times_ns(stamps, rig, numbers, poses.plane.pixels(place)[:, 1])
    u = np.sqrt(np.trace(covariance[:, :2, :2], axis1=1, axis2=2))
    doubtful |= np.isin(numbers, new) & astray(t_ns / 1e9, place, u)
    kept = forwards(t_ns)
    return replace(
        poses, frame=numbers[kept], t_ns=t_ns[kept], place_mm=place[kept], heading_rad=np.unwrap(heading)[kept],
        covariance=covariance[kept], doubtful=doubtful[kept],
    )  # fmt: skip


def astray(t_s: Floats, place_mm: Floats, u_mm: Floats) -> NDArray[np.bool_]:
    """(N,) places beside the straight way from the one before to the one after: a hull was laid over something else."""
    found = np.zeros(len(t_s), bool)
    share = ((t_s[1:-1] - t_s[:-2]) / (t_s[2:] - t_s[:-2]))[:, None]
    beside = np.hypot(*(place_mm[1:-1] - place_mm[:-2] - share * (place_mm[2:] - place_mm[:-2])).T)
    found[1:-1] = beside > np.maximum(_ASTRAY_MM, _ASTRAY_TIMES * u_mm[1:-1])
    return found


def headed(poses: Poses, seat: Seat, film: StoredFilm) -> Poses:
    """Poses of a disc with headings from the hull's axis, or from the way to its middle, where that shows."""
    if seat.around is None or seat.u_turn_rad is None or doubts.shines(seat.around.learnt):
        return poses
    laid, film = Laid(seat, seat.around), seat.around.film or film
    t_s = (poses.t_ns - poses.t_ns[0]) / 1e9
    rows = np.flatnonzero(np.diff(np.floor(t_s / _EVERY_S), prepend=-1) > 0)
    fits = _axes(laid, poses, rows, film)
    at = np.array(sorted(fits), np.int64)
    if len(at) < _FEWEST_COUNT:
        return poses
    if seat.is_by_arm:
        told = [laid.by_arm(fits[k], poses.place_mm[k], poses.covariance[k, :2, :2]) for k in at.tolist()]
    else:
        told = [(fits[k].heading_rad, float(fits[k].covariance[2, 2])) for k in at.tolist()]
    seen, own = np.unwrap([heading for heading, _ in told]), np.sqrt([variance for _, variance in told])
    heading = np.interp(t_s, t_s[at], seen)
    u = np.hypot(np.interp(t_s, t_s[at], own), _between(seen))
    away = np.abs(t_s[:, None] - t_s[at][None]).min(axis=1)
    outside = np.maximum(np.maximum(t_s[at[0]] - t_s, t_s - t_s[at[-1]]), 0.0)
    u = np.hypot(u, WIDENS_RAD_PER_S * outside)
    is_near = away < _APART_S
    covariance = poses.covariance.copy()
    covariance[is_near, 2, 2] = u[is_near] ** 2
    return replace(poses, heading_rad=heading, covariance=covariance)


def _between(heading_rad: Floats) -> float:
    """How far straight lines from each to the next are off: what is seen on lines twice as long, which miss more."""
    seen = heading_rad[1:-1] - (heading_rad[:-2] + heading_rad[2:]) / 2
    return float(1.4826 * np.median(np.abs(seen)))


def _axes(laid: Laid, poses: Poses, rows: NDArray[np.int64], film: StoredFilm) -> dict[int, Fit]:
    """Good fits of the hull by row of `poses`."""
    fitter = Fitter(laid.learnt.hull.thinned(), laid.deck, laid.found.water, laid.found.tone)
    wanted = _lowest(laid, poses, rows)
    row_of = {int(poses.frame[k]): int(k) for k in rows}
    place, heading = laid.hulls(poses)
    found: dict[int, Fit] = {}
    for batch in batched(film.upper(wanted), _TOGETHER_COUNT):
        at = [row_of[number] for number, _, _ in batch]
        fits = fitter.fits([picture for _, picture, _ in batch], place_mm=place[at], heading_rad=heading[at])
        for k, fit, (_, picture, _) in zip(at, fits, batch, strict=True):
            if not fit.good and found:
                fit = _beside(fitter, laid, picture, poses.place_mm[k], found[max(found)].heading_rad)
            if fit.good:
                found[k] = fit
    _before(fitter, laid, poses, film, wanted, found)
    return found


def _lowest(laid: Laid, poses: Poses, rows: NDArray[np.int64]) -> dict[int, int]:
    """How many upper rows of each picture show the hull."""
    place, heading = laid.hulls(poses)
    _, v = laid.learnt.hull.bundle().pixels(laid.deck, place[rows], heading[rows])
    lowest = _BLOCK_PX * np.ceil((v.max(axis=(1, 2)) + _MARGIN_PX) / _BLOCK_PX).astype(int)
    return {int(poses.frame[k]): int(low) for k, low in zip(rows, lowest, strict=True)}


def _beside(fitter: Fitter, laid: Laid, picture: Windowed, place_mm: Floats, heading_rad: float) -> Fit:
    """By a heading seen shortly before or after: that of travel is too far off where a boat swings or is hidden."""
    place = laid.hull(place_mm, heading_rad)
    fit = fitter.fit(picture, place_mm=place, heading_rad=heading_rad)
    return fit if fit.good else fitter.fit_partly(picture, place_mm=place, heading_rad=heading_rad)


def _before(
    fitter: Fitter, laid: Laid, poses: Poses, film: StoredFilm, wanted: Mapping[int, int], found: dict[int, Fit]
) -> None:
    """What was not found is tried again from what was found after it, backwards: a boat at rest has no travel yet."""
    row_of = {int(n): k for k, n in enumerate(poses.frame)}
    dark = [n for n in sorted(wanted) if row_of[n] not in found and found and row_of[n] < max(found)]
    for start in range(0, len(dark), _TOGETHER_COUNT):
        some = dark[max(0, len(dark) - start - _TOGETHER_COUNT) : len(dark) - start]
        for number, picture, _ in sorted(film.upper({n: wanted[n] for n in some}), key=itemgetter(0), reverse=True):
            k = row_of[number]
            after = min(row for row in found if row > k)
            fit = _beside(fitter, laid, picture, poses.place_mm[k], found[after].heading_rad)
            if fit.good:
                found[k] = fit
