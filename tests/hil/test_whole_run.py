"""One whole run through real drivers: gates and camera of a real kernel, the station's loop, the recording, the trial.

A simulated tank was painted on the host (film.py); here it is played in its own time, its edges by gpio-sim and its
pictures by v4l2loopback. Gates and camera know nothing of each other but the clock, so that where their crossings
agree within what they say of themselves, the stamps of both lie on one clock.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Self

import pytest

from logger.config import DriverChoice, Rig
from logger.drivers import drivers_of
from logger.drivers.gpio_gates import GpioGates
from logger.drivers.interface import Stop
from logger.recording.card_toml import read_card
from logger.recording.folder import load
from logger.recording.rig_toml import read_rig
from logger.recording.sensor_tables import read_edges, read_stamps
from logger.records import Key, KeyName, Quiet
from logger.results.budget import Owner
from logger.results.crossings import CameraDoubts, Reached, by_camera
from logger.results.lines import ahead
from logger.results.trial import Crossing
from logger.station.line import Plan
from logger.station.rig import Ran, run
from tests.hil.chip import Chip
from tests.hil.film import BEGINS_NS, RATE_HZ, REDUCED
from tests.hil.hearing import hearing
from tests.hil.video import Loopback
from tests.hil.world import world

pytestmark = pytest.mark.hil

PINS = {"start-gate": 0, "finish-gate": 1}
PUNCTUAL_S = 0.003
"""Standard uncertainty of the moment at which a picture is played: an emulated machine is held up now and then."""
S = 1_000_000_000
TAIL_S = 1.5
"""This boat is slow: it needs so long to leave the last beam."""
DAY_S = 86_400
PRELUDE_NS = 9 * S
"""The drivers look at themselves before the run, and the camera must have something to look at."""


class Person:
    """Somebody who arms the run, a second later says go, and then sets the wall clock on by a day."""

    name = "person"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def records(self, stop: Stop) -> Iterator[Key | Quiet]:
        begun_ns = time.monotonic_ns()
        keys: list[tuple[int, KeyName]] = [(begun_ns + S // 2, "arm"), (begun_ns + 3 * S // 2, "go")]
        pause = threading.Event()
        while not stop.is_set():
            now_ns = time.monotonic_ns()
            if keys and now_ns > keys[0][0]:
                yield Key(now_ns, keys.pop(0)[1], self.name)
                if not keys:  # as a board without a battery does when it reaches the network
                    time.clock_settime(time.CLOCK_REALTIME, time.time() + DAY_S)
            else:
                yield Quiet(now_ns, self.name)
            pause.wait(0.04)


def live(rig: Rig, chip: Chip, loopback: Loopback) -> Rig:
    """The rig of the film with real drivers."""
    assert rig.camera is not None
    gates = DriverChoice(
        "gpio_gates", {"pins": PINS, "blocked_is": "high", "pull": "down", "chip": chip.label, "reader": "gpiod"}
    )
    camera = DriverChoice(
        "v4l2_camera",
        {"device": loopback.path, "width_px": REDUCED[0], "height_px": REDUCED[1], "rate_hz": RATE_HZ,
         "line_ns": rig.camera.line_ns},
    )  # fmt: skip
    return replace(rig, gates_driver=gates, camera=replace(rig.camera, driver=camera, u_delay_s=PUNCTUAL_S))


def test_gates_and_camera_agree_on_a_run_within_what_they_say_of_themselves(
    chip: Chip, loopback: Loopback, films: Path, tmp_path: Path
) -> None:
    film = films / "run"
    rig = live(read_rig(film / "rig.toml"), chip, loopback)
    card = replace(read_card(film / "recording.toml"), id="live")
    plan = Plan(card, rig, tmp_path / "live", (film / "camera.toml").read_bytes(), tail_s=TAIL_S, is_live=True)
    drivers = drivers_of(rig)
    prove(drivers[0], chip)
    frames, edges = played(film, rig, chip, tmp_path)
    wall_s = time.time()
    with world(tmp_path, device=loopback.path, size_px=REDUCED, frames=frames, edges=edges) as it:
        it.begin()
        ran = run(plan, [*drivers, Person()])
        when = it.played()
    assert time.time() - wall_s > DAY_S
    trial, recording = ran.outcome.trial, load(ran.recording)
    assert trial.end_reason == "finish"
    assert {crossing.witness for crossing in trial.crossings} == {"gate"}
    assert 0 < len(recording.edges) <= len(when.edges)
    for edge, (before_ns, after_ns) in zip(recording.edges, when.edges, strict=False):
        assert before_ns <= edge.t_ns <= after_ns
    truth = json.loads((film / "truth.json").read_text(encoding="utf-8"))["crossings"]
    for gate, true in zip(trial.crossings, truth, strict=True):
        camera = seen(ran, gate.line)
        apart_s, joint_s = (gate.t_ns - camera.t_ns) / S, (gate.u_s**2 + camera.u_s**2) ** 0.5
        off_s = (gate.t_ns - when.begun_ns - PRELUDE_NS - true["t_ns"] + BEGINS_NS) / S
        print(f"\n{gate.line}: gate - camera {apart_s * 1e3:+.2f} ms (U {2 * joint_s * 1e3:.2f} ms), "
              f"gate - truth {off_s * 1e3:+.2f} ms (U {2 * gate.u_s * 1e3:.2f} ms)")  # fmt: skip
        assert abs(apart_s) <= 2 * joint_s
        assert abs(off_s) <= 2 * (gate.u_s**2 + PUNCTUAL_S**2) ** 0.5
    late_ms = sorted((w[0] - when.begun_ns - at_ns) / 1e6 for w, (at_ns, _) in zip(when.frames, frames, strict=True))
    assert recording.stamps is not None
    counts = f"{len(recording.stamps.t_ns)} pictures, {len(recording.edges)} edges"
    print(f"{counts}, played {late_ms[len(late_ms) // 2]:.2f} ms "
          f"(median) to {late_ms[-1]:.2f} ms late; time {trial.results['time_s'].quantity}; {trial.flags}")  # fmt: skip
    # a picture that was played late shows the boat where it was before, which the tracker finds and says
    assert [flag for flag in trial.flags if "positions scatter" not in flag] == []


def prove(gates: GpioGates, chip: Chip) -> None:
    """Pass a hand through both beams, as is done once before the first run of a day."""
    with hearing(gates) as heard:
        for line in PINS.values():
            for high in (True, False):
                chip.pull(line, high)
                chip.settle(line)
        heard.until_edges(4)


def played(
    film: Path, rig: Rig, chip: Chip, folder: Path
) -> tuple[list[tuple[int, Path]], list[tuple[int, str, bool]]]:
    """The film as the world is to play it: the boat waits first, in the first picture again and again."""
    stamps = read_stamps(film / "frames.csv", rig, lambda _: None)
    assert stamps is not None
    pictures = [file_of(frame.jpeg or b"", folder / f"{frame.sequence}.jpg") for frame in load(film).frames()]
    frames = [(t_ns - BEGINS_NS + PRELUDE_NS, at) for t_ns, at in zip(stamps.t_ns.tolist(), pictures, strict=True)]
    period_ns = round(S / RATE_HZ)
    waiting_ns = range(frames[0][0] - period_ns, 0, -period_ns)
    edges = [
        (edge.t_ns - BEGINS_NS + PRELUDE_NS, chip.pull_file(PINS[edge.gate]), edge.blocked)
        for edge in read_edges(film / "edges.csv", rig, lambda _: None)
    ]
    return [*((at_ns, pictures[0]) for at_ns in reversed(waiting_ns)), *frames], edges


def file_of(jpeg: bytes, path: Path) -> Path:
    path.write_bytes(jpeg)
    return path


def seen(ran: Ran, name: str) -> Crossing:
    """When the bow was at that line by the camera alone."""
    recording = load(ran.recording)
    motion, rig = ran.outcome.motion, recording.rig
    assert motion is not None
    line = next(line for line in rig.lines if line.name == name)
    known = CameraDoubts(Owner(recording.card.id, recording.card.boat), PUNCTUAL_S)
    origin_ns = int(motion.t_ns[0])
    reached = by_camera(motion, ahead(line, rig), known, origin_ns=origin_ns)
    assert isinstance(reached, Reached), reached
    return reached.crossing(origin_ns)
