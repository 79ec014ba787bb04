"""How well and how fast is a boat without a tag tracked? Simulated recordings with exact truth, beside a stock recipe.

    python -m tests.bench.vision                          # 12 easy clips for development, a table
    python -m tests.bench.vision --judge --json out.json  # 12 clips that nothing was tuned on
    python -m tests.bench.vision --tier realistic --clips 6 --keep folder

In one run: the waterline centroid against truth; how many fixes are lost, how many are wrong by more than 10 mm without
being marked; how often two standard uncertainties hold the truth; drift, line crossing and path of the camera alone
(gates taken away), with lines and camera delay put where they truly are (how far tape and delay are off is the rig's
own doubt, which tests/bench/coverage.py counts); and the CPU time of measuring as a fraction of only decoding the same
video to BGR, one thread.

The stock recipe is OpenCV's MOG2 background subtraction with the centroid of the largest contour, given the true
camera, read on the plane z = 0.7 × freeboard (common practice, no source).
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Line, Rig
from logger.recording.folder import Recording, load
from logger.results.measure import conclude
from logger.results.trial import Result, Trial
from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED, simulate
from logger.vision.track import MEASURED, Track
from logger.vision.tracker import track_boat

Floats = NDArray[np.float64]
SILENT_MM = 10.0


@dataclass(frozen=True, slots=True)
class Figures:
    """One clip."""

    clip: str
    boat: str
    frames_count: int
    rms_mm: float
    p95_mm: float
    most_mm: float
    lost_share: float
    doubtful_share: float
    silent_share: float
    """Wrong by more than 10 mm and called measured."""
    within_2u_share: float
    """Of both coordinates of all fixes."""
    mean_u_mm: float
    drift_mm: float | None
    crossings_ms: tuple[float, ...]
    path_share: float | None
    decode_s: float
    measure_s: float
    speed_share: float
    """Time of decoding only over time of measuring."""
    stock_rms_mm: float
    stock_lost_share: float
    stock_speed_share: float
    trouble: str = ""


def truth_of(folder: Path) -> tuple[dict[str, Any], Floats]:
    """truth.json, and truth.csv as (N, 8): frame, t_ns, x, y, heading, bow x, bow y, speed."""
    facts = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with (folder / "truth.csv").open(encoding="utf-8") as file:
        rows = [[float(value) for value in row.values()] for row in csv.DictReader(file)]
    return facts, np.array(rows)


def off_mm(track: Track, true: Floats) -> Floats:
    """(N, 2) fix less truth at the fix's own time."""
    t = track.t_ns.astype(np.float64)
    x, y = np.interp(t, true[:, 1], true[:, 2]), np.interp(t, true[:, 1], true[:, 3])
    return np.column_stack([track.x_mm - x, track.y_mm - y])


def two_u_mm(track: Track) -> Floats:
    """(N, 2) two standard uncertainties of each coordinate, noise and shifts together."""
    lasting = sum((shift**2 for shift in track.shifts_mm.values()), np.zeros((len(track.t_ns), 2)))
    return 2 * np.sqrt(track.noise_mm2[:, [0, 1], [0, 1]] + lasting)


def judge(folder: Path) -> Figures:
    """Measure one clip and compare it with its truth."""
    recording = load(folder)
    facts, true = truth_of(folder)
    decode_s = decoding_s(recording)
    began = time.process_time()
    track = track_boat(recording, recording.rig)
    measure_s = time.process_time() - began
    if isinstance(track, Track) and recording.rig.camera is not None:
        late_ns = round(recording.rig.camera.delay_s * 1e9) - facts["camera"]["delay_ns"]
        track = replace(track, t_ns=track.t_ns + late_ns)
    stock, stock_s = stock_recipe(recording, facts, true)
    found = track if isinstance(track, Track) else None
    if found is None:
        off, doubtful, within, u = np.zeros((0, 2)), 0.0, 0.0, 0.0
        silent = np.zeros(0, bool)
    else:
        off = off_mm(found, true)
        sure = found.quality == MEASURED
        silent = (np.hypot(*off.T) > SILENT_MM) & sure
        doubtful = float(1 - sure.mean())
        two = two_u_mm(found)
        within, u = float((np.abs(off) < two).mean()), float(two.mean() / 2)
    apart = np.hypot(*off.T) if len(off) else np.array([np.nan])
    near = stock[stock < 100]
    drift, crossings, path = of_trial(recording, track, facts)
    return Figures(
        clip=folder.name, boat=recording.card.boat.colour, frames_count=len(true),
        rms_mm=float(np.sqrt((apart**2).mean())), p95_mm=float(np.percentile(apart, 95)), most_mm=float(apart.max()),
        lost_share=1 - len(off) / len(true), doubtful_share=doubtful, silent_share=float(silent.sum() / len(true)),
        within_2u_share=within, mean_u_mm=u, drift_mm=drift, crossings_ms=crossings, path_share=path,
        decode_s=decode_s, measure_s=measure_s, speed_share=decode_s / measure_s,
        stock_rms_mm=float(np.sqrt((near**2).mean())) if len(near) else float("nan"),
        stock_lost_share=1 - len(near) / len(true), stock_speed_share=decode_s / stock_s,
        trouble="" if found is not None else str(getattr(track, "reason", "")),
    )  # fmt: skip


