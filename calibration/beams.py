"""Where light beams cross the water, from a boat that was pulled through them in front of the camera.

Each time a beam breaks, the camera says how far past the beam's line the boat's foremost point was. These sightings
share what is wrong with the camera's clock, the boat's outline and the calibration, each with a weight of its own: a
camera that stamps late by δ puts a boat of speed v by v·δ too far back, a boat pulled back the other way by as much too
far forward. So the places are found by generalised least squares (Aitken 1935) with the covariance

    V = diag(u²) + Σ a·aᵀ          over all shared sources, a = by how much each sighting moves with +1 u of that source

and slow and fast pulls, there and back, teach by themselves what the sources are. A sighting that the others foretell
badly (deleted residual above 3.5 standard deviations) is left out and told, if two of its gate remain.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calibration.lens import Floats
from calibration.quantity import Quantity, Source

_OUTLYING = 3.5
_FEWEST_LEFT = 2
_LEAST_U_MM = 0.01
SCATTER = "scatter of the passages"


@dataclass(frozen=True, slots=True)
class Sighting:
    """One break of one beam, as the camera saw it."""

    gate: str
    label: str
    """Which pull it was, in words."""
    past_mm: float
    """How far past the gate's line the foremost point was, in the direction in which runs go."""
    u_mm: float
    """Standard uncertainty of what no other sighting shares."""
    parts_mm: Mapping[Source, float]
    """Shared source -> by how much this moves if it is off by +1 standard uncertainty."""
    speed_mm_per_s: float = 0.0
    """Across the line; below 0: it was pulled back."""
    along_mm: float = 0.0
    """Where along the line, from its middle."""


@dataclass(frozen=True, slots=True)
class Outlier:
    """A sighting that does not fit to the others."""

    sighting: Sighting
    off_mm: float
    """By how much it is off from what the others foretell."""
    times: float
    """The same in standard deviations of that, a plain number."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """What the sightings say of a shared source."""

    off: float
    """How far it is off, in units of its own stated standard uncertainty."""
    u_off: float
    """Standard uncertainty of that, 1 if nothing was learnt."""


@dataclass(frozen=True, slots=True)
class BeamFit:
    """Where the beams are."""

    places: Mapping[str, Quantity]
    """Gate -> how far past its line, mm; what gates share stands in it under one source."""
    kept: tuple[Sighting, ...]
    residuals_mm: tuple[float, ...]
    """Of those kept: sighting less place less what was learnt of the shared sources."""
    left_out: tuple[Outlier, ...]
    chi_square: float
    """Reduced; about 1 if the stated doubts are right, a plain number. NaN with one sighting a gate."""
    learnt: Mapping[Source, Learnt]


def solve_beams(sightings: Sequence[Sighting]) -> BeamFit:
    """Places of all gates that were sighted.

    Raises:
        ValueError: no sighting, or one with a doubt that is no number.
    """
    if not sightings:
        raise ValueError("no sighting of any gate; pull a boat through the beams in front of the camera")
    kept, left_out = list(sightings), []
    while (worst := _worst(kept)) is not None:
        left_out.append(worst)
        kept.remove(worst.sighting)
    gates = list(dict.fromkeys(s.gate for s in kept))
    system = _System(kept, gates)
    spare = len(kept) - len(gates)
    chi = system.chi_square() / spare if spare else math.nan
    stretch = max(1.0, math.sqrt(chi)) if spare else 1.0
    if stretch > 1.0:  # the sightings scatter by more than they say: believe the scatter
        system = _System(kept, gates, stretch)
    dof = float(spare) if stretch > 1.0 else math.inf
    return BeamFit(
        places=system.places(dof),
        kept=tuple(kept),
        residuals_mm=tuple(system.residuals().tolist()),
        left_out=tuple(left_out),
        chi_square=chi,
        learnt=system.learnt(),
    )


def _worst(kept: Sequence[Sighting]) -> Outlier | None:
    """The sighting that fits worst, if it does not fit at all and enough of its gate would be left."""
    counts = Counter(s.gate for s in kept)
    if len(kept) == len(counts):
        return None
    system = _System(kept, list(counts))
    times = system.deleted_residuals()
    free = [abs(t) if counts[s.gate] > _FEWEST_LEFT else 0.0 for s, t in zip(kept, times, strict=True)]
    index = int(np.argmax(free))
    if free[index] <= _OUTLYING:
        return None
    return Outlier(kept[index], system.off_mm(index), abs(float(times[index])))


class _System:
    """The equations of N sightings of K gates."""

    def __init__(self, sightings: Sequence[Sighting], gates: Sequence[str], stretch: float = 1.0) -> None:
        self.gates = gates
        self.seen = np.array([s.past_mm for s in sightings])
        self.own = stretch * np.array([max(s.u_mm, _LEAST_U_MM) for s in sightings])
        self.sources = list(dict.fromkeys(source for s in sightings for source in s.parts_mm))
        self.parts = np.array([[s.parts_mm.get(source, 0.0) for source in self.sources] for s in sightings])
        self.parts = self.parts.reshape(len(sightings), len(self.sources))
        self.design = np.array([[float(s.gate == gate) for gate in gates] for s in sightings])
        if not (np.isfinite(self.seen).all() and np.isfinite(self.own).all() and np.isfinite(self.parts).all()):
            raise ValueError("a sighting with a place or a doubt that is no number")
        self.weight = np.linalg.inv(np.diag(self.own**2) + self.parts @ self.parts.T)
        self.solve: Floats = np.linalg.solve(self.design.T @ self.weight @ self.design, self.design.T @ self.weight)
        self.rest: Floats = self.weight - self.weight @ self.design @ self.solve

    def places(self, dof: float) -> dict[str, Quantity]:
        values = self.solve @ self.seen
        shared = self.solve @ self.parts
        own = (self.solve * self.own) ** 2
        found = {}
        for row, gate in enumerate(self.gates):
            parts = dict(zip(self.sources, shared[row].tolist(), strict=True))
            # independent between gates only in what each gate's own sightings bring; the rest is small
            parts[Source(f"{SCATTER} of {gate}", dof, ensemble=SCATTER)] = math.sqrt(float(own[row].sum()))
            found[gate] = Quantity(float(values[row]), "mm", parts)
        return found

    def chi_square(self) -> float:
        return max(float(self.seen @ self.rest @ self.seen), 0.0)  # rounding may fall below

    def deleted_residuals(self) -> Floats:
        """(N,) of each sighting against what all others foretell, in its standard deviations."""
        spread = np.sqrt(np.maximum(np.diag(self.rest), 1e-300))
        times: Floats = np.where(spread > 1e-12, (self.rest @ self.seen) / spread, 0.0)
        return times

    def off_mm(self, index: int) -> float:
        return float((self.rest @ self.seen)[index] / self.rest[index, index])

    def residuals(self) -> Floats:
        """(N,) what neither places nor shared sources explain."""
        off: Floats = self.own**2 * (self.rest @ self.seen)
        return off

    def learnt(self) -> dict[Source, Learnt]:
        shared = self.parts.T @ self.rest
        said = shared @ self.seen
        left = np.sqrt(np.maximum(1 - np.sum(shared * self.parts.T, axis=1), 0.0))
        return {source: Learnt(float(off), float(u)) for source, off, u in zip(self.sources, said, left, strict=True)}
