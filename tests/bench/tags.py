"""Which family of printed squares is read best when it is small and moves? The table behind `calibration.tags.FAMILY`.

    python -m tests.bench.tags                    # all families, a table (about two minutes)
    python -m tests.bench.tags --trials 20 --json out.json

Squares are painted in light with an ideal lens's blur (Gaussian, 0.6 px), smeared by motion in a random direction,
given the tone curve, noise and JPEG of a cheap camera, on a grey deck with a white quiet border of one cell. A deck is
as large as it is: families are compared at the same side of the whole print, quiet border included, in picture pixels.
Each is read in the picture as it is and in the picture enlarged three times. "Read" is the right number; "false" is any
other number, on the square or in the clutter around it.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision.tag.reader import Options, Reader

FAMILIES = {
    "4x4_50": cv2.aruco.DICT_4X4_50,
    "5x5_50": cv2.aruco.DICT_5X5_50,
    "16h5": cv2.aruco.DICT_APRILTAG_16h5,
    "25h9": cv2.aruco.DICT_APRILTAG_25h9,
    "36h11": cv2.aruco.DICT_APRILTAG_36h11,
}
PRINT_PX = (16, 20, 24, 30, 40)
SMEAR_PX = (0.0, 2.0, 4.0)
_SUPER = 8
_SIZE_PX = 120
_POWER = 2.2


@dataclass(frozen=True, slots=True)
class Figures:
    """One family at one size and one smear, one way of reading."""

    family: str
    print_px: int
    """Side of the print with its quiet border, pixels."""
    smear_px: float
    enlarged: int
    read_share: float
    false_count: int
    """Wrong numbers in all trials together."""
    corner_px: float
    """Root mean square error of the corners of those read, after their common shift: pixels."""
    middle_px: float
    """The same of the middle."""


def paint(
    family: int, number: int, *, print_px: float, smear_px: float, rng: np.random.Generator
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """A grey picture with one square in it, and its corners (4, 2) in the order of OpenCV's detector."""
    listed = cv2.aruco.getPredefinedDictionary(family)
    count = listed.markerSize + 2
    cells = cv2.aruco.generateImageMarker(listed, number, count) > 0
    printed = np.pad(cells, 1, constant_values=True)
    fine = _SIZE_PX * _SUPER
    cell = print_px * _SUPER / len(printed)
    turn, middle = rng.uniform(0, 2 * np.pi), fine / 2 + rng.uniform(-8, 8, 2) * _SUPER
    c, s = np.cos(turn), np.sin(turn)
    lay = np.zeros((2, 3))
    lay[:, :2] = cell * np.array([[c, -s], [s, c]])
    lay[:, 2] = middle - lay[:, :2] @ np.full(2, (len(printed) - 1) / 2)
    back = cv2.invertAffineTransform(lay)
    v, u = np.indices((fine, fine))
    at = np.einsum("ij,jkl->ikl", back[:, :2], np.stack([u, v])) + back[:, 2, None, None]
    index = np.round(at).astype(int)
    on = ((index >= 0) & (index < len(printed))).all(axis=0)
    paper, ink, deck = rng.uniform(0.6, 0.85), rng.uniform(0.02, 0.06), rng.uniform(0.08, 0.5)
    clutter = cv2.resize(
        rng.uniform(0.7, 1.3, (12, 12)).astype(np.float32), (fine, fine), interpolation=cv2.INTER_CUBIC
    )
    light = (deck * clutter).astype(np.float32)
    held = np.clip(index, 0, len(printed) - 1)
    light[on] = np.where(printed[held[1], held[0]], paper, ink)[on]
    light = _smeared(light, smear_px * _SUPER, rng.uniform(0, np.pi))
    light = cv2.GaussianBlur(light, (0, 0), 0.6 * _SUPER)
    small = cv2.resize(light, (_SIZE_PX, _SIZE_PX), interpolation=cv2.INTER_AREA)
    grey = 255 * np.clip(small, 0, 1) ** (1 / _POWER) + rng.normal(0, 3.0, small.shape)
    _, packed = cv2.imencode(".jpg", np.clip(grey, 0, 255).astype(np.uint8), (cv2.IMWRITE_JPEG_QUALITY, 80))
    half = (count / 2) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = (half @ lay[:, :2].T + middle + 0.5) / _SUPER - 0.5
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE), np.uint8), corners


def _smeared(light: NDArray[np.float32], length: float, turn: float) -> NDArray[np.float32]:
    count = max(1, round(length))
    offsets = np.linspace(-length / 2, length / 2, count) if count > 1 else np.zeros(1)
    reach = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * reach + 1,) * 2, np.float32)
    np.add.at(
        kernel,
        (np.round(reach + np.sin(turn) * offsets).astype(int), np.round(reach + np.cos(turn) * offsets).astype(int)),
        1,
    )
    return np.asarray(cv2.filter2D(light, -1, kernel / kernel.sum()), np.float32)


def judge(name: str, *, print_px: int, smear_px: float, trials: int) -> list[Figures]:
    """One family at one size: as it is, and enlarged."""
    family = FAMILIES[name]
    count = len(cv2.aruco.getPredefinedDictionary(family).bytesList)
    readers = {enlarged: Reader(Options(family=family, enlarged_count=enlarged)) for enlarged in (1, 3)}
    right: dict[int, list[NDArray[np.float64]]] = {1: [], 3: []}
    wrong = {1: 0, 3: 0}
    for trial in range(trials):
        rng = np.random.default_rng([print_px, round(10 * smear_px), trial])
        number = int(rng.integers(min(count, 30)))
        picture, corners = paint(family, number, print_px=print_px, smear_px=smear_px, rng=rng)
        for enlarged, reader in readers.items():
            for seen in reader.read(picture):
                if seen.number == number:
                    right[enlarged].append(seen.corners_px - corners)
                else:
                    wrong[enlarged] += 1
    return [
        Figures(
            name, print_px, smear_px, enlarged, len(off) / trials, wrong[enlarged],
            _rms([o - o.mean(axis=0) for o in off]), _rms([o.mean(axis=0) for o in off]),
        )
        for enlarged, off in right.items()
    ]  # fmt: skip


def _rms(off: list[NDArray[np.float64]]) -> float:
    return float(np.sqrt(2 * np.mean(np.square(off)))) if off else float("nan")


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description="How well families of printed squares are read, small and moving.")
    parser.add_argument("--trials", type=int, default=60)
    parser.add_argument("--json", type=Path, help="also write all figures here")
    asked = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    found: list[Figures] = []
    print(f"{'family':8} {'print px':>8} {'smear px':>8} | as it is: read false corner middle px | enlarged: the same")
    for smear_px in SMEAR_PX:
        for print_px in PRINT_PX:
            for name in FAMILIES:
                pair = judge(name, print_px=print_px, smear_px=smear_px, trials=asked.trials)
                found += pair
                cells = " | ".join(
                    f"{f.read_share:5.0%} {f.false_count:3d} {f.corner_px:5.2f} {f.middle_px:5.2f}" for f in pair
                )
                print(f"{name:8} {print_px:8d} {smear_px:8.1f} | {cells}", flush=True)
    if asked.json:
        asked.json.write_text(json.dumps([asdict(f) for f in found], indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
