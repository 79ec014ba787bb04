"""Axes that a pupil can read: round steps of 1, 2 or 5, labels with as many decimals as the step has."""

from __future__ import annotations

import math
from dataclasses import dataclass


def round_step(span: float, about_count: int) -> float:
    """The step 1, 2 or 5 × 10ⁿ that divides `span` into at most `about_count` parts.

    >>> round_step(4.3, 6), round_step(1500, 8), round_step(0.29, 5)
    (1.0, 200.0, 0.1)
    """
    if not span > 0:
        return 1.0
    wanted = span / max(about_count, 1)
    power = 10.0 ** math.floor(math.log10(wanted))
    # 1e-9: 0.3 / 3 must count as 0.1
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= wanted * (1 - 1e-9))


def decimals(step: float) -> int:
    """How many decimals a label needs to show multiples of `step` exactly."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


@dataclass(frozen=True, slots=True)
class Axis:
    """A straight scale from values to user units of a drawing."""

    low: float
    """Least value, in the unit of what is shown."""
    high: float
    """Greatest value, in the same unit."""
    start_px: float
    """Where `low` is drawn."""
    end_px: float
    """Where `high` is drawn; may lie before `start_px` (upwards in a drawing)."""
    step: float
    """From label to label, in the same unit."""

    def px(self, value: float) -> float:
        """Where `value` is drawn."""
        return self.start_px + (value - self.low) / (self.high - self.low) * (self.end_px - self.start_px)

    def ticks(self) -> list[float]:
        """Multiples of the step from low to high."""
        first, last = math.ceil(self.low / self.step - 1e-9), math.floor(self.high / self.step + 1e-9)
        return [i * self.step for i in range(first, last + 1)]

    def label(self, value: float) -> str:
        """`value` with as many decimals as the step, a real minus sign."""
        shown = f"{value:.{decimals(self.step)}f}"
        return "0" if float(shown) == 0 else shown.replace("-", "−")


def axis(
    low: float,
    high: float,
    *,
    start_px: float,
    end_px: float,
    about_count: int,
    from_zero: bool = False,
    whole_steps: bool = True,
) -> Axis:
    """An axis for values from `low` to `high`.

    Args:
        low: Least value that must have a place.
        high: Greatest value that must have a place.
        start_px: Where the axis begins.
        end_px: Where it ends.
        about_count: How many steps at most.
        from_zero: Begin at nought where no value lies below it.
        whole_steps: End on whole steps; otherwise exactly on `low` and `high`.
    """
    if from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if not high > low:
        high = low + 1.0
    step = round_step(high - low, about_count)
    if whole_steps:
        low, high = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    return Axis(low, high, start_px, end_px, step)
