"""One run without pictures: truth, edges, and fixes as noisy and as biased as stated. For counting over thousands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig, RunCard
from logger.records import Edge
from logger.simulator import gates, told, truth
from logger.simulator.chance import stream
from logger.simulator.scene import Scene, draw
from logger.simulator.tiers import TierName
from logger.simulator.wishes import wishes

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedFixes:
    """What an honest tracker would have said of N frames, and the truth of the same frames."""

    t_ns: NDArray[np.int64]
    """(N,) mid-exposure at the boat's row as the rig file's delay makes it: off by the error of that delay."""
    frame: NDArray[np.int64]
    """(N,) number of the frame; lost ones are missing."""
    x_mm: Floats
    y_mm: Floats
    heading_rad: Floats
    noise_mm: float
    """Standard deviation of the random part along each axis."""
    u_heading_rad: float
    outline_mm: Floats
    """(M, 2) waterline outline in the boat's frame as measured: off by one draw from u_outline_mm in its reach."""
    u_outline_mm: float
    shifts_mm: Mapping[str, Floats]
    """Source of doubt -> (N, 2): how all fixes would move if it were off by one standard uncertainty. The fixes are
    off by one draw from a normal distribution times this."""
    true_t_ns: NDArray[np.int64]
    true_x_mm: Floats
    true_y_mm: Floats
    true_heading_rad: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRun:
    """One run as the instrument would know it, with its truth."""

    card: RunCard
    rig: Rig
    edges: tuple[Edge, ...]
    events: tuple[tuple[int, str], ...]
    """(t_ns, name): armed, go, ended."""
    fixes: SimulatedFixes
    truth: Mapping[str, Any] = field(default_factory=dict)
    """As truth.json."""


@dataclass(frozen=True, slots=True)
class TrackerDoubt:
    """How good the imagined tracker is, all as standard uncertainties."""

    noise_mm: float = 0.3
    u_heading_rad: float = 0.005
    u_outline_mm: float = 0.4
    u_camera_height_mm: float = 0.0
    """Shared by all frames: places scale about the camera's foot point."""
    lost: float = 0.0
    """Share of frames without a fix."""


def simulate_run(
    *, tier: TierName = "easy", kind: str = "drift", seed: int, doubt: TrackerDoubt | None = None, **asked: Any
) -> SimulatedRun:
    """Truth, edges and fixes of the run that `simulate` would draw from the same arguments.

    Args:
        tier: easy, realistic or hard.
        kind: drift or straight.
        seed: same seed, same run.
        doubt: how good the imagined tracker is.
        asked: what is fixed instead of drawn, the fields of `logger.simulator.wishes.Wishes`.

    Raises:
        InputError: an unknown tier, kind or option.
    """
    scene = draw(tier=tier, kind=kind, seed=seed, asked=wishes(asked))
    rig = told.rig(scene)
    return SimulatedRun(
        card=told.card(scene), rig=rig, edges=gates.edges(scene), events=events(scene),
        fixes=_fixes(scene, rig, doubt or TrackerDoubt()), truth=truth.summary(scene),
    )  # fmt: skip


def events(scene: Scene) -> tuple[tuple[int, str], ...]:
    """(t_ns, name) of what people did: armed, go, ended."""
    moments = (("armed", scene.armed_s), ("go", scene.voyage.go_s), ("ended", scene.ended_s))
    return tuple((scene.t_ns(t_s), name) for name, t_s in moments)


def _fixes(scene: Scene, rig: Rig, doubt: TrackerDoubt) -> SimulatedFixes:
    rng = stream(scene.seed, "tracker")
    true = truth.track(scene)
    kept = np.flatnonzero((rng.random(len(true)) >= doubt.lost) & np.isfinite(true[:, 1]))
    true = true[kept]
    shifts = _shifts(scene, doubt, true[:, 1:3])
    measured = true[:, 1:3] + rng.normal(0, doubt.noise_mm, (len(true), 2))
    for shift in shifts.values():
        measured = measured + rng.normal() * shift
    late_ns = scene.shutter.delay_ns - (round(rig.camera.delay_s * 1e9) if rig.camera else 0)
    true_t_ns = np.array([scene.t_ns(t) for t in true[:, 0]], np.int64)
    return SimulatedFixes(
        t_ns=true_t_ns + late_ns, frame=kept.astype(np.int64), x_mm=measured[:, 0], y_mm=measured[:, 1],
        heading_rad=true[:, 3] + rng.normal(0, doubt.u_heading_rad, len(true)), noise_mm=doubt.noise_mm,
        u_heading_rad=doubt.u_heading_rad,
        outline_mm=_reaching(scene.hull.outline_mm, float(rng.normal(0, doubt.u_outline_mm))),
        u_outline_mm=doubt.u_outline_mm, shifts_mm=shifts, true_t_ns=true_t_ns,
        true_x_mm=true[:, 1], true_y_mm=true[:, 2], true_heading_rad=true[:, 3],
    )  # fmt: skip


def _reaching(outline_mm: Floats, farther_mm: float) -> Floats:
    """The outline, every point farther from the centroid by the same amount."""
    farther: Floats = outline_mm * (1 + farther_mm / np.hypot(*outline_mm.T))[:, None]
    return farther


def _shifts(scene: Scene, doubt: TrackerDoubt, places_mm: Floats) -> dict[str, Floats]:
    """What a wrong freeboard (the ruler's doubt) and a wrong camera height do to every place."""
    foot, height = scene.eye.place_mm[:2], float(scene.eye.place_mm[2])
    outward = (places_mm - foot) / height
    u_freeboard_mm = told.RULER_MM / np.sqrt(3)
    shifts = {"freeboard": outward * u_freeboard_mm, "camera height": outward * doubt.u_camera_height_mm}
    return {name: shift for name, shift in shifts.items() if np.abs(shift).max(initial=0) > 0}
