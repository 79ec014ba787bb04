"""Do the stated doubts of gate places hold the truth? Check boats pulled through simulated tanks, thousands of times.

    python -m tests.bench.gates                 # 200 cases: 10 tanks, each with 20 draws of what may be wrong
    python -m tests.bench.gates --cases 60 --pulls 2

The simulator gives the exact motion and the exact edges of PULLS runs of one tank (easy tier, 120 to 600 mm/s). Drawn
anew in every case and shared by its pulls: camera delay (1 ms), camera height (1 mm), freeboard (1.15 mm), outline
(0.4 mm), the stem's lean in the beam (evenly within ± 1 mm). Drawn anew in every picture: places 0.3 mm along each
axis, headings 0.005 rad; in every edge: the stamp. The gates' places in the rig file are off by centimetres. Truth is
where the simulator's beams stand. Counted: how often the 95 % interval holds it; for each beam and from beam to beam.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from calibration.beams import BeamFit, solve_beams
from logger.config import Boat, Rig
from logger.recording.folder import Recording
from logger.results.case import case_of
from logger.results.sightings import STEM_MM, sighted
from logger.simulator import simulate_run
from logger.simulator.run import SimulatedRun, TrackerDoubt
from logger.vision.track import Track

TANKS_COUNT, PULLS_COUNT = 10, 4
SPEEDS_MM_PER_S = (120.0, 250.0, 400.0, 600.0)
NOISE_MM, U_HEADING_RAD, U_OUTLINE_MM, U_DELAY_S, U_HEIGHT_MM, U_FREEBOARD_MM = 0.3, 0.005, 0.4, 0.001, 1.0, 1.15


@dataclass(frozen=True, slots=True)
class Score:
    """One place: error and standard uncertainty, mm."""

    what: str
    error_mm: float
    u_mm: float
    holds: bool


@cache
def pull(tank: int, number: int) -> SimulatedRun:
    """One exact run in one of the tanks."""
    return simulate_run(
        tier="easy", kind="straight", seed=2_000 + 50 * tank + number, tank_seed=9_000 + tank, rig_errors=False,
        tank_back_mm=400.0, tank_length_mm=2400.0, tank_width_mm=700.0, water_depth_mm=100.0, camera_height_mm=1300.0,
        tilt_deg=1.0, speed_mm_per_s=SPEEDS_MM_PER_S[number % len(SPEEDS_MM_PER_S)],
        doubt=TrackerDoubt(u_outline_mm=0.0),
    )  # fmt: skip


def true_places(tank: int) -> dict[str, float]:
    """Gate -> how far past its line its beam really is."""
    return {gate.name: gate.offset_mm for gate in pull(tank, 0).rig.gates}


def believed_rig(tank: int, rng: np.random.Generator) -> Rig:
    """Lines right, gates off by centimetres, the delay said to be right to U_DELAY_S."""
    rig = pull(tank, 0).rig
    assert rig.camera is not None
    gates = tuple(replace(gate, offset_mm=float(rng.normal(0, 20))) for gate in rig.gates)
    return replace(rig, gates=gates, camera=replace(rig.camera, u_delay_s=U_DELAY_S))


def one_case(tank: int, rng: np.random.Generator, pulls: int = PULLS_COUNT) -> BeamFit:
    """The beams' places from a few pulls, with everything off by as much as it says."""
    rig = believed_rig(tank, rng)
    delay_s = rng.normal(0, U_DELAY_S)
    height, freeboard, outline = rng.normal(size=3)
    stem_mm = rng.uniform(-STEM_MM, STEM_MM)
    seen = []
    for number in range(pulls):
        run = pull(tank, number)
        track = _track(run, rng, delay_s=delay_s, height=height, freeboard=freeboard, outline=outline)
        recording = _recording(run, rig, number, stem_mm)
        seen += sighted(case_of(recording, rig, track), f"pull {number}").sightings
    return solve_beams(seen)


