"""The line time of a rolling shutter, from the delays that a light shows at different rows of the picture.

A row v is exposed v·T later than row 0, T being the line time. If the camera says T' (0: it does not say), the delay
that a light at row v shows is D + v·(T' − T). So the slope of the delay over the row gives the line time, and what is
left is the delay for all rows. No other light is needed than the one that gave the delays; it only has to be moved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationError
from calibration.quantity import Quantity, Source

_LEAST_ROWS = 50.0
_SHARED = "moment of a switch"
"""The one doubt of a delay that is the same wherever the light stands: it cancels in the line time."""
_UNLIKELY_SD = 4.0


@dataclass(frozen=True, slots=True)
class RowDelay:
    """What one session came to."""

    name: str
    """Which session it was; each its own."""
    row_px: float
    """Row of the light."""
    delay: Quantity
    """s; with the line time that the camera said."""


@dataclass(frozen=True, slots=True)
class LineTime:
    """A rolling shutter's pace, and the delay that goes with it."""

    line: Quantity
    """s from one row to the next."""
    delay: Quantity
    """s; with that line time said by the camera."""


def line_time(seen: Sequence[RowDelay], *, claimed_ns: int, place: str = "line time") -> LineTime:
    """Line time and delay by a weighted straight line through the delays (JCGM 100:2008, H.3, for its doubts).

    Args:
        seen: two sessions or more, the light at different rows.
        claimed_ns: the line time that the camera said in all of them; 0: none.
        place: what to call them in an error.

    Raises:
        CalibrationError: too few, rows too near each other, delays that lie on no straight line, or a negative result.
    """
    rows = np.array([each.row_px for each in seen])
    if len(seen) < 2 or np.ptp(rows) < _LEAST_ROWS:
        apart = float(np.ptp(rows)) if len(rows) else 0.0
        fault = f"found {len(seen)} session(s), {apart:.0f} rows apart; wanted two or more, {_LEAST_ROWS:g} rows apart"
        raise CalibrationError(place, [f"{fault}; move the light to another row and blink again"])
    delays = [_of_its_own(each) for each in seen]
    weights = np.array([1 / max(delay.u, 1e-9) ** 2 for delay in delays])
    middle = float(np.average(rows, weights=weights))
    slopes = weights * (rows - middle) / float(weights @ (rows - middle) ** 2)
    levels = weights / weights.sum() - middle * slopes
    values = np.array([delay.value for delay in delays])
    rest = values - float(levels @ values) - float(slopes @ values) * rows
    if np.any(np.abs(rest) * np.sqrt(weights) > _UNLIKELY_SD):
        worst = seen[int(np.argmax(np.abs(rest) * np.sqrt(weights)))].name
        fault = f"the delays lie on no straight line, {worst} least; was the camera set alike in all sessions?"
        raise CalibrationError(place, [fault])
    slope = _sum(slopes.tolist(), delays)
    line = Quantity.linear(claimed_ns / 1e9 - slope.value, "s", [(-1, slope)])
    if line.value < -line.U:
        fault = f"the rows would go upwards ({1e6 * line.value:.2f} µs a row); is the picture turned upside down?"
        raise CalibrationError(place, [fault])
    return LineTime(line, _sum(levels.tolist(), delays))


def _of_its_own(seen: RowDelay) -> Quantity:
    """The delay with sources of its own, so that only what is the same for every session counts as the same."""
    table = {
        source if source.name == _SHARED else Source(f"{source.name}, {seen.name}", source.dof): part
        for source, part in seen.delay.contributions.items()
    }
    return Quantity(seen.delay.value, "s", table)


def _sum(factors: Sequence[float], delays: Sequence[Quantity]) -> Quantity:
    value = math.fsum(factor * delay.value for factor, delay in zip(factors, delays, strict=True))
    return Quantity.linear(value, "s", list(zip(factors, delays, strict=True)))
