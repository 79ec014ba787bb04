"""Where a boat is a moment before or after it was seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.vision.hull import Floats

_LIVELY_MM_PER_S2 = 3000.0
"""How quickly a boat gains or loses speed."""


@dataclass(frozen=True, slots=True)
class Course:
    """Where the boat was at one moment, and how it moved."""

    pose: Floats
    """[x mm, y mm, heading rad] on the plane."""
    speed: Floats
    """Of the same, per second; backwards in time as well."""
    t_s: float
    shown: float
    """How much of it was seen; 1: all."""

    def is_same(self, other: Course) -> bool:
        """Whether all of it is the same, so that it leads to the same places."""
        return (
            (self.t_s, self.shown) == (other.t_s, other.shown)
            and np.array_equal(self.pose, other.pose)
            and np.array_equal(self.speed, other.speed)
        )

    def at(self, t_s: float) -> Floats:
        """Where it is at another moment if nothing changes its course."""
        return self.pose + self.speed * (t_s - self.t_s)

    def room_mm(self, t_s: float, *, step_mm: float) -> float:
        """How far from there it may be then."""
        return _LIVELY_MM_PER_S2 * (t_s - self.t_s) ** 2 / 2 + step_mm

    def ways(self, t_s: float, others: list[Floats], *, step_mm: float) -> list[Floats]:
        """Poses that are near enough to be true then: `others`, stopped, slower, faster."""
        carried_on, room = self.at(t_s), self.room_mm(t_s, step_mm=step_mm)
        way = (carried_on - self.pose)[:2]
        far = float(np.hypot(*way))
        near = [start for start in others if step_mm / 4 < np.hypot(*(start - carried_on)[:2]) < far + room]
        found = [*near, self.pose]
        along = way / far if far > 1e-6 else np.array([np.cos(self.pose[2]), np.sin(self.pose[2])])
        for k in range(1, int(room / step_mm) + 1):
            aside = np.array([*(k * step_mm * along), 0.0])
            found += [carried_on - aside, carried_on + aside]
        return found
