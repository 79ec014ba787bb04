"""The law: whatever the order of arrival, the recording and the trial are the same; live = replayed = re-measured.

Orders of arrival are drawn by Hypothesis. Every order keeps each source's own order, and nothing else.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from calibration.files import load_calibration
from logger.config import Rules, RunCard
from logger.drivers import open_driver
from logger.recording.folder import Event, load
from logger.recording.journal import Journal
from logger.records import Edge, Fault, Fix, Frame, Key, KeyName, Quiet, Record
from logger.results.measure import measure
from logger.results.trial_json import to_json
from logger.simulator.live import SimulatedTank
from logger.station import line as station
from logger.station.rig import Ran, run
from logger.vision.live.tracker import LiveTracker
from tests.logger.station import bench
from tests.logger.station.bench import RIG, S

MS = 1_000_000
CARD = replace(bench.CARD, rules=Rules(time_cap_s=6.0))
Streams = Mapping[str, Sequence[Record]]


@dataclass(frozen=True)
class Left:
    """What a run leaves behind, down to the byte."""

    history: tuple[Event, ...]
    files: dict[str, bytes]
    trial: str


def arrived(streams: Streams, order: Sequence[str]) -> list[Record]:
    """The records of all streams in the order in which `order` names their sources."""
    queues = {name: iter(records) for name, records in streams.items()}
    return [next(queues[name]) for name in order]


def fed(streams: Streams, order: Sequence[str], *, card: RunCard = CARD, tracked: bool = False) -> Left:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "run"
        plan = station.Plan(card, RIG, folder)
        with Journal(folder, card=card, rig=RIG, sync=lambda _: None) as journal:
            tracker = Painted() if tracked else None
            line = station.Line(plan, sources=sorted(streams), journal=journal, tracker=tracker)
            for record in arrived(streams, order):
                line.feed(record)
            for source in streams:
                line.end(source)
        assert line.is_over
        trial = "" if tracked else to_json(measure(load(folder)).trial)
        return Left(line.history, contents(folder), trial)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


# --- stories ---


@st.composite
def beam(draw: st.DrawFn, source: str, gate: str, around_s: float) -> list[Record]:
    """One gate's word: specks, a passage that chatters, now and then one edge lost, and silences."""
    records: list[Record] = []
    t_ns, blocked = 500 * MS, False
    for length_ms, speaks in draw(st.lists(st.tuples(st.integers(1, 400), st.booleans()), max_size=4)):
        t_ns += length_ms * MS
        blocked = not blocked
        records.append(Edge(t_ns, gate, blocked, source))
        if speaks:
            records.append(Quiet(t_ns + 500_000, source))
    t_ns = max(t_ns + MS, round(around_s * S) + draw(st.integers(-700, 700)) * MS)
    for step_us in draw(st.lists(st.integers(100, 200_000), min_size=1, max_size=9)):
        blocked = not blocked if draw(st.integers(0, 19)) else blocked
        records.append(Edge(t_ns, gate, blocked, source))
        t_ns += step_us * 1000
    if draw(st.booleans()):
        records.append(Fault(t_ns, source, "late by 60 ms", "none needed", since_ns=t_ns - 60 * MS))
    return [*records, Quiet(t_ns + MS, source), Quiet(100 * S, source)]


KEYS: tuple[KeyName, ...] = ("arm", "go", "stop", "void", "freed", "did_not_finish", "note")


@st.composite
def people(draw: st.DrawFn) -> list[Record]:
    """Somebody arms, as a rule early, and then presses what they like."""
    records: list[Record] = [Key(draw(st.integers(1, 1500)) * MS, "arm", "panel")]
    t_ns = records[0].t_ns
    for key, wait_ms in draw(st.lists(st.tuples(st.sampled_from(KEYS), st.integers(0, 4000)), max_size=4)):
        t_ns += wait_ms * MS
        records.append(Key(t_ns, key, "panel", "in words"))
    return [*records, Quiet(t_ns + 1, "panel"), Quiet(100 * S, "panel")]


@st.composite
def gate_story(draw: st.DrawFn) -> tuple[Streams, list[str], list[str]]:
    """Two gates with a driver each, people, and two orders of arrival."""
    streams: Streams = {
        "west": draw(beam("west", "A", 2.5)),
        "east": draw(beam("east", "B", 5.0)),
        "panel": draw(people()),
    }
    return streams, draw(order_of(streams)), draw(order_of(streams))


def order_of(streams: Streams) -> st.SearchStrategy[list[str]]:
    return st.permutations([name for name, records in streams.items() for _ in records])


