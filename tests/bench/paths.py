"""By how much is a path too long or too short, and what does measuring cost?

    python -m tests.bench.paths                         # bias by tier, speed and frame rate; cost by length and number
    python -m tests.bench.paths --runs 40 --json out.json

Paths: straight runs at the level of tracks, as in coverage.py (nothing painted): the tracker's noise is that of the
tier. Beside the bias of the measured path stands that of the raw places joined by straight lines.

Cost: from the track to the trial (the video costs more; see the vision bench), processor seconds and the greatest
memory of the process, for runs of growing length, and for a growing number of them one after the other.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.results.measure import conclude
from logger.simulator import DEVELOPMENT_SEED
from logger.simulator.run import SimulatedRun, TrackerDoubt, simulate_run
from logger.simulator.tiers import TierName
from tests.bench.coverage import recording_of, track_of

_NOISE_MM: dict[TierName, float] = {"easy": 0.3, "realistic": 0.6, "hard": 1.2}
_SPEEDS = (60.0, 200.0, 600.0)
_RATES = (15.0, 30.0, 60.0)


def path_row(tier: TierName, speed: float, rate_hz: float, runs: int) -> dict[str, Any]:
    """Mean relative bias of measured and raw path, and the scatter of the measured one, percent."""
    doubt = TrackerDoubt(noise_mm=_NOISE_MM[tier], u_heading_rad=0.005, u_outline_mm=0.4)
    off, raw = [], []
    for seed in range(DEVELOPMENT_SEED, DEVELOPMENT_SEED + runs):
        run = simulate_run(
            tier=tier, kind="straight", seed=seed, doubt=doubt, speed_mm_per_s=speed, frame_rate_hz=rate_hz
        )
        if len(run.truth["crossings"]) < 2:
            continue
        recording = recording_of(run, gates=False)
        found = conclude(recording, recording.rig, track_of(run)).trial.results.get("path_mm")
        if found is not None:
            off.append(found.quantity.value / run.truth["path_mm"] - 1)
            raw.append(_raw_mm(run) / run.truth["path_mm"] - 1)
    return {
        "tier": tier, "speed_mm_per_s": speed, "frame_rate_hz": rate_hz, "runs": len(off),
        "bias_percent": 100 * float(np.mean(off)), "u_bias_percent": 100 * float(np.std(off) / np.sqrt(len(off))),
        "raw_bias_percent": 100 * float(np.mean(raw)),
    }  # fmt: skip


def _raw_mm(run: SimulatedRun) -> float:
    """The fixes between the true moments joined by straight lines, and their share of the first and last steps."""
    f, begin, end = run.fixes, run.truth["crossings"][0]["t_ns"], run.truth["end_ns"]
    time_s, at = (f.true_t_ns - begin) / 1e9, np.array([0.0, (end - begin) / 1e9])
    inner = (time_s > at[0]) & (time_s < at[1])
    x, y = (
        np.concatenate([np.interp(at[:1], time_s, c), c[inner], np.interp(at[1:], time_s, c)]) for c in (f.x_mm, f.y_mm)
    )
    return float(np.hypot(np.diff(x), np.diff(y)).sum())


def cost_row(rest_s: float) -> dict[str, float]:
    """What one recording of a boat that rests for `rest_s` after its run costs."""
    run = simulate_run(tier="easy", kind="drift", seed=DEVELOPMENT_SEED, rest_s=rest_s)
    recording, track = recording_of(run, gates=True), track_of(run)
    begun = time.process_time()
    conclude(recording, recording.rig, track)
    return {"pictures": len(track.t_ns), "processor_s": time.process_time() - begun, "memory_mb": _memory_mb()}


def archive_rows(counts: tuple[int, ...]) -> list[dict[str, float]]:
    """Processor time and memory after so many recordings of one kind."""
    run = simulate_run(tier="easy", kind="straight", seed=DEVELOPMENT_SEED)
    recording, track = recording_of(run, gates=True), track_of(run)
    rows, begun, done = [], time.process_time(), 0
    for count in counts:
        for number in range(done, count):
            card = replace(recording.card, id=f"{recording.card.id}-{number}")
            conclude(replace(recording, card=card), recording.rig, track)
        done = count
        rows.append({"recordings": count, "processor_s": time.process_time() - begun, "memory_mb": _memory_mb()})
    return rows


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=20, help="for each cell of the table")
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    costs, archive = [cost_row(rest_s) for rest_s in (0, 10, 30, 60)], archive_rows((10, 20, 40, 80))
    print("cost of one recording, from track to trial")
    for row in costs:
        print(f"{row['pictures']:8.0f} pictures {row['processor_s']:8.2f} s {row['memory_mb']:8.0f} MB at most")
    print("many recordings, one after the other")
    for row in archive:
        each = row["processor_s"] / row["recordings"]
        print(f"{row['recordings']:8.0f} recordings {each:8.3f} s each {row['memory_mb']:8.0f} MB at most")
    print("path: bias in %, measured ± its standard uncertainty / raw places joined")
    paths = []
    for tier in _NOISE_MM:
        for speed in _SPEEDS:
            rows = [path_row(tier, speed, rate, asked.runs) for rate in _RATES]
            paths += rows
            cells = "".join(
                f"{r['bias_percent']:9.3f} ±{r['u_bias_percent']:6.3f} /{r['raw_bias_percent']:7.2f}" for r in rows
            )
            print(f"{tier:10}{speed:5.0f} mm/s{cells}", flush=True)
    print(f"{'':19}" + "".join(f"{rate:15.0f} pictures/s" for rate in _RATES))
    if asked.json is not None:
        told = {"cost": costs, "archive": archive, "paths": paths}
        asked.json.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