def of_trial(
    recording: Recording, track: Any, facts: dict[str, Any]
) -> tuple[float | None, tuple[float, ...], float | None]:
    """Errors of drift (mm), of the lines' crossings (ms) and of the path (share), by the camera alone."""
    trial: Trial = conclude(replace(recording, edges=()), exact(recording.rig, facts), track).trial
    true_ns = {crossing["line"]: crossing["t_ns"] for crossing in facts["crossings"]}
    crossings = tuple((c.t_ns - true_ns[c.line]) / 1e6 for c in trial.crossings if c.line in true_ns)

    def error(name: str) -> float | None:
        answer, value = trial.results.get(name), facts.get(name)
        if not isinstance(answer, Result) or answer.at_least or value is None:
            return None
        return answer.quantity.value - float(value)

    path = error("path_mm")
    return error("drift_mm"), crossings, None if path is None else path / facts["path_mm"]


def exact(rig: Rig, facts: dict[str, Any]) -> Rig:
    """The rig with lines where they truly are."""
    truth = {line["name"]: line for line in facts["lines"]}

    def end(line: Line, y_mm: float) -> tuple[float, float]:
        turn = np.radians(truth[line.name]["normal_deg"])
        return float((truth[line.name]["place_mm"] - y_mm * np.sin(turn)) / np.cos(turn)), y_mm

    lines = (replace(line, a_mm=end(line, line.a_mm[1]), b_mm=end(line, line.b_mm[1])) for line in rig.lines)
    return replace(rig, lines=tuple(lines))


def decoding_s(recording: Recording) -> float:
    """CPU time of OpenCV's own reader, every frame to BGR."""
    reader = cv2.VideoCapture(str(recording.video))
    began = time.process_time()
    while reader.read()[0]:
        pass
    spent = time.process_time() - began
    reader.release()
    return spent


def stock_recipe(recording: Recording, facts: dict[str, Any], true: Floats) -> tuple[Floats, float]:
    """Distance from truth (mm) of MOG2's largest contour in every frame that has one, and the CPU time."""
    view, height_mm = recording.view, 0.7 * facts["boat"]["freeboard_mm"]
    assert view is not None
    reader = cv2.VideoCapture(str(recording.video))
    remover = cv2.createBackgroundSubtractorMOG2(history=300, detectShadows=True)
    brush = np.ones((3, 3), np.uint8)
    spots: list[tuple[int, float, float]] = []
    began = time.process_time()
    number = 0
    while (found := reader.read())[0]:
        mask = cv2.morphologyEx((remover.apply(found[1]) == 255).astype(np.uint8), cv2.MORPH_OPEN, brush)
        pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        largest = max(pieces, key=cv2.contourArea, default=None)
        if largest is not None and cv2.contourArea(largest) > 50:
            m = cv2.moments(largest)
            spots.append((number, m["m10"] / m["m00"], m["m01"] / m["m00"]))
        number += 1
    spent = time.process_time() - began
    reader.release()
    if not spots:
        return np.zeros(0), spent
    held = np.array(spots)
    place = view.to_plane(held[:, 1:], z_mm=height_mm)
    rows = held[:, 0].astype(int)
    return np.hypot(*(place - true[rows, 2:4]).T), spent


def table(figures: list[Figures]) -> str:
    """The figures as a table, then all of them together."""
    return "\n".join([*rows(figures), *(f"{name}: {value:.3g}" for name, value in summary(figures).items())])


