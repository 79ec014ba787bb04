"""How good a calibrated water plane is against the truth, and against what it says of itself.

    python -m tests.bench.plane                       # 100 of each way
    python -m tests.bench.plane 300 --picture plane.svg

Each is a simulated tank, 1.5 x 0.5 m: camera 1.25 to 1.45 m up, tilted by 0 to 8 degrees, k1 from 0 to -0.2; lens,
marks, depth, level, floor and board are wrong by as much as they are said to be (tests/calibration/plane_tank.py). Told
for each way, and for each two degrees of tilt: the error at the worst of 45 places of the run area, what is stated for
the worst place wherever it is (95 %), how often the one is beyond the other (5 % are to be expected), how often the
stated interval of a place holds the truth, and that of the camera's own place (x, y, height). In the picture each
calibration is a dot.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calibration.plane_worth import worth
from tests.calibration import plane_tank

K = 1.96
BANDS_DEG = ((0.0, 2.0), (2.0, 4.0), (4.0, 6.0), (6.0, 8.1))
COLOURS = ("#1f77b4", "#8c564b", "#7f7f7f", "#2ca02c", "#0b5d1e", "#ff7f0e", "#d62728")
SIDE, EDGE, MOST_MM = 420, 64, 8.0


@dataclass(frozen=True, slots=True)
class One:
    """One calibration against the truth."""

    tilt_deg: float
    worst_mm: float
    """Error at the worst place."""
    stated_mm: float
    """What is stated for the worst place, 95 %."""
    held: float
    """Share of the places' intervals that hold the truth."""
    camera_held: float
    """The same of the camera's x, y and height."""


def judged(way: str, rng: np.random.Generator) -> One:
    """One calibration, judged."""
    one = plane_tank.tank(rng)
    fit = plane_tank.calibrated(way, one, rng)
    off, u = plane_tank.errors_mm(fit, one)
    camera = fit.view.pose.camera_mm
    shifts = np.array([other.pose.camera_mm - camera for other in fit.view.varied().values()])
    u_camera = np.sqrt((shifts**2).sum(0))
    return One(
        float(np.degrees(np.arccos(np.clip(-one.eye.rotation[2, 2], -1, 1)))),
        float(np.linalg.norm(off, axis=1).max()),
        worth(fit.view, plane_tank.AREA_MM).worst_mm,
        float(np.mean(np.abs(off) <= K * u)),
        float(np.mean(np.abs(camera - one.eye.place_mm) <= K * u_camera)),
    )


def row(words: str, found: list[One]) -> str:
    """A line of the table."""
    worst, stated = ([getattr(one, name) for one in found] for name in ("worst_mm", "stated_mm"))
    told = f"{np.median(worst):.1f}, {np.percentile(worst, 95):.1f}, {np.max(worst):.1f}"
    over = np.mean(np.array(worst) > np.array(stated))
    return (
        f"{words:<42}{len(found):<6}{told:<18}{np.median(stated):.1f}, {np.max(stated):<10.1f}{over:<8.0%}"
        f"{np.mean([one.held for one in found]):<9.1%}{np.mean([one.camera_held for one in found]):.1%}"
    )


def picture(found: dict[str, list[One]]) -> str:
    """True against stated error, a dot for each calibration, as SVG."""

    def at(mm: float) -> float:
        return EDGE + min(mm, MOST_MM) * SIDE / MOST_MM

    bottom = EDGE + SIDE
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE + 440}" height="{SIDE + 134}" '
        'font-family="sans-serif" font-size="13"><rect width="100%" height="100%" fill="white"/>',
        f'<path d="M{EDGE} {bottom}L{at(MOST_MM)} {EDGE}" stroke="#888" stroke-dasharray="5 4"/>',
        f'<text x="{EDGE + SIDE / 2}" y="{bottom + 42}" text-anchor="middle">stated for the worst place, 95 %, '
        "mm</text>",
        f'<text transform="translate(24 {EDGE + SIDE / 2}) rotate(-90)" text-anchor="middle">true error at the worst '
        "place, mm</text>",
        f'<text x="{EDGE}" y="24" font-size="15">Water plane over the run area: true against stated</text>',
    ]
    for mm in range(int(MOST_MM) + 1):
        parts.append(f'<path d="M{at(mm)} {bottom}v-{SIDE}M{EDGE} {bottom - at(mm) + EDGE}h{SIDE}" stroke="#e4e4e4"/>')
        parts.append(f'<text x="{at(mm)}" y="{bottom + 18}" text-anchor="middle">{mm}</text>')
        parts.append(f'<text x="{EDGE - 8}" y="{bottom - at(mm) + EDGE + 5}" text-anchor="end">{mm}</text>')
    parts.append(f'<rect x="{EDGE}" y="{EDGE}" width="{SIDE}" height="{SIDE}" fill="none" stroke="#444"/>')
    for number, (way, every) in enumerate(found.items()):
        colour = COLOURS[number % len(COLOURS)]
        parts += [
            f'<circle cx="{at(one.stated_mm):.1f}" cy="{bottom + EDGE - at(one.worst_mm):.1f}" r="3" fill="{colour}" '
            'fill-opacity="0.55"/>'
            for one in every
        ]
        y = EDGE + 20 + 22 * number
        parts.append(f'<circle cx="{SIDE + EDGE + 22}" cy="{y - 4}" r="5" fill="{colour}"/>')
        parts.append(f'<text x="{SIDE + EDGE + 34}" y="{y}">{way}</text>')
    y = EDGE + 40 + 22 * len(found)
    words = ("below the dashed line: stated at least as", "large as it is")
    parts += [f'<text x="{SIDE + EDGE + 14}" y="{y + 18 * n}" fill="#555">{w}</text>' for n, w in enumerate(words)]
    return "\n".join([*parts, "</svg>\n"])


def main() -> None:
    """Print the tables; draw if asked to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=100)
    parser.add_argument("--picture", type=Path, help="an SVG of all of them")
    parser.add_argument("--ways", nargs="*", default=list(plane_tank.WAYS), choices=plane_tank.WAYS, metavar="WAY")
    asked = parser.parse_args()
    print(f"{'way':<42}{'count':<6}{'true: 50, 95, 100 %':<20}{'stated: 50, 100 %':<18}{'beyond':<8}"
          f"{'places':<9}camera")  # fmt: skip
    found: dict[str, list[One]] = {}
    for way in asked.ways:
        rng = np.random.default_rng(20260504)
        found[way] = [judged(way, rng) for _ in range(asked.count)]
        print(row(way, found[way]), flush=True)
        for low, high in BANDS_DEG:
            part = [one for one in found[way] if low <= one.tilt_deg < high]
            if part:
                print(row(f"    tilted {low:.0f} to {high:.0f} degrees", part), flush=True)
    if asked.picture is not None:
        asked.picture.write_text(picture(found), encoding="utf-8")


if __name__ == "__main__":
    main()
