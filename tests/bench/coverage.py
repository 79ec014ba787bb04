"""Do the stated 95 % intervals hold the truth 95 % of the time? Over thousands of simulated runs, quantity by quantity.

    python tests/bench/coverage.py                      # 2,000 runs of the easy tier, two processes, tables
    python tests/bench/coverage.py --judge              # the same on seeds that nothing was tuned on
    python tests/bench/coverage.py --runs 400 --tier realistic --json out.json

How a run is simulated. At the level of tracks: the simulator gives the exact motion (thrust that builds up and
breathes, drag with a linear and a quadratic part, a winding path; in a drift run the power is cut when the bow is at
the mark, in the harder tiers up to 0.15 or 0.3 s later) and what instruments would have said of it. All that the trial
states as known to within u is drawn anew in every run, from a normal distribution of that u unless another is named:

- new in every picture: places 0.3 mm along each axis, headings 0.005 rad;
- once per run, for all pictures: freeboard 1.15 mm (2/√3, the ruler's), camera height 1 mm, waterline outline 0.4 mm;
- camera delay 0.3 ms, places of lines 0.2 mm, of gates 0.5 mm, taped distance 0.7 mm (easy tier; see tiers.py);
- stamps of gates 0.03 ms (0.1 ms is stated: no instrument here states less), stamp of go 1 ms, boat length from the
  card evenly within ± 2 mm.

The place of the walls is told without error, so a run that ends there is known better than its outline lets it say.
Nothing is painted, so thousands of runs take minutes; pictures are judged by the other benches. Every run is measured
three times: by gates and camera, by the camera alone, by the gates alone; even seeds are drift runs, odd ones straight.

A drift that ended at the wall has a row of its own, "at least": it counts as right if its truth is not below the stated
bound. Top speed and sideways way have no closed truth; theirs is that of the exact places at the moments of the
pictures, joined by a cubic spline. The second table splits every quantity by speed at the line and by length of the
boat, lest a part that is wrong hide in a sum that is right.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from logger.recording.folder import Event, Recording
from logger.results.columns import SPEED_MAX_WINDOW_S
from logger.results.measure import conclude
from logger.results.times import U_GO_S
from logger.results.trial import Result, Trial
from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED
from logger.simulator.chance import stream
from logger.simulator.run import SimulatedRun, TrackerDoubt, simulate_run
from logger.simulator.tiers import TIERS, TierName
from logger.vision.track import Track

TRACKER = TrackerDoubt(noise_mm=0.3, u_heading_rad=0.005, u_outline_mm=0.4, u_camera_height_mm=1.0)
WITNESSES = ("both", "camera", "gates")


@dataclass(frozen=True, slots=True)
class Score:
    """One quantity of one run."""

    name: str
    error: float
    """Measured minus true."""
    u: float
    held: bool
    """Whether the stated 95 % interval holds the truth."""
    parts: tuple[str, ...]
    """What kind of run it was: rows of the second table."""


def recording_of(run: SimulatedRun, *, gates: bool) -> Recording:
    """The recording that the run would have left, without its pictures."""
    rig = run.rig if gates else replace(run.rig, gates=(), gate_distance_mm=None)
    late_ns = round(stream(run.truth["seed"], "finger").normal(0, U_GO_S) * 1e9)
    events = tuple(Event(t + (late_ns if e == "go" else 0), e) for t, e in run.events)
    return Recording(
        folder=Path("simulated"), card=run.card, rig=rig, view=None, calibration_id="",
        edges=run.edges if gates else (), events=events, stamps=None, video=None,
    )  # fmt: skip


def track_of(run: SimulatedRun) -> Track:
    """What the imagined tracker says."""
    f = run.fixes
    n = len(f.t_ns)
    return Track(
        t_ns=f.t_ns, x_mm=f.x_mm, y_mm=f.y_mm, heading_rad=f.heading_rad,
        noise_mm2=np.tile(np.eye(2) * f.noise_mm**2, (n, 1, 1)), u_heading_rad=np.full(n, f.u_heading_rad),
        quality=np.zeros(n, np.uint8), frame=f.frame, outline_mm=f.outline_mm, u_outline_mm=f.u_outline_mm,
        shifts_mm=f.shifts_mm, frames_seen_count=n,
    )  # fmt: skip


def truths(run: SimulatedRun, trial: Trial) -> dict[str, float]:
    """What the results should have been."""
    truth = run.truth
    crossings = {c["line"]: c for c in truth["crossings"]}
    if len(crossings) < 2:
        return {}
    first, last = (crossings[line["name"]] for line in (truth["lines"][0], truth["lines"][-1]))
    time_s = (last["t_ns"] - first["t_ns"]) / 1e9
    found = {
        "time_s": time_s,
        "time_from_go_s": (last["t_ns"] - truth["go_ns"]) / 1e9,
        "speed_at_line_m_per_s": last["speed_mm_per_s"] / 1e3,
        "speed_mean_m_per_s": (truth["lines"][-1]["place_mm"] - truth["lines"][0]["place_mm"]) / time_s / 1e3,
    }
    mean = trial.results.get("speed_mean_m_per_s")
    if mean is not None and mean.witness == "gate":
        found["speed_mean_m_per_s"] = _beam_mean(truth)
    for name in ("drift_mm", "path_mm"):
        if truth.get(name) is not None:
            found[name] = truth[name]
    return found | _along(run, crossings[truth["lines"][0]["name"]]["t_ns"])


def _along(run: SimulatedRun, from_ns: int) -> dict[str, float]:
    """Top speed, straightness and sideways way of the exact places from the start line to the end of the run."""
    f, zero = run.fixes, int(run.fixes.true_t_ns[0])
    curve = CubicSpline((f.true_t_ns - zero) / 1e9, np.column_stack([f.true_x_mm, f.true_y_mm]))
    begins, ends = (from_ns - zero) / 1e9, (run.truth["end_ns"] - zero) / 1e9
    windows = np.linspace(begins, ends - SPEED_MAX_WINDOW_S, 4000)
    moved = np.hypot(*(curve(windows + SPEED_MAX_WINDOW_S) - curve(windows)).T)
    places = curve(np.linspace(begins, ends, 4000))
    chord = places[-1] - places[0]
    aside = (places - places[0]) @ np.array([-chord[1], chord[0]]) / np.hypot(*chord)
    return {
        "speed_max_m_per_s": float(moved.max() / SPEED_MAX_WINDOW_S / 1e3),
        "sideways_mm": float(np.abs(aside).max()),
        "straightness": float(np.hypot(*chord) / run.truth["path_mm"]),
    }


def _beam_mean(truth: Mapping[str, Any]) -> float:
    begun = next(b["t_ns"] for b in truth["beams"] if b["blocked"])
    last = truth["beams"][-1]["gate"]
    ended = next(b["t_ns"] for b in truth["beams"] if b["blocked"] and b["gate"] == last)
    return float(truth["gate_distance_mm"] / (ended - begun) * 1e6)


def scores_of(job: tuple[int, TierName]) -> list[tuple[str, str, list[Score]]]:
    """Every quantity of the run of one seed, by witness."""
    seed, tier = job
    kind = ("drift", "straight")[seed % 2]
    run = simulate_run(tier=tier, kind=kind, seed=seed, doubt=TRACKER)
    found = []
    for witness in WITNESSES:
        recording = recording_of(run, gates=witness != "camera")
        trial = conclude(recording, recording.rig, None if witness == "gates" else track_of(run)).trial
        parts = _parts(run)
        scores = [_score(name, trial.results.get(name), t, parts) for name, t in truths(run, trial).items()]
        found.append((witness, kind, scores))
    return found


def _parts(run: SimulatedRun) -> tuple[str, ...]:
    speed, length = run.truth["crossings"][-1]["speed_mm_per_s"], run.truth["boat"]["waterline_length_mm"]
    return (
        "slower than 200 mm/s" if speed < 200 else "200 to 300 mm/s" if speed < 300 else "faster than 300 mm/s",
        "shorter than 150 mm" if length < 150 else "150 to 220 mm" if length < 220 else "longer than 220 mm",
    )


def _score(name: str, result: Result | None, truth: float, parts: tuple[str, ...]) -> Score:
    if result is None:
        return Score(name, math.nan, math.nan, False, parts)
    q = result.quantity
    error = q.value - truth
    held = error <= q.U if result.at_least else abs(error) <= q.U
    return Score(f"{name} at least" if result.at_least else name, error, q.u, held, parts)


Scored = list[tuple[str, str, list[Score]]]


def table(scored: Iterable[Scored], *, split: bool = False) -> list[dict[str, Any]]:
    """One row per witness, kind and quantity; `split`: and part."""
    groups: dict[tuple[str, str, str, str], list[Score]] = defaultdict(list)
    for run in scored:
        for witness, kind, scores in run:
            for score in scores:
                for part in score.parts if split else ("",):
                    groups[witness, kind, score.name, part].append(score)
    rows = []
    for (witness, kind, name, part), scores in sorted(groups.items()):
        measured = [s for s in scores if not math.isnan(s.error)]
        if not measured:
            continue
        error, u = np.array([s.error for s in measured]), np.array([s.u for s in measured])
        share = sum(s.held for s in measured) / len(measured)
        rows.append({
            "witness": witness, "kind": kind, "quantity": name, "part": part, "runs": len(measured),
            "without_result": len(scores) - len(measured),
            "coverage_percent": 100 * share, "u_coverage_percent": 100 * math.sqrt(share * (1 - share) / len(measured)),
            "mean_square_of_error_over_u": float(np.mean((error / u) ** 2)),
            "mean_of_error_over_u": float(np.mean(error / u)),
            "rms_error": float(np.sqrt(np.mean(error**2))), "rms_u": float(np.sqrt(np.mean(u**2))),
            "median_absolute_error": float(np.median(np.abs(error))), "worst_error": float(np.abs(error).max()),
            "median_u": float(np.median(u)),
        })  # fmt: skip
    return rows


def _print(rows: list[dict[str, Any]]) -> None:
    print(f"{'witness':8}{'kind':9}{'quantity':24}{'part':22}{'runs':>5}{'none':>5}{'held %':>7}{'±':>4}{'(e/u)²':>7}"
          f"{'e/u':>6}{'rms e':>9}{'rms u':>9}{'median u':>9}{'worst':>9}")  # fmt: skip
    for r in rows:
        print(f"{r['witness']:8}{r['kind']:9}{r['quantity']:24}{r['part']:22}{r['runs']:5}{r['without_result']:5}"
              f"{r['coverage_percent']:7.1f}{r['u_coverage_percent']:4.1f}{r['mean_square_of_error_over_u']:7.2f}"
              f"{r['mean_of_error_over_u']:6.2f}{r['rms_error']:9.5f}{r['rms_u']:9.5f}{r['median_u']:9.5f}"
              f"{r['worst_error']:9.4f}")  # fmt: skip


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--first-seed", type=int, default=None)
    parser.add_argument("--judge", action="store_true", help="seeds that nothing was tuned on")
    parser.add_argument("--tier", choices=sorted(TIERS), default="easy")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    first = asked.first_seed or (JUDGING_SEED if asked.judge else DEVELOPMENT_SEED)
    jobs = [(seed, asked.tier) for seed in range(first, first + asked.runs)]
    with ProcessPoolExecutor(asked.processes) as pool:
        scored = list(pool.map(scores_of, jobs, chunksize=20))
    rows = table(scored)
    print(f"{asked.tier} tier, seeds {first} to {first + asked.runs - 1}")
    _print(rows)
    print()
    _print([r for r in table(scored, split=True) if r["witness"] == "both"])
    if asked.json is not None:
        asked.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