def rows(figures: list[Figures]) -> list[str]:
    """A heading and a line for each clip."""
    lines = [
        f"{'clip':24} {'boat':7} {'rms':>6} {'p95':>6} {'max':>6} {'lost':>5} {'doubt':>5} {'silent':>6} {'in 2u':>5}"
        f" {'drift':>6} {'crossing ms':>14} {'path %':>6} {'speed':>5} | {'stock':>6} {'lost':>5} {'speed':>5}"
    ]
    for f in figures:
        crossing = " ".join(f"{ms:+.1f}" for ms in f.crossings_ms)
        drift = "" if f.drift_mm is None else f"{f.drift_mm:+.2f}"
        path = "" if f.path_share is None else f"{100 * f.path_share:+.2f}"
        lines.append(
            f"{f.clip:24} {f.boat:7} {f.rms_mm:6.2f} {f.p95_mm:6.2f} {f.most_mm:6.2f} {f.lost_share:5.1%}"
            f" {f.doubtful_share:5.1%} {f.silent_share:6.1%} {f.within_2u_share:5.0%} {drift:>6} {crossing:>14}"
            f" {path:>6} {f.speed_share:5.2f} | {f.stock_rms_mm:6.1f} {f.stock_lost_share:5.0%}"
            f" {f.stock_speed_share:5.2f} {f.trouble}"
        )
    return lines


def summary(figures: list[Figures]) -> dict[str, float]:
    """All clips together; the root mean square is over all frames. "Sure": of the clips not marked doubtful."""
    found = [f for f in figures if not f.trouble]
    sure = [f for f in found if f.doubtful_share < 1]
    frames = sum(f.frames_count for f in figures)
    return {
        "clips found": len(found),
        "clips marked doubtful": len(found) - len(sure),
        "lost, % of frames": 100 * sum(f.lost_share * f.frames_count for f in figures) / frames,
        "wrong by > 10 mm and not marked, %": 100 * sum(f.silent_share * f.frames_count for f in figures) / frames,
        "within 2u, %": 100
        * sum(f.within_2u_share * f.frames_count * (1 - f.lost_share) for f in figures)
        / max(1.0, sum(_held(figures))),
        **_errors("all", found),
        **_errors("sure", sure),
        "speed, share of decode-only": sum(f.decode_s for f in figures) / sum(f.measure_s for f in figures),
        "stock rms, mm": float(np.nanmedian([f.stock_rms_mm for f in figures])),
        "stock lost, %": 100 * float(np.mean([f.stock_lost_share for f in figures])),
    }


def _held(figures: list[Figures]) -> list[float]:
    return [f.frames_count * (1 - f.lost_share) for f in figures]


def _errors(which: str, figures: list[Figures]) -> dict[str, float]:
    if not figures:
        return {}
    drifts = [abs(f.drift_mm) for f in figures if f.drift_mm is not None] or [float("nan")]
    crossings = [abs(ms) for f in figures for ms in f.crossings_ms] or [float("nan")]
    paths = [abs(f.path_share) for f in figures if f.path_share is not None] or [float("nan")]
    answers = {
        "rms, mm": float(np.sqrt(np.average([f.rms_mm**2 for f in figures], weights=_held(figures)))),
        "median clip's rms, mm": float(np.median([f.rms_mm for f in figures])),
        "worst clip's p95, mm": max(f.p95_mm for f in figures),
        "drift error, median, mm": float(np.median(drifts)),
        "drift error, worst, mm": max(drifts),
        "crossing error, median, ms": float(np.median(crossings)),
        "crossing error, p95, ms": float(np.percentile(crossings, 95)),
        "path error, median, %": 100 * float(np.median(paths)),
    }
    return {f"{which}: {name}": value for name, value in answers.items()}


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description="Accuracy and speed of the tracker on simulated recordings.")
    parser.add_argument("--clips", type=int, default=12)
    parser.add_argument("--tier", default="easy", choices=("easy", "realistic", "hard"))
    parser.add_argument("--judge", action="store_true", help="clips that are only for final figures")
    parser.add_argument("--json", type=Path, help="also write all figures here")
    parser.add_argument("--keep", type=Path, help="a folder for the recordings, used again if they are there")
    asked = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    first = JUDGING_SEED + 300 if asked.judge else DEVELOPMENT_SEED + 100
    figures = []
    with tempfile.TemporaryDirectory() as scratch:
        place = asked.keep or Path(scratch)
        for number in range(asked.clips):
            folder = place / f"{asked.tier}-{first + number}"
            if not (folder / "truth.json").exists():
                kind = ("drift", "straight")[number % 2]
                simulate(folder, tier=asked.tier, kind=kind, seed=first + number)
            figures.append(judge(folder))
            print(rows(figures[-1:])[1], file=sys.stderr, flush=True)
    print(table(figures))
    if asked.json:
        whole = {
            "tier": asked.tier,
            "first_seed": first,
            "summary": summary(figures),
            "clips": [asdict(f) for f in figures],
        }
        asked.json.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
