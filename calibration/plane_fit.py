"""The camera over the water plane, from everything that was seen of it together.

Marks stand at known places of the tank: on the rim, at the waterline, on the floor dry or under water. Boards float:
each picture of one has its own place (x, y) and turn on the water, but all share the water plane. One least squares fit
takes them all, with the camera's pose (6 unknowns), three unknowns for each picture of a board, and one for each thing
that many points share and that is only known with some doubt: the water's depth, the slope of the floor, the printed
scale of a board. The last ones begin at what was measured, with the doubt that was stated, and the pictures may say
more about them than the ruler did. That is how a floor grid seen dry and then through water tells the water's depth.

The estimate is linear in small errors, so every cause of doubt is carried through by it: found points and each mark's
own place together, each shared thing by itself, the lens by its covariance. Residuals larger than stated widen the
first of these (Birge ratio; the lens's own doubt is allowed for), never narrow it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares

from calibration.lens import Floats, Lens, moved_lens
from calibration.variations import Camera, named_sources
from calibration.waterplane import Pose, View, rotation_matrix

_ROUNDS_COUNT = 2
_TELLING_PULL, _EXPECTED_PULL = 3.0, 2.0
"""What the pictures make of a shared thing is told apart from what was measured beyond so many standard deviations; its
doubt is then made as wide as if they were so many apart."""


@dataclass(frozen=True, slots=True, eq=False)
class MarksSeen:
    """Marks of known places, found in one picture. N marks."""

    points_mm: Floats
    """(N, 3) tank frame, z = 0 at the water, under water or dry."""
    pixels: Floats
    """(N, 2) where they were found."""
    u_px: float | Floats = 0.3
    """Standard uncertainty of each found coordinate; one number or (N,)."""
    u_mm: float | Floats = 0.5
    """Standard uncertainty of each coordinate of a mark, independent between marks; one number or (N,)."""
    is_wet: bool = False
    """True: those below z = 0 were seen through water; False: there was only air, as over a dry floor."""
    again_px: Floats | None = None
    """(N, 2) where the same marks were found through water, after the dry tank was filled; None: nobody looked."""
    shared: Mapping[str, Floats] = field(default_factory=dict)
    """What they share, by name: (N, 3) by how much each mark moves if it is +1 standard uncertainty more."""

    @property
    def looks(self) -> tuple[tuple[Floats, bool], ...]:
        """Pixels (N, 2) of each time they were looked at, and whether it was through water."""
        first = (self.pixels, self.is_wet)
        return (first,) if self.again_px is None else (first, (self.again_px, True))


@dataclass(frozen=True, slots=True, eq=False)
class BoardSeenAfloat:
    """One picture of a board that floats. N corners."""

    points_mm: Floats
    """(N, 3) corners in the board's own frame: x, y as seen from above, y to the left of x, z above the water."""
    pixels: Floats
    """(N, 2)"""
    u_px: float = 0.3
    """Standard uncertainty of each found coordinate."""
    u_mm: float = 0.1
    """Standard uncertainty of each corner on its board, independent between corners."""
    shared: Mapping[str, Floats] = field(default_factory=dict)
    """As for marks, in the board's own frame."""

    @property
    def looks(self) -> tuple[tuple[Floats, bool], ...]:
        """As for marks: once, through air."""
        return ((self.pixels, False),)


