"""Do the stated 95 % intervals hold the truth 95 % of the time? Over thousands of simulated runs, quantity by quantity.

    python -m tests.bench.coverage                      # 2,000 runs of the easy tier, two processes, tables
    python -m tests.bench.coverage --judge              # the same on seeds that nothing was tuned on
    python -m tests.bench.coverage --runs 400 --tier realistic --witnesses both --json out.json
    python -m tests.bench.coverage --judge --processes 1 --keep easy.jsonl   # stopped: the same line again goes on

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

By gates and camera, every second run of each kind is measured once more: a drift run as a course without a finish
(ports, a ring and an obstacle near its way, their borders off by their stated u; it lies stuck in the end), a straight
run as a distance run whose time is up on the way. `exact.py` says what is true.

*silent*: wrong by more than twice what is stated, in a trial without a flag.

*bare*: held without the half of a last digit that printing adds, which is much where the last digit is coarse
(straightness has four decimals and is known to five or six).

A drift that ended at the wall has a row of its own, "at least": it counts as right if its truth is not below the stated
bound. With --split a second table splits every quantity by speed at the line and by length of the
boat, lest a part that is wrong hide in a sum that is right.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from logger.config import Zone
from logger.recording.folder import Event, Recording
from logger.results.columns import COLUMNS
from logger.results.measure import conclude
from logger.results.times import U_GO_S
from logger.results.trial import Trial
from logger.simulator import DEVELOPMENT_SEED, JUDGING_SEED
from logger.simulator.chance import stream
from logger.simulator.run import SimulatedRun, TrackerDoubt, simulate_run
from logger.simulator.scene import Scene, draw
from logger.simulator.tiers import TIERS, TierName
from logger.simulator.wishes import Wishes
from logger.vision.track import Track
from tests.bench import exact

TRACKER = TrackerDoubt(noise_mm=0.3, u_heading_rad=0.005, u_outline_mm=0.4, u_camera_height_mm=1.0)
_FAR = 2.0
_COUNTS = 1e-9
"""Rounding of the computer."""
WITNESSES = ("both", "camera", "gates")


@dataclass(frozen=True, slots=True)
class Score:
    """One quantity of one run."""

    name: str
    error: float
    """Measured minus true."""
    u: float
    held: bool
    """Whether the stated 95 % interval holds the truth, as a reader sees it: the value rounded as it is printed."""
    parts: tuple[str, ...]
    """What kind of run it was: rows of the second table."""
    silent: bool = False
    """Whether it is wrong by far more than stated in a trial that says nothing against itself."""
    held_unrounded: bool = False
    """Whether the interval holds the truth without what rounding adds."""


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


def truths(run: SimulatedRun, scene: Scene, trial: Trial) -> dict[str, float]:
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
    from_s, until_s = _seconds(scene, first["t_ns"]), _seconds(scene, truth["end_ns"])
    if truth["kind"] == "drift":
        found |= exact.coast(truth)
    return found | exact.along(scene, from_s, until_s)


def _seconds(scene: Scene, t_ns: int) -> float:
    return (t_ns - scene.epoch_ns) / 1e9


def _beam_mean(truth: Mapping[str, Any]) -> float:
    begun = next(b["t_ns"] for b in truth["beams"] if b["blocked"])
    last = truth["beams"][-1]["gate"]
    ended = next(b["t_ns"] for b in truth["beams"] if b["blocked"] and b["gate"] == last)
    return float(truth["gate_distance_mm"] / (ended - begun) * 1e6)


def scores_of(job: tuple[int, TierName, tuple[str, ...]]) -> list[tuple[str, str, list[Score]]]:
    """Every quantity of the run of one seed, by witness."""
    seed, tier, witnesses = job
    kind = ("drift", "straight")[seed % 2]
    run = simulate_run(tier=tier, kind=kind, seed=seed, doubt=TRACKER)
    scene = draw(tier=tier, kind=kind, seed=seed, asked=Wishes())
    found, parts = [], _parts(run)
    for witness in witnesses:
        recording = recording_of(run, gates=witness != "camera")
        trial = conclude(recording, recording.rig, None if witness == "gates" else track_of(run)).trial
        true = truths(run, scene, trial)
        found.append((witness, kind, [_score(name, trial, t, parts) for name, t in true.items()]))
    if seed // 2 % 2:
        return found
    return [*found, *(_course(run, scene) if kind == "drift" else _distance(run, scene))]


def _course(run: SimulatedRun, scene: Scene) -> list[tuple[str, str, list[Score]]]:
    """The same run without a mark line, past ports, a ring and an obstacle, to the end of the recording."""
    rng = stream(run.truth["seed"], "zones")
    zones = [_zone(rng, scene, kind, number) for number, kind in enumerate(("port", "port", "ring", "obstacle"))]
    plain = recording_of(run, gates=True)
    rig = replace(
        plain.rig, lines=tuple(line for line in plain.rig.lines if line.role == "start"), gates=(),
        gate_distance_mm=None, zones=tuple(said for said, _ in zones),
    )  # fmt: skip
    recording = replace(plain, rig=rig, edges=(), card=replace(plain.card, kind="course"))
    trial = conclude(recording, rig, track_of(run)).trial
    started, until_s = run.truth["crossings"][0]["t_ns"], _seconds(scene, int(run.fixes.true_t_ns[-1]))
    go_s = _seconds(scene, run.truth["go_ns"])
    true = exact.courses(scene, [one for _, one in zones], go_s, until_s)
    true["stuck_s"] = exact.along(scene, _seconds(scene, started), until_s)["stuck_s"]
    parts = _parts(run)
    return [("both", "course", [_score(name, trial, t, parts) for name, t in true.items()])]


def _zone(rng: np.random.Generator, scene: Scene, kind: Any, number: int) -> tuple[Zone, Zone]:
    """One place as the rig file says it, and as it is."""
    u, name, half = float(rng.choice([1.0, 3.0])), f"{kind} {number}", scene.basin.half_width_mm
    way = scene.voyage.pose(np.linspace(scene.voyage.go_s, scene.length_s, 400))
    x, y, _ = way[int(rng.uniform(0.1, 0.9) * len(way))].tolist()
    if number == 0:
        first, last = x, x + rng.uniform(40, 200)
        true = first + rng.normal(0, u), last + rng.normal(0, u)
        said, there = (
            Zone(name, kind, outline_mm=((a, -half), (b, -half), (b, half), (a, half)), u_mm=u)
            for a, b in ((first, last), true)
        )
        return said, there
    radius = rng.uniform(20, 60)
    beside = float(np.ptp(scene.hull.outline_mm[:, 1])) / 2 + radius + rng.normal(-10, 15)
    middle = x, y + beside * (1 if rng.random() < 0.5 else -1)
    said, there = (
        Zone(name, kind, middle_mm=middle, radius_mm=r, u_mm=u) for r in (radius, max(radius + rng.normal(0, u), 1.0))
    )
    return said, there


def _distance(run: SimulatedRun, scene: Scene) -> list[tuple[str, str, list[Score]]]:
    """The same run with a time that is up somewhere between the lines."""
    if len(run.truth["crossings"]) < 2:
        return []
    first, last = (c["t_ns"] for c in run.truth["crossings"])
    cap_s = (first + stream(run.truth["seed"], "cap").uniform(0.3, 0.9) * (last - first) - run.truth["go_ns"]) / 1e9
    plain = recording_of(run, gates=True)
    card = replace(plain.card, kind="distance", rules=replace(plain.card.rules, time_cap_s=cap_s))
    trial = conclude(replace(plain, card=card), plain.rig, track_of(run)).trial
    over_s, line = _seconds(scene, run.truth["go_ns"]) + cap_s, scene.lines[0]
    true = {
        "distance_mm": float(scene.voyage.front([over_s], line)[0]),
        "path_mm": scene.voyage.path_mm(_seconds(scene, first), over_s),
    }
    parts = _parts(run)
    return [("both", "distance", [_score(name, trial, t, parts) for name, t in true.items()])]


def _parts(run: SimulatedRun) -> tuple[str, ...]:
    speed, length = run.truth["crossings"][-1]["speed_mm_per_s"], run.truth["boat"]["waterline_length_mm"]
    return (
        "slower than 200 mm/s" if speed < 200 else "200 to 300 mm/s" if speed < 300 else "faster than 300 mm/s",
        "shorter than 150 mm" if length < 150 else "150 to 220 mm" if length < 220 else "longer than 220 mm",
    )


def _score(name: str, trial: Trial, truth: float, parts: tuple[str, ...]) -> Score:
    result = trial.results.get(name)
    if result is None:
        return Score(name, math.nan, math.nan, False, parts)
    q = result.quantity
    error = q.value - truth
    allowed = q.U + 0.5 * 10.0 ** -COLUMNS[name].decimals
    off = error if result.at_least else abs(error)
    held, bare = off <= allowed, off <= q.U + _COUNTS
    silent = not held and not trial.flags and abs(error) > _FAR * allowed
    return Score(f"{name} at least" if result.at_least else name, error, q.u, held, parts, silent, bare)


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
        ratio = error[u > 0] / u[u > 0] if (u > 0).any() else np.full(1, np.nan)
        share = sum(s.held for s in measured) / len(measured)
        rows.append({
            "witness": witness, "kind": kind, "quantity": name, "part": part, "runs": len(measured),
            "without_result": len(scores) - len(measured),
            "coverage_percent": 100 * share, "u_coverage_percent": 100 * math.sqrt(share * (1 - share) / len(measured)),
            "mean_square_of_error_over_u": float(np.mean(ratio**2)), "mean_of_error_over_u": float(np.mean(ratio)),
            "unrounded_percent": 100 * sum(s.held_unrounded for s in measured) / len(measured),
            "silent": sum(s.silent for s in measured),
            "rms_error": float(np.sqrt(np.mean(error**2))), "rms_u": float(np.sqrt(np.mean(u**2))),
            "median_absolute_error": float(np.median(np.abs(error))), "worst_error": float(np.abs(error).max()),
            "median_u": float(np.median(u)),
        })  # fmt: skip
    return rows


def _print(rows: list[dict[str, Any]]) -> None:
    print(f"{'witness':8}{'kind':9}{'quantity':24}{'part':22}{'runs':>5}{'none':>5}{'silent':>7}{'held %':>7}"
          f"{'±':>4}{'bare %':>7}{'(e/u)²':>7}"
          f"{'e/u':>6}{'rms e':>9}{'rms u':>9}{'median u':>9}{'worst':>9}")  # fmt: skip
    for r in rows:
        print(f"{r['witness']:8}{r['kind']:9}{r['quantity']:24}{r['part']:22}{r['runs']:5}{r['without_result']:5}{r['silent']:7}"
              f"{r['coverage_percent']:7.1f}{r['u_coverage_percent']:4.1f}{r['unrounded_percent']:7.1f}"
              f"{r['mean_square_of_error_over_u']:7.2f}"
              f"{r['mean_of_error_over_u']:6.2f}{r['rms_error']:9.5f}{r['rms_u']:9.5f}{r['median_u']:9.5f}"
              f"{r['worst_error']:9.4f}")  # fmt: skip


def _counted(
    jobs: list[tuple[int, TierName, tuple[str, ...]]], *, processes: int, keep: Path | None
) -> Iterable[Scored]:
    """What came of every job, in their order; with `keep` those that stand there already are not done again."""
    kept: dict[str, Any] = {}
    if keep is not None and keep.exists():
        whole = [line for line in keep.read_text(encoding="utf-8").splitlines(keepends=True) if line.endswith("\n")]
        kept = dict(json.loads(line) for line in whole)
        keep.write_text("".join(whole), encoding="utf-8")
    left = [job for job in jobs if repr(job) not in kept]
    for job in jobs:
        if repr(job) in kept:
            yield [(w, k, [Score(*s) for s in scores]) for w, k, scores in kept[repr(job)]]
    with ProcessPoolExecutor(processes) as pool, open(keep or os.devnull, "a", encoding="utf-8") as lines:
        for job, found in zip(left, pool.map(scores_of, left, chunksize=4), strict=True):
            plain = [(w, k, [astuple(s) for s in scores]) for w, k, scores in found]
            lines.write(json.dumps([repr(job), plain]) + "\n")
            lines.flush()
            yield found


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--first-seed", type=int, default=None)
    parser.add_argument("--judge", action="store_true", help="seeds that nothing was tuned on")
    parser.add_argument("--tier", choices=sorted(TIERS), default="easy")
    parser.add_argument("--witnesses", default=",".join(WITNESSES), help="which of both, camera, gates; commas between")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--split", action="store_true", help="also by speed and by length of the boat")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="keep each run as a line, and go on after the last")
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    first = asked.first_seed or (JUDGING_SEED if asked.judge else DEVELOPMENT_SEED)
    jobs = [(seed, asked.tier, tuple(asked.witnesses.split(","))) for seed in range(first, first + asked.runs)]
    scored = list(_counted(jobs, processes=asked.processes, keep=asked.keep))
    rows = table(scored)
    print(f"{asked.tier} tier, seeds {first} to {first + asked.runs - 1}")
    _print(rows)
    print()
    if asked.split:
        _print([r for r in table(scored, split=True) if r["witness"] == "both"])
    if asked.json is not None:
        asked.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
