"""The whole measuring, many times over, of runs as they may truly have been: a check of the budgets (JCGM 101:2008).

The budgets of a trial come from small changes, one source at a time, and add up as squares. Here everything that has a
doubt is drawn at random at once (places of lines and beams, stamps, the camera's delay, the lasting and the random
errors of the track, the boat's card), and the run is measured again from there, recipe and all. Where a measure bends,
where a witness is only just believed or a boat only just at rest, the two may differ; then the draws are right.

Some doubts stand for what nobody saw (how the speed changed in the beam, gusts between two pictures). They cannot be
drawn; a result says how much of its budget they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.config import Gate, Line, Rig
from logger.recording.folder import Event, Recording
from logger.results.measure import conclude
from logger.results.stretch import PEAKS
from logger.results.times import U_GO_S
from logger.results.trial import Trial
from logger.vision.track import NotFound, Track

Floats = NDArray[np.float64]
_TAIL = 0.025
_FEWEST = 20
_TOGETHER_NS = 50_000_000
"""Edges of one gate nearer than this are one event, stamped with one error."""
_NEVER_DRAWN = (
    "stem of the boat in the beam", "length of boat in the beam", "change of speed in the beam", "speed at the beam",
    "losing way at the mark", "gathering way at the start", "gusts too short to be seen",
    "stops too sudden for the curve", "gate and camera disagree",
    "clock of the gates", "clock of the camera", "scatter about the law of drag", "which law of drag",
    "draught over the water", "how smooth the way was",
    "whether it reached", "border of ", "end of the time by hand",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawn:
    """One result by its draws, in its own unit."""

    unit: str
    mean: float
    """Of the draws."""
    u: float
    """Their standard deviation."""
    low: float
    """Below it lie 2.5 % of the draws."""
    high: float
    """Above it lie 2.5 %."""
    draws_count: int
    """How many draws gave this result at all."""
    budget_u: float
    """The standard uncertainty of the trial, for comparison."""
    never_drawn_share: float
    """Share of the budget's squares by causes that cannot be drawn."""


def monte_carlo(
    recording: Recording, rig: Rig, seen: Track | NotFound | None, *, trial: Trial, count: int, seed: int
) -> dict[str, Drawn]:
    """Every result of `trial` that at least 20 of `count` draws gave.

    Args:
        recording: as loaded.
        rig: with which it was measured.
        seen: what the camera made of it, as for `conclude`.
        trial: what came out.
        count: of draws; 200 give an uncertainty to 5 %.
        seed: same seed, same digits.
    """
    rng = np.random.default_rng(seed)
    values: dict[str, list[float]] = {name: [] for name in trial.results}
    for _ in range(count):
        drawn = _drawn_recording(recording, rig, rng)
        track = _drawn_track(seen, rig, rng) if isinstance(seen, Track) else seen
        found = conclude(drawn, drawn.rig, track).trial.results
        for name in values.keys() & found.keys():
            values[name].append(found[name].quantity.value)
    return {name: _of(np.array(own), trial, name) for name, own in values.items() if len(own) >= _FEWEST}


def _of(values: Floats, trial: Trial, name: str) -> Drawn:
    budget = trial.results[name].quantity
    hidden = sum(
        part**2
        for source, part in budget.contributions.items()
        if source.name.startswith(_NEVER_DRAWN)
    )  # fmt: skip
    mean, u, low, high = summed_up(values)
    share = hidden / budget.u**2 if budget.u > 0 else 0.0
    return Drawn(budget.unit, mean, u, low, high, len(values), budget.u, share)


def summed_up(values: Floats) -> tuple[float, float, float, float]:
    """Mean of draws, their standard deviation, and what 2.5 % lie below and above (JCGM 101:2008, 7.6 and 7.7)."""
    low, high = np.quantile(values, [_TAIL, 1 - _TAIL])
    return float(values.mean()), float(values.std(ddof=1)), float(low), float(high)


