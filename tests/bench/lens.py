"""Do the stated uncertainties of a lens calibration hold the truth? Over hundreds of simulated calibrations.

    python -m tests.bench.lens                        # 300 of each kind, the model given
    python -m tests.bench.lens --select --count 60    # the model chosen by evidence each time

How one is simulated: a person shows the printed lens board 14 times, at random places, distances of 220 to 450 mm and
tilts up to 34 degrees; its corners are seen where the lens puts them (calibration.lens, checked against OpenCV in its
tests), with errors drawn anew. Kinds of errors:

- corners: every corner by itself, 0.15 px along each axis;
- pictures: beside that, a smooth warp of every picture of its own, 0.1 px at the board's edge (light from one side, a
  board that is pressed differently);
- bowed: beside the first, one board for all pictures that is not flat: bowed across, bowed up and twisted, each evenly
  within ± 0.3 mm; the calibration is told so (flat_mm = 0.3).

Counted: how often value ± k·u holds the truth, k for 95 %, for each parameter; and how far the largest of all is off in
its own u. The last kind is told as it is: what all pictures share does not show in how they differ.
"""

from __future__ import annotations

import argparse

import numpy as np

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Lens
from calibration.lens_fit import LensFit, fit_lens
from calibration.lens_flat import bows
from calibration.lens_models import choose
from calibration.waterplane import rotation_matrix
from tests.calibration.board_views import CORNERS_MM, USUAL, WIDE, places, seen_at

K = 1.96
KINDS = ("corners", "pictures", "bowed")
SD_PX, WARP_PX, GAP_MM = 0.15, 0.1, 0.3
VIEWS_COUNT = 14


def bowed_px(lens: Lens, place: tuple[np.ndarray, np.ndarray], bow_mm: np.ndarray) -> np.ndarray:
    """By how much each corner is seen elsewhere on a board with `bow_mm` (3,) of each kind of bow."""
    turn, shift = place
    rise = bow_mm @ np.array(bows(CORNERS_MM, CORNERS_MM[:, :2].min(0), CORNERS_MM[:, :2].max(0)))
    bent = CORNERS_MM + np.column_stack([0 * rise, 0 * rise, rise])
    seen = [lens.pixels(points @ rotation_matrix(turn).T + shift) for points in (bent, CORNERS_MM)]
    moved: np.ndarray = seen[0] - seen[1]
    return moved


def simulated(lens: Lens, rng: np.random.Generator, kind: str, *, count: int = VIEWS_COUNT) -> dict[str, BoardSeen]:
    """The views of one calibration."""
    x, y = (CORNERS_MM[:, :2] / (CORNERS_MM[:, :2].max(0) / 2) - 1).T
    views: dict[str, BoardSeen] = {}
    bow_mm = rng.uniform(-GAP_MM, GAP_MM, 3)
    for place in places(lens, rng):
        noise = rng.normal(0, SD_PX, (len(CORNERS_MM), 2))
        if kind == "pictures":
            noise = noise + np.outer(x * x - y, rng.normal(0, WARP_PX / 2, 2))
        if kind == "bowed":
            noise = noise + bowed_px(lens, place, bow_mm)
        view = seen_at(lens, place, noise)
        if view is not None:
            views[f"view {len(views) + 1}"] = view
        if len(views) == count:
            break
    return views


def fitted(lens: Lens, views: dict[str, BoardSeen], *, select: bool, flat_mm: float) -> LensFit | None:
    """None where the calibration was refused."""
    try:
        return choose(views, flat_mm=flat_mm).fit if select else fit_lens(views, model=lens.model, flat_mm=flat_mm)
    except CalibrationError:
        return None


def off_in_u(lens: Lens, fit: LensFit) -> dict[str, float]:
    """(found − true)/u of every parameter that was fitted."""
    return {n: (getattr(fit.lens, n) - getattr(lens, n)) / fit.u[n] for n in LENS_PARAMETERS if fit.u[n] > 0}


def judge(lens: Lens, kind: str, *, count: int, seed: int, select: bool) -> tuple[dict[str, list[float]], int, int]:
    """For each parameter (found − true)/u in `count` calibrations; the refused; those with another model."""
    found: dict[str, list[float]] = {}
    refused = other = 0
    for number in range(count):
        views = simulated(lens, np.random.default_rng((seed, number)), kind)
        fit = fitted(lens, views, select=select, flat_mm=GAP_MM if kind == "bowed" else 0.0)
        if fit is None:
            refused += 1
            continue
        if fit.lens.model != lens.model:
            other += 1
            continue
        for name, off in off_in_u(lens, fit).items():
            found.setdefault(name, []).append(off)
    return found, refused, other


def held(off: list[float]) -> float:
    """Share of the intervals of 95 % that hold the truth."""
    return float(np.mean(np.abs(off) < K))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--select", action="store_true", help="choose the model by evidence each time")
    parser.add_argument("--kinds", nargs="*", choices=KINDS, default=list(KINDS))
    asked = parser.parse_args()
    for name, lens in (("usual lens", USUAL), ("fisheye", WIDE)):
        for kind in asked.kinds:
            found, refused, other = judge(lens, kind, count=asked.count, seed=asked.seed, select=asked.select)
            shares = "  ".join(f"{n.removesuffix('_px')} {100 * held(off):5.1f}" for n, off in found.items())
            every = [one for off in found.values() for one in off]
            print(
                f"{name:10}  {kind:8}  all {100 * held(every):5.1f} %   {shares}   sd {np.std(every):.2f}   "
                f"refused {refused}   other model {other}",
                flush=True,
            )


if __name__ == "__main__":
    main()
