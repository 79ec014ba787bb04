"""How often is a class told wrongly who is faster, and how large must a difference be to be told?

    python -m tests.bench.ranking                       # 6,000 class sets for each number of repeats; tables
    python -m tests.bench.ranking --sets 2000 --svg power.svg --json out.json

A class set: boats of one rig, each with its repeats of a time of 5 s. Every boat scatters by its own standard
deviation, drawn evenly from 5 to 25 % of the time (what boats of foil and straws do, see the users' figures); the gate
distance and the stamps add what the rig's budget states. Where all boats are truly equal, a verdict in which any boat
is called faster than any other is false. For the power curve one boat of two is truly faster; it is counted how often
it is called faster, and how often the other one is.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from calibration.quantity import Quantity, Source
from logger.study.compare import compare_all, repeats_of
from logger.study.ranking import places

_TIME_S = 5.0
_SPREADS = 0.05, 0.25
_U_DISTANCE, _U_STAMP_S = 0.001, 0.001
_GAPS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0, 1.5)
REPEATS = (2, 3, 5)


def verdict(rng: np.random.Generator, true_s: Sequence[float], spread: Sequence[float], count: int) -> tuple[bool, int]:
    """Whether any pair was called different, and the place of the first boat; runs with the doubts of one rig."""
    scale = 1 + rng.normal() * _U_DISTANCE
    boats = []
    for name, (time_s, relative) in enumerate(zip(true_s, spread, strict=True)):
        values = scale * time_s * (1 + relative * rng.normal(size=count)) + _U_STAMP_S * rng.normal(size=count)
        runs = [
            Quantity(v, "s", {
                Source("gate distance"): _U_DISTANCE * v, Source("stamp", ensemble=f"run {name} {i}"): _U_STAMP_S,
            })
            for i, v in enumerate(values.tolist())
        ]  # fmt: skip
        boats.append(repeats_of(str(name), runs))
    compared = compare_all(boats)
    place = next(p.place for p in places(boats, compared, more_is_better=False) if p.boat == "0")
    return any(not pair.too_close for pair in compared), place


def false_verdicts(sets: int, boats_count: int, count: int, seed: int) -> float:
    """Share of class sets of truly equal boats in which somebody was called faster."""
    rng = np.random.default_rng([seed, boats_count, count])
    wrong = 0
    for _ in range(sets):
        spread = rng.uniform(*_SPREADS, boats_count).tolist()
        wrong += verdict(rng, [_TIME_S] * boats_count, spread, count)[0]
    return wrong / sets


def powers(sets: int, count: int, seed: int) -> list[dict[str, float]]:
    """For each true difference: how often it was called, the right way and the wrong way."""
    rng, rows = np.random.default_rng([seed, count]), []
    for gap in _GAPS:
        right = wrong = 0
        for _ in range(sets):
            spread = [float(rng.uniform(*_SPREADS))] * 2
            different, place = verdict(rng, [_TIME_S * (1 - gap / 2), _TIME_S * (1 + gap / 2)], spread, count)
            right += different and place == 1
            wrong += different and place == 2
        rows.append({"difference": gap, "right": right / sets, "wrong": wrong / sets})
    return rows


def svg(curves: dict[int, list[dict[str, float]]]) -> str:
    """The power curves as a drawing."""
    width, height, left, low = 640, 400, 70, 340
    most = max(_GAPS)

    def at(gap: float, share: float) -> str:
        return f"{left + gap / most * (width - left - 130):.1f},{low - share * (low - 30):.1f}"

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        'font-size="14" role="img"><title>How often a true difference is called</title>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        x, y = at(0, share).split(",")
        parts.append(f'<path d="M{at(0, share)} L{at(most, share)}" stroke="#ddd"/>')
        parts.append(f'<text x="{float(x) - 8:.1f}" y="{float(y) + 5:.1f}" text-anchor="end">{share:.0%}</text>')
    for gap in (0.0, 0.5, 1.0, 1.5):
        x, y = at(gap, 0).split(",")
        parts.append(f'<text x="{x}" y="{float(y) + 20:.1f}" text-anchor="middle">{gap:.0%}</text>')
    dashes = {2: "2 4", 3: "8 4", 5: "none"}
    lowest = -18.0
    for count, rows in sorted(curves.items(), key=lambda item: -item[1][-1]["right"]):
        line = " L".join(at(row["difference"], row["right"]) for row in rows)
        parts.append(
            f'<path d="M{line}" fill="none" stroke="#000" stroke-width="2" stroke-dasharray="{dashes[count]}"/>'
        )
        x, y = at(most, rows[-1]["right"]).split(",")
        y = str(max(float(y), lowest + 18))
        lowest = float(y)
        parts.append(f'<text x="{float(x) + 8:.1f}" y="{float(y) + 5:.1f}">{count} repeats each</text>')
    parts.append(f'<text x="{left}" y="18">called faster, share of class sets</text>')
    parts.append(
        f'<text x="{(width - 60) / 2}" y="{height - 14}" text-anchor="middle">true difference of two boats</text>'
    )
    return "\n".join([*parts, "</svg>"]) + "\n"


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sets", type=int, default=6000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--svg", type=Path, default=None, metavar="FILE")
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    print(f"truly equal boats, {asked.sets} class sets each: any boat called faster than any other, %")
    print(f"{'boats':>6}" + "".join(f"{f'{n} repeats':>12}" for n in REPEATS))
    told: dict[str, Any] = {"false": [], "power": {}}
    for boats_count in (2, 3, 6, 10):
        shares = [false_verdicts(asked.sets, boats_count, n, asked.seed) for n in REPEATS]
        told["false"].append({"boats": boats_count, **{str(n): s for n, s in zip(REPEATS, shares, strict=True)}})
        print(f"{boats_count:6}" + "".join(f"{100 * share:12.1f}" for share in shares), flush=True)
    print("\ntwo boats, one truly faster by so much of the time: called faster / the other one called faster, %")
    curves = {n: powers(max(asked.sets // 3, 1), n, asked.seed) for n in REPEATS}
    for i, gap in enumerate(_GAPS):
        pairs = (curves[n][i] for n in REPEATS)
        print(f"{100 * gap:5.0f}%" + "".join(f"{100 * p['right']:10.1f} /{100 * p['wrong']:4.1f}" for p in pairs))
    told["power"] = curves
    if asked.svg is not None:
        asked.svg.write_text(svg(curves), encoding="utf-8")
    if asked.json is not None:
        asked.json.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