# Each example writes two recordings: making a failing one smaller would take minutes.
many = partial(
    settings,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@many(max_examples=150)
@given(gate_story())
def test_any_interleaving_gives_the_same_history_the_same_bytes_and_the_same_trial(
    story: tuple[Streams, list[str], list[str]],
) -> None:
    streams, one, other = story
    assert fed(streams, one) == fed(streams, other)


class Painted:
    """Reads the boat's place from the picture itself: the column of its brightest part, 10 mm to a pixel."""

    def feed(self, frame: Frame) -> Fix | None:
        if frame.image.max() < 200:
            return None
        column = int(frame.image[0, :, 0].argmax())
        return Fix(frame.t_ns + 5 * MS, 10.0 * column - 200, 0.0, 0.0, (1.0, 0.0, 1.0), "measured", "tracker")


def painted(t_ns: int, sequence: int, column: int | None) -> Frame:
    image = np.full((2, 160, 3), 30, np.uint8)
    if column is not None:
        image[:, column] = 250
    return Frame(t_ns, image, sequence, "camera", jpeg=b"picture %d at %d;" % (sequence, t_ns))


@st.composite
def drift_story(draw: st.DrawFn) -> tuple[Streams, list[str], list[str]]:
    """A boat that slows down somewhere, seen with gaps and dropped pictures, through a gate and a camera."""
    speed, stop = draw(st.integers(2, 5)), draw(st.integers(60, 155))
    pictures: list[Record] = []
    t_ns = 2 * S
    for n in range(60):
        t_ns += draw(st.sampled_from([50, 50, 50, 51, 150])) * MS
        seen = draw(st.integers(0, 9)) > 0
        pictures.append(painted(t_ns, n, min(speed * n, stop) if seen else None))
        if draw(st.integers(0, 9)) == 0:
            pictures.append(Quiet(t_ns + 20 * MS, "camera"))
    streams: Streams = {
        "west": draw(beam("west", "A", 2.5)),
        "panel": draw(people()),
        "camera": [*pictures, Quiet(100 * S, "camera")],
    }
    return streams, draw(order_of(streams)), draw(order_of(streams))


@many(max_examples=60)
@given(drift_story())
def test_any_interleaving_of_pictures_too_gives_the_same_history_and_the_same_bytes(
    story: tuple[Streams, list[str], list[str]],
) -> None:
    streams, one, other = story
    card = replace(CARD, kind="drift")
    assert fed(streams, one, card=card, tracked=True) == fed(streams, other, card=card, tracked=True)


# --- live = replayed = re-measured, with threads ---


def replay(ran: Ran, folder: Path, *, calibration: bytes | None = None, tracker: LiveTracker | None = None) -> Ran:
    """Run a recording again through the loop, into a recording of its own."""
    recording = load(ran.recording)
    options = {"folder": str(ran.recording)}
    parts = {"panel": True, "gates": recording.rig.gates, "camera": recording.video}
    drivers = [open_driver(f"recorded_{name}", options, name=name) for name, is_there in parts.items() if is_there]
    return run(station.Plan(recording.card, recording.rig, folder, calibration), drivers, tracker=tracker)


def is_the_same(one: Ran, other: Ran) -> None:
    assert other.history == one.history
    assert contents(other.recording) == contents(one.recording)
    assert to_json(other.outcome.trial) == to_json(one.outcome.trial)


def simulated(kind: str, seed: int, *names: str, **wishes: Any) -> list[Any]:
    options = {"run_kind": kind, "seed": seed, "pace": "fast", "wishes": wishes}
    return [open_driver(f"simulated_{name}", options, name=name) for name in names]


@pytest.mark.parametrize("kind", ["straight", "drift"])
@pytest.mark.parametrize("seed", [1001, 1002, 1003])
def test_a_run_by_gates_is_the_same_live_replayed_and_measured_again(tmp_path: Path, kind: str, seed: int) -> None:
    tank = SimulatedTank(kind=kind, seed=seed)
    rig = replace(tank.rig, camera=None)
    live = run(station.Plan(tank.card, rig, tmp_path / "live"), simulated(kind, seed, "gates", "panel"))
    assert live.history[0].event == "armed"
    is_the_same(live, replay(live, tmp_path / "replayed"))
    assert to_json(measure(load(live.recording)).trial) == to_json(live.outcome.trial)
    if kind == "straight":
        crossed_ns = {crossing["line"]: crossing["t_ns"] for crossing in tank.truth["crossings"]}
        truth_s = (crossed_ns["finish"] - crossed_ns["start"]) / S
        took = live.outcome.trial.results["time_s"].quantity
        assert abs(took.value - truth_s) < 4 * took.u


def test_a_run_in_real_time_is_the_same_as_one_as_fast_as_it_can(tmp_path: Path) -> None:
    tank = SimulatedTank(kind="straight", seed=1003)
    rig = replace(tank.rig, camera=None)
    fast = run(station.Plan(tank.card, rig, tmp_path / "fast"), simulated("straight", 1003, "gates", "panel"))
    options = {"run_kind": "straight", "seed": 1003, "pace": "real_time", "speed_ratio": 20.0}
    drivers = [open_driver(f"simulated_{name}", options, name=name) for name in ("gates", "panel")]
    begun_s = time.monotonic()
    live = run(station.Plan(tank.card, rig, tmp_path / "live", is_live=True), drivers)
    assert time.monotonic() - begun_s > (live.history[-1].t_ns - tank.begins_ns) / S / 20
    is_the_same(fast, live)


QUICK = {"tank_length_mm": 900.0, "speed_mm_per_s": 400.0}
"""A run of five seconds: it is drawn, tracked and measured three times."""


def test_a_run_by_camera_is_the_same_live_replayed_and_measured_again(tmp_path: Path) -> None:
    """Nothing but the live tracker tells the referee when to end; it must say the same to the same pictures."""
    tank = SimulatedTank(kind="straight", seed=1003, **QUICK)
    calibration = tank.camera_text.encode()
    (tmp_path / "camera.toml").write_bytes(calibration)
    view = load_calibration(tmp_path / "camera.toml").view
    rig = replace(tank.rig, gates=(), gates_driver=None)

    def tracker() -> LiveTracker:
        return LiveTracker(view, rig.tank, tank.card.boat, start=rig.line("start"))

    plan = station.Plan(tank.card, rig, tmp_path / "live", calibration)
    live = run(plan, simulated("straight", 1003, "panel", "camera", **QUICK), tracker=tracker())
    assert [event.event for event in live.history] == ["armed", "released", "started", "ended"]
    assert live.history[-1].detail == "finish"
    assert live.outcome.motion is not None
    is_the_same(live, replay(live, tmp_path / "replayed", calibration=calibration, tracker=tracker()))
    assert to_json(measure(load(live.recording)).trial) == to_json(live.outcome.trial)
