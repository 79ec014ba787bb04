"""Does what was changed matter? Numbers: the line of best fit with its band. Words: analysis of variance.

Both judge by the scatter of the runs themselves: what boats do from run to run is what an effect must rise above. Least
squares with Student's t and Fisher's F. Where several boats take part, each is a block of its own: what boats differ by
anyway is taken out of values and levels alike (Frisch and Waugh 1933), at the price of a degree of freedom each; and so
is what changed evenly beside. Fisher's F takes all levels to spread alike; where runs are repeated, `levels` does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from logger.study.compare import PROBABILITY

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StraightLine:
    """The line of best fit, y = intercept + slope·x, in the units of what was given."""

    count: int
    dof: int
    """Degrees of freedom that are left."""
    intercept: float
    """In the unit of the values."""
    slope: float
    """In the unit of the values over that of x."""
    u_intercept: float
    """Its standard uncertainty, as the intercept."""
    u_slope: float
    """Its standard uncertainty, as the slope."""
    residual: float
    """Standard deviation of the runs about the line, the degrees of freedom in the denominator."""
    mean_along: float
    """Mean of x."""
    spread_along: float
    """Sum of squares of x about its mean."""

    @property
    def factor(self) -> float:
        """Student's t for 95 %."""
        return float(stats.t.ppf((1 + PROBABILITY) / 2, self.dof))

    @property
    def U_slope(self) -> float:  # noqa: N802 - the symbol of the GUM
        """Expanded uncertainty of the slope, 95 %."""
        return self.factor * self.u_slope

    @property
    def is_clear(self) -> bool:
        """Whether the slope is more than chance explains."""
        return abs(self.slope) > self.U_slope

    def band(self, along: float) -> tuple[float, float]:
        """The line's value at `along`, and the half width of the band that holds the true line there, 95 %."""
        far = (along - self.mean_along) ** 2 / self.spread_along
        return self.intercept + self.slope * along, self.factor * self.residual * math.sqrt(1 / self.count + far)


@dataclass(frozen=True, slots=True)
class Groups:
    """Whether groups differ: the variance between them over the variance within."""

    count: int
    groups_count: int
    ratio: float
    """F."""
    chance: float
    """How likely groups that are all alike give such a ratio or a greater one."""

    @property
    def is_clear(self) -> bool:
        """Whether the groups differ by more than chance explains."""
        return self.chance < 1 - PROBABILITY


def line(
    along: Sequence[float], values: Sequence[float], blocks: Sequence[str] = (), *, beside: Sequence[float] = ()
) -> StraightLine | None:
    """The line through at least three runs at two places or more; None if there are fewer.

    Args:
        along: where each run was.
        values: what it came to.
        blocks: whose run it was; given, each is compared with its own mean only (a least-squares fit with a constant
            for each block), and the line is that of the mean block.
        beside: something else that changed from run to run; given, what goes evenly with it is taken out. None is
            returned where the two cannot be told apart. The band and the intercept are not for such a line.
    """
    x, y = np.asarray(along, np.float64), np.asarray(values, np.float64)
    names = list(blocks) or [""] * len(x)
    dof = len(x) - 1 - len(set(names)) - (len(beside) > 0)
    if dof < 1:
        return None
    off_x, off_y = within(x, names), within(y, names)
    if len(beside):
        off_z = within(np.asarray(beside, np.float64), names)
        if off_z @ off_z > 0:
            off_x, off_y = (off - off_z * float(off @ off_z) / float(off_z @ off_z) for off in (off_x, off_y))
    spread = float(off_x @ off_x)
    if spread <= 1e-12 * float(x @ x):
        return None
    middle_x, middle_y = float(x.mean()), float(y.mean())
    slope = float(off_x @ off_y) / spread
    rest = off_y - slope * off_x
    residual = math.sqrt(float(rest @ rest) / dof)
    u_intercept = residual * math.sqrt(1 / len(x) + middle_x**2 / spread)
    return StraightLine(
        len(x), dof, middle_y - slope * middle_x, slope, u_intercept, residual / math.sqrt(spread), residual, middle_x,
        spread,
    )  # fmt: skip


def groups(values: Sequence[float], levels: Sequence[str], blocks: Sequence[str] = ()) -> Groups | None:
    """Analysis of variance of runs at several levels; with `blocks`, beside what these differ by anyway.

    None if there are fewer than two levels, nothing is repeated, or blocks and levels cannot be told apart.
    """
    y, names = np.asarray(values, np.float64), list(blocks) or [""] * len(values)
    between_count = len(set(levels)) - 1
    dof = len(y) - len(set(names)) - between_count
    if between_count < 1 or dof < 1:
        return None
    off = within(y, names)
    known = list(dict.fromkeys(levels))
    columns = np.array([within(np.array([level == one for level in levels], np.float64), names) for one in known]).T
    shares, _rest, rank, _sizes = np.linalg.lstsq(columns, off, rcond=1e-9)
    if rank < between_count:
        return None
    explained, rest = columns @ shares, off - columns @ shares
    inside = float(rest @ rest) / dof
    ratio = float(explained @ explained) / between_count / inside if inside > 0 else math.inf
    return Groups(len(y), between_count + 1, ratio, float(stats.f.sf(ratio, between_count, dof)))


def within(values: Floats, blocks: Sequence[str]) -> Floats:
    """Values less the mean of their block; about the grand mean first, as digits that all share would be lost."""
    off = values - values.mean()
    for block in set(blocks):
        own = np.array([one == block for one in blocks])
        off[own] -= off[own].mean()
    return np.asarray(off, np.float64)
