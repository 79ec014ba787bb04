"""Runs made to order: a tank 2.4 m long, lines at 0 and 1200 mm, a boat of 200 mm that goes as a formula says."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.config import Boat, Gate, Line, Rig, Rules, RunCard, Tank
from logger.recording.folder import Event, Recording
from logger.records import Edge
from logger.vision.track import Track

Floats = NDArray[np.float64]
ZERO_NS = 5_000_000_000_000
OUTLINE_MM = np.array([[100.0, 0.0], [60.0, 40.0], [-100.0, 40.0], [-100.0, -40.0], [60.0, -40.0]])


@dataclass(frozen=True)
class Workshop:
    """Builders. Times are seconds after ZERO_NS."""

    zero_ns: int = ZERO_NS

    def ns(self, time_s: float) -> int:
        return self.zero_ns + round(time_s * 1e9)

    def boat(self, **asked: Any) -> Boat:
        return Boat(**({"name": "Teal", "length_mm": 200.0, "width_mm": 80.0, "freeboard_mm": 20.0} | asked))

    def rig(self, *, gates: bool = True, last: str = "finish", **asked: Any) -> Rig:
        lines = (
            Line("start", "start", (0.0, -300.0), (0.0, 300.0), u_mm=0.5),
            Line(last, last, (1200.0, -300.0), (1200.0, 300.0), u_mm=0.5),  # type: ignore[arg-type]
        )
        posts = (Gate("A", "start"), Gate("B", last)) if gates else ()
        tank = Tank(((-400.0, -300.0), (2000.0, -300.0), (2000.0, 300.0), (-400.0, 300.0)), 100.0)
        return Rig(**({"name": "r", "tank": tank, "lines": lines, "gates": posts} | asked))

    def recording(
        self,
        rig: Rig,
        *,
        kind: str = "straight",
        edges: Sequence[Edge] = (),
        events: Sequence[tuple[float, str]] = (),
        rules: Rules | None = None,
        boat: Boat | None = None,
        run_id: str = "run-1",
    ) -> Recording:
        card = RunCard(run_id, kind, "2026-01-01T12:00:00Z", boat or self.boat(), rules=rules or Rules())  # type: ignore[arg-type]
        happened = tuple(Event(self.ns(t), *words.split(":", 1)) for t, words in events)
        # "void: a hand" is the event void with that detail
        happened = tuple(Event(e.t_ns, e.event, "page", e.source.strip()) for e in happened)
        return Recording(Path(run_id), card, rig, None, "camera 1", tuple(edges), happened, None, None)

    def edges(self, gate: str, *spans: tuple[float, float]) -> list[Edge]:
        return [
            Edge(self.ns(t), gate, blocked, "box")
            for span in spans
            for t, blocked in zip(span, (True, False), strict=True)
        ]

    def track(
        self,
        way: Callable[[Floats], Any],
        *,
        until_s: float = 8.0,
        rate_hz: float = 30.0,
        noise_mm: float = 0.3,
        said_mm: float | None = None,
        seed: int = 1,
        aside: Callable[[Floats], Any] = np.zeros_like,
        heading: Callable[[Floats], Any] = np.zeros_like,
        **asked: Any,
    ) -> Track:
        """A track of x = way(t), y = aside(t), with white noise; `said_mm` is the noise that the tracker admits."""
        t = np.arange(0.0, until_s, 1 / rate_hz)
        n = len(t)
        rng = np.random.default_rng(seed)
        off = rng.normal(0, 1, (n, 2)) * noise_mm
        said = noise_mm if said_mm is None else said_mm
        return Track(
            **(
                {
                    "t_ns": self.zero_ns + np.round(t * 1e9).astype(np.int64),
                    "x_mm": np.asarray(way(t), np.float64) + off[:, 0],
                    "y_mm": np.asarray(aside(t), np.float64) + off[:, 1],
                    "heading_rad": np.asarray(heading(t), np.float64),
                    "noise_mm2": np.tile(np.eye(2) * max(said, 1e-3) ** 2, (n, 1, 1)),
                    "u_heading_rad": np.full(n, 0.003),
                    "quality": np.zeros(n, np.uint8),
                    "frame": np.arange(n),
                    "outline_mm": OUTLINE_MM,
                    "u_outline_mm": 0.4,
                    "frames_seen_count": n,
                }
                | asked
            )
        )


@pytest.fixture(scope="session")
def shop() -> Workshop:
    """Where runs are made."""
    return Workshop()


def coast(t: Floats, *, cut_s: float, speed: float, rate: float, at_mm: float) -> Floats:
    """x(t): `speed` until `cut_s`, where it is at `at_mm`; then linear drag, dv/dt = −rate·v."""
    after = np.maximum(t - cut_s, 0.0)
    return np.where(t < cut_s, at_mm + speed * (t - cut_s), at_mm + speed / rate * -np.expm1(-rate * after))


@pytest.fixture(scope="session")
def coasting() -> Callable[..., Floats]:
    """The way of a boat that is driven and then coasts with linear drag."""
    return coast