@dataclass(frozen=True, slots=True)
class Learnt:
    """What the pictures came to say of a shared thing, in standard uncertainties of what was measured."""

    off: float
    """How far they moved it; of dimension one."""
    u_off: float
    """Standard uncertainty that is left; 1: they said nothing. Of dimension one."""
    pull: float
    """How far they moved it over how far chance moves it; of dimension one."""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneFit:
    """The fitted camera over its water plane, and how well everything agrees."""

    view: View
    """With one variation for each independent source of doubt."""
    learnt: Mapping[str, Learnt]
    """By name of the shared thing."""
    residuals_px: tuple[Floats, ...]
    """For each set of marks, once or twice looked at, then each board's, (N, 2) found minus fitted."""
    boards_at: tuple[tuple[float, float, float], ...]
    """For each picture of a board, where its frame lies: x mm, y mm, turn in rad."""
    misfit: float
    """Residuals over stated doubt per degree of freedom (root of the mean square); about 1 if all is as stated."""
    doubts: tuple[str, ...] = ()
    """What a person should know, one sentence each."""

    @property
    def rms_px(self) -> float:
        """Root mean square distance of found from fitted points. Says nothing of what all points share."""
        every = np.concatenate(self.residuals_px)
        return float(np.sqrt(np.mean(np.sum(every**2, axis=1))))


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """The unknowns as they stand."""

    pose: Pose
    boards: Floats
    """(B, 3) x mm, y mm, turn rad."""
    shared: Floats
    """(K,)"""

    def stepped(self, step: Floats) -> _State:
        boards_count = 3 * len(self.boards)
        return _State(
            self.pose.moved(step[:3], step[3:6]),
            self.boards + step[6 : 6 + boards_count].reshape(-1, 3),
            self.shared + step[6 + boards_count :],
        )


class _Problem:
    """Residuals of everything that was seen."""

    def __init__(self, lens: Lens, marks: Sequence[MarksSeen], boards: Sequence[BoardSeenAfloat]) -> None:
        self.lens, self.marks, self.boards = lens, marks, boards
        self.every: tuple[MarksSeen | BoardSeenAfloat, ...] = (*marks, *boards)
        self.names = tuple(dict.fromkeys(name for seen in self.every for name in seen.shared))

    def places(self, state: _State) -> list[Floats]:
        """(N, 3) tank places of each picture's points."""
        found = [self._shifted(seen, state) for seen in self.marks]
        for seen, (x, y, turn) in zip(self.boards, state.boards, strict=True):
            c, s = math.cos(turn), math.sin(turn)
            own = self._shifted(seen, state)
            found.append(own @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + [x, y, 0])
        return found

    def _shifted(self, seen: MarksSeen | BoardSeenAfloat, state: _State) -> Floats:
        points = seen.points_mm
        for name, value in zip(self.names, state.shared, strict=True):
            if name in seen.shared and value:
                points = points + value * seen.shared[name]
        return points

    def project(self, view: View, places: Sequence[Floats]) -> list[Floats]:
        """(N, 2L) pixels of each picture's points, in each of their L looks."""
        return [
            np.hstack([view.to_pixels_through_water(p) if is_wet else view.to_pixels(p) for _, is_wet in seen.looks])
            for p, seen in zip(places, self.every, strict=True)
        ]

    def off_px(self, state: _State, lens: Lens | None = None) -> list[Floats]:
        """(N, 2L) fitted minus found, of each picture."""
        shown = self.project(View(lens or self.lens, state.pose), self.places(state))
        return [
            there - np.hstack([pixels for pixels, _ in seen.looks])
            for there, seen in zip(shown, self.every, strict=True)
        ]

    def whitening(self, state: _State) -> list[Floats]:
        """(N, 2L, 2L) for each picture: turns its residuals into independent ones of unit standard deviation.

        A mark that is not where it should be is so in every look at it.
        """
        view, places = View(self.lens, state.pose), self.places(state)
        steps = [
            [a - b for a, b in zip(*(self.project(view, [p + s * step for p in places]) for s in (1, -1)), strict=True)]
            for step in 0.5 * np.eye(3)
        ]
        whole = []
        for number, seen in enumerate(self.every):
            u_mm, u_px = (np.asarray(u, np.float64) * np.ones(len(seen.pixels)) for u in (seen.u_mm, seen.u_px))
            by_place = np.stack([columns[number] for columns in steps], -1) * u_mm[:, None, None]
            noise = u_px[:, None, None] ** 2 * np.eye(by_place.shape[1])
            covariance = by_place @ np.swapaxes(by_place, -1, -2) + noise
            whole.append(np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)), np.float64))
        return whole

    def residuals(self, state: _State, whitening: Sequence[Floats], lens: Lens | None = None) -> Floats:
        """All of them, whitened, and at the end by how much each shared thing is off what was measured."""
        off = [
            np.einsum("nij,nj->ni", white, away).ravel()
            for white, away in zip(whitening, self.off_px(state, lens), strict=True)
        ]
        rows: Floats = np.concatenate([*off, state.shared])
        return rows

    def scale(self, state: _State) -> Floats:
        """Steps of about one pixel each."""
        one_px = 1 / self.lens.fx_px
        one_mm = one_px * float(state.pose.camera_mm[2])
        return np.array([one_px] * 3 + [one_mm] * 3 + [one_mm, one_mm, one_px * 5] * len(self.boards)
                        + [1.0] * len(self.names))  # fmt: skip


