"""Where a print must be by now, from the last pictures in which it was seen; in either direction of time."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from logger.vision.tag.fit import TagFit

Floats = NDArray[np.float64]

FASTEST_MM_PER_S = 2500.0
TURNS_RAD_PER_S = 3.0
"""No boat turns faster."""
_RECENT_COUNT, _RECENT_S = 5, 0.4
_ENOUGH_FOR_CURVE, _CURVED_S = 4, 0.06
"""From so many poses, and no farther than this ahead, speed changes are carried on too."""


class Course:
    """The last good poses in one direction of time."""

    def __init__(self) -> None:
        self._held: deque[tuple[float, float, float, float]] = deque(maxlen=_RECENT_COUNT)
        self._foreseen: dict[float, tuple[Floats, Floats]] = {}

    def __bool__(self) -> bool:
        return bool(self._held)

    def start(self, t_s: float, found: TagFit) -> None:
        """Forget all and begin with this."""
        self._held.clear()
        self.add(t_s, found)

    def add(self, t_s: float, found: TagFit) -> None:
        """The next one, or a better one at the same time."""
        heading = found.heading_rad
        if self._held:
            heading = nearest(heading, self._held[-1][3])
        if self._held and self._held[-1][0] == t_s:
            self._held.pop()
        self._foreseen.clear()
        self._held.append((t_s, *found.place_mm.tolist(), heading))

    @property
    def last_s(self) -> float:
        """When it was seen last."""
        return self._held[-1][0]

    def at(self, t_s: float) -> tuple[Floats, Floats]:
        """(x, y, heading) carried on to `t_s`, and its rates per second."""
        if t_s not in self._foreseen:
            self._foreseen[t_s] = self._carried_on(t_s)
        pose, rates = self._foreseen[t_s]
        return pose.copy(), rates.copy()

    def _carried_on(self, t_s: float) -> tuple[Floats, Floats]:
        last = np.array(self._held[-1])
        recent = np.array([row for row in self._held if abs(row[0] - last[0]) < _RECENT_S])
        if len(recent) < 2:
            return last[1:], np.zeros(3)
        t = recent[:, 0] - last[0]
        if len(recent) == 2:
            rates = (recent[0, 1:] - recent[1, 1:]) / (t[0] - t[1])
            return last[1:] + rates * (t_s - last[0]), rates
        ahead = t_s - last[0]
        # a boat that sets off or hits a wall changes its speed from picture to picture; the youngest count most
        order = 2 if len(t) >= _ENOUGH_FOR_CURVE and abs(ahead) < _CURVED_S else 1
        weight = (0.5 + 0.5 * np.arange(len(t)) / (len(t) - 1))[:, None]
        powers = t[:, None] ** np.arange(order, -1, -1)
        lines = np.linalg.lstsq(weight * powers, weight * recent[:, 1:], rcond=None)[0]
        gained = lines[0] * ahead if order == 2 else 0.0
        rates = lines[-2] + gained  # the mean until then
        if np.hypot(*rates[:2]) > FASTEST_MM_PER_S:
            return last[1:], np.zeros(3)
        rates[2] = np.clip(rates[2], -TURNS_RAD_PER_S, TURNS_RAD_PER_S)
        if abs(ahead) > 0.3:
            rates[2] = 0.0
        return last[1:] + rates * ahead, rates + gained


def nearest(heading_rad: float, to: float) -> float:
    """The same direction, by whole turns as near as can be to the angle `to`."""
    return to + float((heading_rad - to + np.pi) % (2 * np.pi) - np.pi)