def _drawn_recording(recording: Recording, rig: Rig, rng: np.random.Generator) -> Recording:
    u_stamps_s = {gate.name: gate.u_stamp_s for gate in rig.gates}
    edges, before = [], {edge.gate: (-_TOGETHER_NS, 0) for edge in recording.edges}
    for edge in recording.edges:
        # what bounced is one event: its edges keep their order and their distances
        last_ns, off_ns = before[edge.gate]
        if edge.t_ns - last_ns >= _TOGETHER_NS:
            off_ns = round(rng.normal(0, u_stamps_s.get(edge.gate, 0.0)) * 1e9)
        before[edge.gate] = edge.t_ns, off_ns
        edges.append(replace(edge, t_ns=edge.t_ns + off_ns))
    events = [_moved_event(event, rng.normal(0, U_GO_S)) for event in recording.events]
    boat = recording.card.boat
    if boat.length_mm is not None:
        boat = replace(boat, length_mm=max(boat.length_mm + rng.normal(0, boat.u_length_mm), 1.0))
    distance = rig.gate_distance_mm
    if distance is not None:
        distance = max(distance + rng.normal(0, rig.u_gate_distance_mm), 1.0)
    drawn = replace(
        rig,
        lines=tuple(_moved_line(line, rng.normal(0, line.u_mm)) for line in rig.lines),
        gates=tuple(_moved_gate(gate, rng.normal(0, gate.u_offset_mm)) for gate in rig.gates),
        gate_distance_mm=distance,
    )
    ordered = tuple(sorted(edges, key=lambda edge: edge.t_ns))
    return replace(recording, rig=drawn, edges=ordered, events=tuple(events), card=replace(recording.card, boat=boat))


def _moved_event(event: Event, by_s: float) -> Event:
    return replace(event, t_ns=event.t_ns + round(by_s * 1e9)) if event.event == "go" else event


def _moved_gate(gate: Gate, by_mm: float) -> Gate:
    return replace(gate, offset_mm=gate.offset_mm + by_mm)


def _moved_line(line: Line, by_mm: float) -> Line:
    a, b = np.array(line.a_mm), np.array(line.b_mm)
    along = (b - a) / np.hypot(*(b - a))
    off = by_mm * np.array([along[1], -along[0]])
    (ax, ay), (bx, by) = (a + off).tolist(), (b + off).tolist()
    return replace(line, a_mm=(ax, ay), b_mm=(bx, by))


def _drawn_track(track: Track, rig: Rig, rng: np.random.Generator) -> Track:
    places = np.column_stack([track.x_mm, track.y_mm])
    for shift in track.shifts_mm.values():
        places = places + rng.normal() * shift
    roots = np.linalg.cholesky(track.noise_mm2 + 1e-12 * np.eye(2))
    places = places + (roots @ rng.normal(size=(len(places), 2, 1)))[..., 0]
    late_ns = round(rng.normal(0, rig.camera.u_delay_s) * 1e9) if rig.camera is not None else 0
    reach = np.maximum(np.hypot(*track.outline_mm.T), 1e-9)[:, None] if len(track.outline_mm) else np.ones((0, 1))
    return replace(
        track,
        t_ns=track.t_ns + late_ns,
        x_mm=places[:, 0],
        y_mm=places[:, 1],
        heading_rad=track.heading_rad + rng.normal(size=len(places)) * track.u_heading_rad,
        outline_mm=track.outline_mm * (1 + rng.normal() * track.u_outline_mm / reach),
    )


def compared(drawn: Mapping[str, Drawn]) -> list[str]:
    """Names of results whose budget holds less than half of the doubt that the draws show.

    Not greatest and least values: the fixes have their noise already, a draw adds as much again, and such values grow
    with it. Their budgets are judged by simulated runs whose truth is known.
    """
    return [name for name, one in drawn.items() if name not in PEAKS and one.budget_u < 0.5 * one.u]
