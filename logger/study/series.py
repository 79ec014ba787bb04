"""One run as it is drawn: a table of moments, with the numbers of the graphs already in the units of the page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.results.lines import ahead, travel
from logger.results.motion import VX, VY, Motion, X, Y
from logger.results.trial import Trial
from logger.study.tongue import N_
from logger.vision.track import MEASURED

Floats = NDArray[np.float64]

_BEFORE_S, _AFTER_S = 1.5, 0.5
"""So much of the time before the boat starts and after it finishes is shown."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """N moments in order of time. Arrays are (N,) except the outline."""

    t_s: Floats
    """Seconds after the zero of the graphs."""
    zero: str
    """What happened at the zero, in words: "the bow reached the start line"."""
    x_mm: Floats
    y_mm: Floats
    heading_rad: Floats
    along_m: Floats
    """How far the bow is past the start line, along the run; without a start line, past x = 0."""
    u_along_m: Floats
    speed_m_per_s: Floats
    u_speed_m_per_s: Floats
    seen: NDArray[np.bool_]
    """False where the place was carried over a gap or may be something else."""
    outline_mm: Floats
    """(M, 2) waterline outline in the boat's frame, x forward."""
    u_across_m: Floats | None = None
    """Standard uncertainty of the bow's place across the run; None where it was not worked out."""

    def at(self, t_s: float, values: Floats) -> float:
        """`values` between the moments, in a straight line; the end values outside."""
        return float(np.interp(t_s, self.t_s, values))

    def outline_at(self, t_s: float) -> Floats:
        """The outline (M, 2) in the tank frame, mm, at time `t_s`."""
        heading = self.at(t_s, self.heading_rad)
        turn = np.array([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
        place: Floats = self.outline_mm @ turn + (self.at(t_s, self.x_mm), self.at(t_s, self.y_mm))
        return place

    def bow_at(self, t_s: float) -> tuple[float, float]:
        """Where the tip of the boat is, straight ahead of its middle; tank frame, mm."""
        heading, reach = self.at(t_s, self.heading_rad), float(self.outline_mm[:, 0].max())
        return (
            self.at(t_s, self.x_mm) + reach * float(np.cos(heading)),
            self.at(t_s, self.y_mm) + reach * float(np.sin(heading)),
        )


def zero_of(trial: Trial, rig: Rig, motion: Motion | None) -> tuple[int, str]:
    """The moment, in ns, that the graphs call nought, and what it is in words."""
    start = rig.line("start")
    crossings = [c for c in trial.crossings if start is not None and c.line == start.name]
    if crossings:
        return min(crossings, key=lambda c: c.u_s).t_ns, N_("the bow reached the start line")
    return (0 if motion is None else int(motion.t_ns[0])), N_("the first picture of the boat")


def series_of(motion: Motion, trial: Trial, rig: Rig) -> Series:
    """The table that draws `motion`, from shortly before the start line to its end, or shortly after the finish."""
    zero_ns, zero = zero_of(trial, rig, motion)
    t_s = (motion.t_ns - zero_ns) / 1e9
    kept = (t_s >= min(-_BEFORE_S, t_s[-1])) & (t_s <= _end_s(trial, rig, zero_ns))
    start = rig.line("start")
    line = ahead(start, rig) if start is not None else None
    normal = travel(rig) if line is None else line.normal
    past = motion.place_mm @ normal if line is None else line.past_mm(motion.place_mm)
    bow = past + _reach_mm(motion, normal)
    variance = _variance(motion)
    u_along = np.sqrt(_across(variance[:, [X, Y]][:, :, [X, Y]], normal[None]) + motion.u_outline_mm**2)
    u_speed = np.sqrt(_across(variance[:, [VX, VY]][:, :, [VX, VY]], _directions(motion)))
    return Series(
        t_s=t_s[kept],
        zero=zero,
        x_mm=motion.state[kept, X],
        y_mm=motion.state[kept, Y],
        heading_rad=motion.heading_rad[kept],
        along_m=bow[kept] / 1000,
        u_along_m=u_along[kept] / 1000,
        speed_m_per_s=motion.speed_mm_per_s[kept] / 1000,
        u_speed_m_per_s=u_speed[kept] / 1000,
        seen=(motion.quality == MEASURED)[kept],
        outline_mm=motion.outline_mm,
    )


def _end_s(trial: Trial, rig: Rig, zero_ns: int) -> float:
    """Shortly after the finish line in a run that ends there; else never."""
    finish = rig.line("finish")
    reached = [c.t_ns for c in trial.crossings if finish is not None and c.line == finish.name]
    return (max(reached) - zero_ns) / 1e9 + _AFTER_S if trial.end_reason == "finish" and reached else np.inf


def _reach_mm(motion: Motion, normal: Floats) -> Floats:
    """(N,) how far the outline reaches in the direction of `normal` from the middle of the boat."""
    heading = motion.heading_rad
    forward = np.cos(heading) * normal[0] + np.sin(heading) * normal[1]
    aside = -np.sin(heading) * normal[0] + np.cos(heading) * normal[1]
    reach: Floats = (forward[:, None] * motion.outline_mm[:, 0] + aside[:, None] * motion.outline_mm[:, 1]).max(axis=1)
    return reach


def _variance(motion: Motion) -> Floats:
    """(N, 6, 6) random and systematic doubt together."""
    total: Floats = motion.covariance + sum(s[:, :, None] * s[:, None, :] for s in motion.shifts.values())
    return total


def _directions(motion: Motion) -> Floats:
    """(N, 2) unit vectors of the velocity; that of the heading where the boat stands still."""
    still = np.column_stack([np.cos(motion.heading_rad), np.sin(motion.heading_rad)])
    speed = motion.speed_mm_per_s[:, None]
    moving: Floats = np.where(speed > 1e-6, motion.velocity_mm_per_s / np.maximum(speed, 1e-6), still)
    return moving


def _across(covariance: Floats, direction: Floats) -> Floats:
    """(N,) variance of (N, 2, 2) covariances along (N, 2) or (1, 2) unit vectors."""
    along: Floats = np.einsum("ni,nij,nj->n", np.broadcast_to(direction, covariance.shape[:2]), covariance, direction)
    return along
