"""Is the board longer one way than it should be? Printers feed paper a little faster or slower than they print across.

A board that is shown both upright and turned by a quarter tells: with its true shape the pictures agree better. Of a
board that was always held the same way nothing can be told here; then the two focal lengths differ, which is a doubt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from calibration.board import BoardSeen
from calibration.lens_solve import rms_of, solved_well

_STEP = 0.01
_LEAST, _MOST = 0.001, 0.05
_MUCH_BETTER = 0.8


def stretched(views: Mapping[str, BoardSeen], factor: float) -> dict[str, BoardSeen]:
    """The same corners on a board that is `factor` times as long along its rows."""
    return {name: replace(view, points_mm=view.points_mm * [factor, 1.0, 1.0]) for name, view in views.items()}


def unstretched(views: Mapping[str, BoardSeen]) -> tuple[dict[str, BoardSeen], tuple[str, ...]]:
    """The views with the board in the shape that they speak for, and a sentence if that is not the one it should have.

    The shape is changed only where the squares of what the corners are off fall by a fifth or more, by 0.1 to 5 %.
    """
    costs = {factor: _cost(views, factor) for factor in (1 - _STEP, 1.0, 1 + _STEP)}
    if not np.isfinite(list(costs.values())).all():
        return dict(views), ()
    for _ in range(2):
        near = sorted(costs, key=lambda factor: costs[factor])[:3]
        bend, slope, _ = np.polyfit(np.array(near) - 1, [costs[factor] for factor in near], 2)
        if bend <= 0:
            return dict(views), ()
        best = 1 + float(np.clip(-slope / (2 * bend), -_MOST, _MOST))
        costs[best] = _cost(views, best)
    best = min(costs, key=lambda factor: costs[factor])
    if costs[best] > _MUCH_BETTER * costs[1.0] or abs(best - 1) < _LEAST:
        return dict(views), ()
    said = (
        f"the board is {best - 1:+.2%} longer along its rows than it should be against its columns, as the pictures "
        "tell; that is taken into account; measure it both ways, and print what is for the water plane better",
    )
    return stretched(views, best), said


def _cost(views: Mapping[str, BoardSeen], factor: float) -> float:
    changed = stretched(views, factor)
    solved = solved_well(changed)
    return float("inf") if solved is None else _typical(list(rms_of(changed, solved).values()))


def _typical(rms_px: list[float]) -> float:
    """Mean square of the better three quarters: odd pictures are not to decide."""
    squares = np.sort(np.square(rms_px))
    return float(squares[: max(1, 3 * len(squares) // 4)].mean())
