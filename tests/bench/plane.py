"""How good a calibrated water plane is against the truth, and against what it says of itself.

`python -m tests.bench.plane [COUNT]` makes COUNT (default: 100) simulated calibrations each way: camera tilted by 0 to
8 degrees, k1 from 0 to -0.2, lens, marks, depth, level and board wrong by as much as they are said to be.
"""

from __future__ import annotations

import sys

import numpy as np

from calibration.plane_worth import worth
from tests.calibration import plane_tank


def bench_plane(count: int = 100) -> None:
    """Print a row for each way: largest error over the area, what is stated, how often intervals hold the truth."""
    print(f"{count} calibrations each way, 1.5 x 0.5 m, camera 1.25 to 1.45 m up")
    print(f"{'way':<22}{'worst place, mm (median, 95 %, most)':<40}{'stated 95 %':<14}{'held':<8}{'misfit':<8}")
    for way in plane_tank.WAYS:
        rng = np.random.default_rng(20260504)
        worst, stated, held, misfits = [], [], [], []
        for _ in range(count):
            one = plane_tank.tank(rng)
            fit = plane_tank.calibrated(way, one, rng)
            off, u = plane_tank.errors_mm(fit, one)
            worst.append(float(np.linalg.norm(off, axis=1).max()))
            stated.append(worth(fit.view, plane_tank.AREA_MM).worst_mm)
            held.append(float(np.mean(np.abs(off) <= 1.96 * u)))
            misfits.append(fit.misfit)
        shown = f"{np.median(worst):.1f}, {np.percentile(worst, 95):.1f}, {np.max(worst):.1f}"
        print(f"{way:<22}{shown:<40}{np.median(stated):<14.1f}{np.mean(held):<8.1%}{np.median(misfits):<8.2f}")


if __name__ == "__main__":
    bench_plane(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
