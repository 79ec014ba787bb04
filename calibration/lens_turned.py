"""Pictures that lie upside down among others of one set: the camera was held the other way, or a program turned them.

A picture that is turned by half a turn is what a lens would see whose optical centre lies on the other side of the
picture's middle and whose decentring has the other sign; focal lengths and radial bend stay. So a mixed set is one in
which half-turning some of the pictures makes all of them fit one lens better. Which ones: every picture says, in its
own normal equations (pose projected out, linear about the common fit), what it would cost under the lens and under the
turned lens. From many beginnings each picture takes the cheaper side, the lens is fitted to that, and again, until
nothing changes; the best is fitted in earnest. (That is the classification form of the EM algorithm, Celeux and
Govaert 1992.)

A lens whose centre lies in the middle of the picture looks the same either way. Nothing can be told there, each picture
chooses by its noise alone, and nothing is wrong: the lens that comes out is the same. So nothing is said unless the fit
becomes better by far more than noise allows, and only those pictures are named that speak clearly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.lens import LENS_PARAMETERS, Floats, Lens
from calibration.lens_flat import by_bow
from calibration.lens_information import disagreement, information
from calibration.lens_solve import Solved, free_of, solve

OFF_AXIS = tuple(LENS_PARAMETERS.index(name) for name in ("cx_px", "cy_px", "p1", "p2"))
"""What half a turn of the pictures changes: the optical centre goes to the other side, the decentring changes sign."""

# Chance gives each view about one, and the best of very many ways to deal them is looked for. Of 1,550 simulated good
# sets of a lens that is centred the gain came to at most 35 (6 views; 23 but for one), 30 (10), 37 (14), 46 (24), where
# 37, 43, 49, 64 are wanted; beside one fisheye that passed for a usual lens, which lens_odd.py looks after.
_LEAST_GAIN, _GAIN_EACH = 28.0, 1.5
_CLEAR_GAIN = 9.0
_FEWEST = 5
_ROUNDS_COUNT, _STEPS_COUNT, _CHANCE_STARTS_COUNT = 3, 30, 24


@dataclass(frozen=True, slots=True)
class HalfTurned:
    """What a set says of half-turned pictures in it."""

    names: tuple[str, ...]
    """Pictures that clearly lie the other way than most; of a set that is mixed half and half, either half."""
    unsure: tuple[str, ...]
    """Pictures that fit about as well either way."""
    gain: float
    """By how much all pictures fit better with some turned: fall of the squared residuals over their variance, which is
    widened as the lens's own doubt is."""

    @property
    def is_sure(self) -> bool:
        """Whether that is more than noise can do."""
        return bool(self.names)


def half_turn(view: BoardSeen) -> BoardSeen:
    """The same picture upside down."""
    return replace(view, pixels=np.array([view.width_px - 1, view.height_px - 1]) - view.pixels)


def half_turned(views: Mapping[str, BoardSeen], solved: Solved) -> HalfTurned:
    """The pictures that lie upside down among the others; `solved` is a lens fitted to all of them as they are."""
    nothing = HalfTurned((), (), 0.0)
    if len(views) < _FEWEST:
        return nothing
    side, best, laid = np.ones(len(views)), solved, dict(views)
    try:
        for _ in range(_ROUNDS_COUNT):
            change = _sides(laid, best)
            if (change > 0).all():
                break
            side = side * change
            laid = {n: half_turn(v) if s < 0 else v for (n, v), s in zip(views.items(), side, strict=True)}
            best = solve(list(laid.values()), model=solved.lens.model, with_k3=8 in solved.free, near=_near(best))
        if (side < 0).sum() > len(views) / 2:
            side, laid = -side, {name: half_turn(view) for name, view in laid.items()}
            best = solve(list(laid.values()), model=solved.lens.model, with_k3=8 in solved.free)
        return nothing if (side > 0).all() else _weighed(laid, best, side)
    except (np.linalg.LinAlgError, cv2.error):
        return nothing


def _near(solved: Solved) -> Lens | None:
    return solved.lens if solved.lens.model == "fisheye" else None


