"""The smoothed track as text: track.csv, one line per picture that shows the boat."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from logger.results.columns import COLUMNS, TRACK
from logger.results.motion import VX, VY, Motion, X, Y
from logger.results.trial import Trial
from logger.vision.track import QUALITY_WORDS

Floats = NDArray[np.float64]


class Measured(Protocol):
    """What measuring gives: a trial and perhaps a motion."""

    @property
    def trial(self) -> Trial:
        """The numbers."""

    @property
    def motion(self) -> Motion | None:
        """What the camera saw; None without one."""


def track_csv(outcome: Measured) -> str:
    """The text of track.csv; only its header if there is no motion. Doubts hold all sources, not noise alone."""
    lines = [",".join(TRACK)]
    motion = outcome.motion
    if motion is not None:
        lines += _rows(motion, zero_ns=_zero_ns(outcome.trial, motion))
    return "\n".join(lines) + "\n"


def _zero_ns(trial: Trial, motion: Motion) -> int:
    """The crossing of the first line if there was one, else the first picture of the boat."""
    return trial.crossings[0].t_ns if trial.crossings else int(motion.t_ns[0])


def _rows(motion: Motion, *, zero_ns: int) -> list[str]:
    total = full_covariance(motion)
    numbers = {
        "t_s": (motion.t_ns - zero_ns) / 1e9,
        "x_mm": motion.state[:, X],
        "y_mm": motion.state[:, Y],
        "heading_deg": np.degrees(motion.heading_rad),
        "u_x_mm": np.sqrt(total[:, X, X]),
        "u_y_mm": np.sqrt(total[:, Y, Y]),
        "speed_m_per_s": motion.speed_mm_per_s / 1e3,
        "u_speed_m_per_s": u_speed_mm_per_s(motion, total) / 1e3,
    }
    texts = [[f"{value:.{COLUMNS[name].decimals}f}" for value in column] for name, column in numbers.items()]
    stamps = [str(int(t)) for t in motion.t_ns]
    words = [QUALITY_WORDS[q] for q in motion.quality]
    return [",".join(row) for row in zip(stamps, *texts, words, strict=True)]


def full_covariance(motion: Motion) -> Floats:
    """(N, 6, 6) covariance of each state, random part and every systematic source."""
    total: Floats = motion.covariance.copy()
    for shift in motion.shifts.values():
        total += shift[:, :, None] * shift[:, None, :]
    return total


def u_speed_mm_per_s(motion: Motion, covariance: Floats) -> Floats:
    """(N,) standard uncertainty of the speed: along the velocity; where it is lost in its own doubt, the greatest."""
    block = covariance[:, [VX, VY]][:, :, [VX, VY]]
    greatest = np.sqrt(np.linalg.eigvalsh(block)[:, -1])
    speed = motion.speed_mm_per_s
    way = motion.velocity_mm_per_s / np.maximum(speed, 1e-12)[:, None]
    along = np.sqrt(np.einsum("ni,nij,nj->n", way, block, way))
    chosen: Floats = np.where(speed > greatest, along, greatest)
    return chosen