def fit_plane(
    lens: Lens,
    start: Pose,
    *,
    marks: Sequence[MarksSeen] = (),
    boards: Sequence[BoardSeenAfloat] = (),
    boards_at: Sequence[tuple[float, float, float]] = (),
    lens_covariance: Floats | None = None,
) -> PlaneFit:
    """The camera from marks and floating boards together.

    Args:
        lens: The calibrated lens.
        start: A pose to begin with (see plane_start.py).
        marks: The marks of each picture, at least two; they also say where the tank's frame lies.
        boards: Each picture of a floating board.
        boards_at: Where to begin with each of these: x mm, y mm, turn in rad.
        lens_covariance: (9, 9) in the order of LENS_PARAMETERS.
    """
    problem = _Problem(lens, marks, boards)
    state = _State(start, np.array(boards_at, np.float64).reshape(-1, 3), np.zeros(len(problem.names)))
    for _ in range(_ROUNDS_COUNT):
        whitening = problem.whitening(state)
        state = _solved(problem, state, whitening)
    whitening = problem.whitening(state)
    jacobian = _jacobian(problem, state, whitening)
    normal = jacobian.T @ jacobian
    pull = np.asarray(np.linalg.solve(normal, jacobian.T), np.float64)  # (P, M): how each unknown follows each residual
    by_lens = _by_lens(problem, state, whitening, lens_covariance)
    misfit = _misfit(problem.residuals(state, whitening), np.column_stack([jacobian, by_lens]), by_lens.shape[1])
    learnt = _learnt(problem, state, np.asarray(np.linalg.inv(normal), np.float64), pull @ by_lens)
    sources = _sources(problem, state, pull, max(1.0, misfit), learnt)
    if lens_covariance is not None:
        sources |= _lens_sources(problem, state, whitening, pull, lens_covariance)
    doubts = (
        [] if misfit < 2 else [f"what was seen disagrees {misfit:.1f} times more than stated; the doubt was widened"]
    )
    doubts += [
        f"{name}: the pictures say {abs(one.pull):.1f} times more than chance that it is not as stated; its doubt was "
        "widened"
        for name, one in learnt.items()
        if abs(one.pull) > _TELLING_PULL
    ]
    return PlaneFit(
        view=View(lens, state.pose, sources),
        learnt=learnt,
        residuals_px=tuple(-look for off in problem.off_px(state) for look in np.split(off, off.shape[1] // 2, axis=1)),
        boards_at=tuple((float(x), float(y), float(turn)) for x, y, turn in state.boards),
        misfit=misfit,
        doubts=tuple(doubts),
    )


def _solved(problem: _Problem, state: _State, whitening: Sequence[Floats]) -> _State:
    scale = problem.scale(state)
    far = np.full(len(problem.residuals(state, whitening)), 1e4)

    def residuals(x: Floats) -> Floats:
        stepped = state.stepped(x * scale)
        if stepped.pose.camera_mm[2] <= 0:
            return far
        return np.nan_to_num(problem.residuals(stepped, whitening), nan=1e4)

    found = least_squares(residuals, np.zeros(len(scale)), method="trf", x_scale="jac", xtol=1e-7, ftol=1e-7, gtol=1e-7)
    return state.stepped(found.x * scale)


def _jacobian(problem: _Problem, state: _State, whitening: Sequence[Floats]) -> Floats:
    """(M, P) of the whitened residuals by pose (rad, mm), boards (mm, rad) and shared things (of dimension one)."""
    columns = []
    for step in np.diag(problem.scale(state)) * 0.1:
        ahead, behind = (problem.residuals(state.stepped(sign * step), whitening) for sign in (1, -1))
        columns.append((ahead - behind) / (2 * np.abs(step).sum()))
    return np.array(columns).T


def _by_lens(problem: _Problem, state: _State, whitening: Sequence[Floats], covariance: Floats | None) -> Floats:
    """(M, R) by how much residuals change with +1 of each independent part of the lens's doubt."""
    still = problem.residuals(state, whitening)
    if covariance is None or not covariance.any():
        return np.zeros((len(still), 0))
    sd = np.sqrt(np.diag(covariance))
    used = np.flatnonzero(sd > 0)
    values, vectors = np.linalg.eigh(covariance[np.ix_(used, used)] / np.outer(sd[used], sd[used]))
    columns = []
    for value, vector in zip(values, vectors.T, strict=True):
        change = np.zeros(9)
        change[used] = sd[used] * vector * math.sqrt(max(value, 0.0))
        columns.append(problem.residuals(state, whitening, moved_lens(problem.lens, change)) - still)
    return np.array(columns).T


def _misfit(residuals: Floats, jacobian: Floats, lens_count: int) -> float:
    """What no step of the unknowns, nor of the lens within its doubt, takes away; per degree of freedom."""
    unknowns_count = jacobian.shape[1] - lens_count
    belief = np.zeros((lens_count, jacobian.shape[1]))
    belief[:, unknowns_count:] = np.eye(lens_count)
    whole, aim = np.vstack([jacobian, belief]), np.concatenate([residuals, np.zeros(lens_count)])
    scale = np.maximum(np.linalg.norm(whole, axis=0), 1e-12)
    left = aim - whole @ (np.linalg.lstsq(whole / scale, aim, rcond=None)[0] / scale)
    freedom = len(residuals) - unknowns_count
    return math.sqrt(float(left @ left) / freedom) if freedom > 0 else 1.0


def _sources(
    problem: _Problem, state: _State, pull: Floats, widened: float, learnt: Mapping[str, Learnt]
) -> dict[str, Camera]:
    """The points' own part, split and named; and each shared thing as one source."""
    seen_count = pull.shape[1] - len(problem.names)
    own = pull[:6, :seen_count] * widened

    def moved(change: Floats) -> Camera:
        return problem.lens, state.pose.moved(change[:3], change[3:])

    sources = dict(named_sources(View(problem.lens, state.pose), own @ own.T, prefix="marks", move=moved))
    for index, name in enumerate(problem.names):
        denied = abs(learnt[name].pull)
        wider = denied / _EXPECTED_PULL if denied > _TELLING_PULL else 1.0
        sources[name] = moved(pull[:6, seen_count + index] * wider)
    return sources


def _lens_sources(
    problem: _Problem, state: _State, whitening: Sequence[Floats], pull: Floats, covariance: Floats
) -> Mapping[str, Camera]:
    still = problem.residuals(state, whitening)

    def with_lens(change: Floats) -> Camera:
        lens = moved_lens(problem.lens, change)
        step = -pull[:6] @ (problem.residuals(state, whitening, lens) - still)
        return lens, state.pose.moved(step[:3], step[3:])

    return named_sources(View(problem.lens, state.pose), covariance, prefix="lens", move=with_lens)


def _learnt(problem: _Problem, state: _State, left: Floats, by_lens: Floats) -> dict[str, Learnt]:
    found = {}
    first = 6 + 3 * len(state.boards)
    for index, name in enumerate(problem.names):
        row = first + index
        own, lens = float(left[row, row]), float(by_lens[row] @ by_lens[row])
        # before anything was seen it was known to 1: what is left of that, and the lens, is not chance's doing
        chance = math.sqrt(max(1.0 - own, 1e-6) + lens)
        off = float(state.shared[index])
        found[name] = Learnt(off, math.sqrt(own + lens), off / chance)
    return found


def turned(points_mm: Floats, at: tuple[float, float, float]) -> Floats:
    """Tank places (N, 3) of a board's own points (N, 3) when its frame lies at x mm, y mm, turned by rad."""
    placed: Floats = points_mm @ rotation_matrix([0, 0, at[2]]).T + [at[0], at[1], 0.0]
    return placed
