"""Is the stated doubt of a camera's movement right? Simulated tanks, photographed, knocked, and photographed again.

    python tests/bench/steady.py                # three tanks of each tier, three knocks each
    python tests/bench/steady.py --tanks 10     # more of them

The simulator draws rim, walls, refraction, ripples, hands and boats, and shares no code with what measures. The second
picture is of another run: another boat elsewhere, another light where the tier has it, other ripples and noise. One
picture each, as JPEG. Knocks: none; about 0.3 and about 2 thousandths of a radian with 0.15 and 1 mm, normally
distributed. Truth is where the moved camera sees places along the lines, through the simulator's own camera.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.lens import Lens
from calibration.patches import Grey
from calibration.steady import Moved, landmarks, moved
from calibration.waterplane import Pose, View
from logger.simulator import DEVELOPMENT_SEED
from logger.simulator.eye import Eye
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.tiers import TIERS, TierName
from logger.simulator.wishes import wishes

KNOCKS = ((0.0, 0.0), (3e-4, 0.15), (2e-3, 1.0))
"""Standard deviations: turn in rad, shift in mm."""
SIZES = {"tank_back_mm": 300.0, "tank_length_mm": 1500.0, "tank_width_mm": 620.0, "water_depth_mm": 90.0}


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One knock and what was said of it."""

    tier: str
    true_mm: float
    """At the worst place."""
    found: Moved | str
    ratios: np.ndarray
    """(P, 2) error over stated u, for each place and direction."""
    error_mm: float
    """The greatest of all places and directions."""


def view_of(eye: Eye) -> View:
    """The simulator's camera in the words of the calibration."""
    k1, k2, k3 = eye.radial
    lens = Lens(eye.width_px, eye.height_px, eye.f_px, eye.f_px, eye.cx_px, eye.cy_px, k1, k2, *eye.tangential, k3)
    return View(lens, Pose.at(eye.rotation, camera_mm=eye.place_mm))


def photographed(scene: Scene, number: int) -> Grey:
    """One grey picture of the scene, through a JPEG."""
    packed = cv2.imencode(".jpg", Painter(scene).frame(number), (cv2.IMWRITE_JPEG_QUALITY, 85))[1]
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE), np.uint8)


def judged(tier: TierName, tank: int, rng: np.random.Generator) -> Iterator[Judged]:
    """One tank, knocked in each way."""
    asked = wishes({"tank_seed": tank, **SIZES})
    then, later = (
        replace(draw(tier=tier, kind="straight", seed=tank + run, asked=asked), bump=None) for run in (1000, 2000)
    )
    eye, view = then.eye, view_of(then.eye)
    kept = landmarks(photographed(then, 0), view, water_mm=then.basin.outline_mm)
    places = np.array([[line.place_mm, y] for line in then.lines for y in (-250.0, 0.0, 250.0)])
    points = np.column_stack([places, np.zeros(len(places))])
    for turn, shift in KNOCKS:
        pose = view.pose.moved(rng.normal(0, 1, 3) * turn, rng.normal(0, 1, 3) * shift)
        knocked = replace(later.eye, rotation=pose.rotation, place_mm=pose.camera_mm)
        found = moved(kept, photographed(replace(later, eye=knocked), 60), places)
        true = eye.on_plane(knocked.see(points), z_mm=0.0) - places
        true_mm = float(np.linalg.norm(true, axis=1).max())
        if isinstance(found, str):
            yield Judged(tier, true_mm, found, np.zeros((0, 2)), 0.0)
            continue
        error = found.shifts_mm - true
        u = np.sqrt(np.diagonal(found.covariance_mm2, axis1=1, axis2=2))
        yield Judged(tier, true_mm, found, error / u, float(np.abs(error).max()))


def main() -> None:
    """Print one line for each knock, and how often 2 u held the truth."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tanks", type=int, default=3, help="of each tier (default: 3)")
    tanks, rng = parser.parse_args().tanks, np.random.default_rng(4)
    ratios = []
    print("tier       true mm  found mm      u mm  greatest error mm  pieces")
    for tier in TIERS:
        for tank in range(DEVELOPMENT_SEED, DEVELOPMENT_SEED + tanks):
            for one in judged(tier, tank, rng):
                if isinstance(one.found, str):
                    print(f"{tier:<10} {one.true_mm:7.3f}  {one.found}", flush=True)
                    continue
                ratios.append(one.ratios)
                told = f"{one.found.shift_mm:8.3f}  {one.found.u_mm:8.3f}  {one.error_mm:17.3f}"
                print(f"{tier:<10} {one.true_mm:7.3f}  {told}  {one.found.pieces_count:6d}", flush=True)
    every = np.concatenate(ratios)
    within = np.mean(np.abs(every) < 2)
    print(f"2 u held the truth in {within:.1%} of {every.size} places and directions; rms of error/u {every.std():.2f}")


if __name__ == "__main__":
    main()