def _weighed(laid: Mapping[str, BoardSeen], solved: Solved, side: Floats) -> HalfTurned:
    """What it is worth that the views are `laid` so; `side` (N,) is -1 for those that were turned for it."""
    costs = _Costs.of(laid, solved)
    least, lens = costs.fitted(np.ones(len(laid)))
    variance = least / costs.freedom
    variance *= disagreement(costs.curves, costs.slopes - costs.curves @ lens, variance) ** 2
    gain = (costs.fitted(side)[0] - least) / variance
    plain, turned = costs.each(lens)
    clear = dict(zip(laid, (turned - plain) / variance > _CLEAR_GAIN, strict=True))
    names = tuple(name for (name, is_clear), s in zip(clear.items(), side, strict=True) if is_clear and s < 0)
    sure = gain > _LEAST_GAIN + _GAIN_EACH * len(laid)
    return HalfTurned(names if sure else (), tuple(n for n, is_clear in clear.items() if not is_clear), gain)


def _sides(views: Mapping[str, BoardSeen], solved: Solved) -> Floats:
    """(N,) -1 for each view that should be turned, as far as the normal equations about `solved` know, else 1."""
    costs = _Costs.of(views, solved)
    count = len(views)
    singles = 1 - 2 * np.eye(count)
    chance = np.where(np.random.default_rng(count).random((_CHANCE_STARTS_COUNT, count)) < 0.5, -1.0, 1.0)
    best = np.ones(count)
    least = costs.fitted(best)[0]
    for start in (*singles, *chance):
        side = start
        for _ in range(_STEPS_COUNT):
            plain, turned = costs.each(costs.fitted(side)[1])
            chosen = np.where(plain <= turned, 1.0, -1.0)
            if (chosen == side).all():
                break
            side = chosen
        cost = costs.fitted(side)[0]
        if cost < least * (1 - 1e-9):
            best, least = side, cost
    return best


@dataclass(frozen=True, slots=True, eq=False)
class _Costs:
    """For each view the squared residuals as a quadratic of p unknowns: the lens's, counted from the middle of the
    picture so that half a turn is a change of signs, and how the board is bowed.

    A bow, or a bend that the model lacks, would else pass for a turn: it, too, goes with how the board is held.
    """

    signs: Floats
    """(p,) what half a turn does to each parameter."""
    curves: Floats
    """(N, p, p)"""
    slopes: Floats
    """(N, p)"""
    levels: Floats
    """(N,)"""
    freedom: int
    """Residuals less unknowns."""

    @classmethod
    def of(cls, views: Mapping[str, BoardSeen], solved: Solved) -> _Costs:
        lens = solved.lens
        whole = replace(solved, free=free_of(lens.model, with_k3=True))
        bows = by_bow(solved, list(views.values()))
        residuals, jacobians = information(whole, views, also=bows)
        at = np.array([getattr(lens, name) for name in LENS_PARAMETERS])
        at[2:4] -= lens.middle_px
        at = np.append(at[list(whole.free)], np.zeros(bows[0].shape[1]))
        scale = np.sqrt(np.sum([np.sum(one**2, axis=0) for one in jacobians], axis=0))
        scale = np.maximum(scale, np.finfo(float).tiny)
        at, scaled = at * scale, [one / scale for one in jacobians]
        curves = np.array([one.T @ one for one in scaled])
        pulls = np.array([one.T @ off for one, off in zip(scaled, residuals, strict=True)])
        levels = np.array([off @ off for off in residuals]) + 2 * pulls @ at + np.einsum("i,nij,j->n", at, curves, at)
        signs = np.ones(len(at))
        signs[[index for index, of in enumerate(whole.free) if of in OFF_AXIS]] = -1.0
        freedom = sum(len(off) for off in residuals) - len(at) - 6 * len(residuals)
        return cls(signs, curves, pulls + curves @ at, levels, freedom)

    def fitted(self, side: Floats) -> tuple[float, Floats]:
        """Squared residuals of all with the best lens for these sides, and that lens."""
        turned = np.where(side[:, None] < 0, self.signs, 1.0)
        curve = np.einsum("nij,ni,nj->ij", self.curves, turned, turned)
        slope = np.sum(turned * self.slopes, axis=0)
        lens = np.linalg.lstsq(curve, slope, rcond=1e-13)[0]
        return float(self.levels.sum() - slope @ lens), lens

    def each(self, lens: Floats) -> tuple[Floats, Floats]:
        """(N,) squared residuals of each view as it lies, and turned."""
        return self._under(lens), self._under(self.signs * lens)

    def _under(self, lens: Floats) -> Floats:
        cost: Floats = self.levels - 2 * self.slopes @ lens + np.einsum("i,nij,j->n", lens, self.curves, lens)
        return cost