def _track(
    run: SimulatedRun, rng: np.random.Generator, *, delay_s: float, height: float, freeboard: float, outline: float
) -> Track:
    f, n = run.fixes, len(run.fixes.true_t_ns)
    true = np.column_stack([f.true_x_mm, f.true_y_mm])
    foot, lens_mm = true.mean(0), 1300.0
    outward = (true - foot) / lens_mm
    shifts = {"camera height": outward * U_HEIGHT_MM, "freeboard": outward * U_FREEBOARD_MM}
    places = true + rng.normal(0, NOISE_MM, true.shape) + height * shifts["camera height"]
    places += freeboard * shifts["freeboard"]
    reach = 1 + outline * U_OUTLINE_MM / np.hypot(*f.outline_mm.T)[:, None]
    return Track(
        # the rig's delay is taken off; if the truth is more, what is left is too late
        t_ns=f.true_t_ns + round(delay_s * 1e9), x_mm=places[:, 0], y_mm=places[:, 1],
        heading_rad=f.true_heading_rad + rng.normal(0, U_HEADING_RAD, n),
        noise_mm2=np.tile(np.eye(2) * NOISE_MM**2, (n, 1, 1)),
        u_heading_rad=np.full(n, U_HEADING_RAD), quality=np.zeros(n, np.uint8), frame=f.frame,
        outline_mm=f.outline_mm * reach, u_outline_mm=U_OUTLINE_MM, shifts_mm=shifts, frames_seen_count=n,
    )  # fmt: skip


def _recording(run: SimulatedRun, rig: Rig, number: int, stem_mm: float) -> Recording:
    speed = {c["line"]: c["speed_mm_per_s"] for c in run.truth["crossings"]}
    line = {gate.name: gate.line for gate in rig.gates}
    edges = tuple(
        # a stem that leans forward by stem_mm breaks the beam so much before the waterline bow is there
        replace(edge, t_ns=edge.t_ns - round(stem_mm / speed[line[edge.gate]] * 1e9)) if edge.blocked else edge
        for edge in run.edges
    )
    card = replace(run.card, id=f"pull-{number}", boat=Boat("Check", length_mm=200.0, freeboard_mm=20.0))
    return Recording(Path(card.id), card, rig, None, "", edges, (), None, None)


def scores(tank: int, fit: BeamFit) -> list[Score]:
    """Each beam, and the way between them."""
    true = true_places(tank)
    found = [Score("beam", q.value - true[g], q.u, abs(q.value - true[g]) <= q.U) for g, q in fit.places.items()]
    if len(fit.places) == 2:
        first, last = fit.places
        between = fit.places[last] - fit.places[first]
        error = between.value - (true[last] - true[first])
        found.append(Score("from beam to beam", error, between.u, abs(error) <= between.U))
    return found


def many(cases: int, *, seed: int = 5, pulls: int = PULLS_COUNT, tanks: int = TANKS_COUNT) -> list[Score]:
    """All scores of so many cases."""
    rng = np.random.default_rng(seed)
    return [score for n in range(cases) for score in scores(n % tanks, one_case(n % tanks, rng, pulls))]


def held(found: Sequence[Score], what: str) -> tuple[float, float, float]:
    """Share that holds the truth; root mean square of error over u; of the error, mm."""
    own = [s for s in found if s.what == what]
    return (
        float(np.mean([s.holds for s in own])),
        float(np.sqrt(np.mean([(s.error_mm / s.u_mm) ** 2 for s in own]))),
        float(np.sqrt(np.mean([s.error_mm**2 for s in own]))),
    )


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--pulls", type=int, default=PULLS_COUNT)
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args(arguments)
    found = many(asked.cases, seed=asked.seed, pulls=asked.pulls)
    print(f"{asked.cases} cases, {asked.pulls} pulls each")
    for what in dict.fromkeys(s.what for s in found):
        share, ratio, rms = held(found, what)
        u = np.median([s.u_mm for s in found if s.what == what])
        print(f"{what:20} held {100 * share:5.1f} %  error/u {ratio:4.2f}  error {rms:4.2f} mm rms, u {u:4.2f} mm")


if __name__ == "__main__":
    main(sys.argv[1:])
