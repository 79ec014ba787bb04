"""The simulated tank through its drivers is the run that the simulator writes."""

from __future__ import annotations

import itertools
import threading
from typing import Any

import pytest

from logger.drivers import open_driver
from logger.errors import DriverError
from logger.records import Edge, Key, Quiet
from logger.simulator.live import SimulatedTank

OPTIONS: dict[str, Any] = {"seed": 1010, "run_kind": "straight", "pace": "fast"}


def heard(kind: str, **more: Any) -> list[Any]:
    with open_driver(kind, OPTIONS | more, name="tank") as driver:
        return [record for record in driver.records(threading.Event()) if not isinstance(record, Quiet)]


def test_its_edges_are_those_of_the_run() -> None:
    tank = SimulatedTank(seed=1010, kind="straight")
    assert [(e.t_ns, e.gate, e.blocked) for e in heard("simulated_gates")] == [
        (e.t_ns, e.gate, e.blocked) for e in tank.edges()
    ]
    assert all(isinstance(e, Edge) for e in heard("simulated_gates"))


def test_somebody_arms_it_and_says_go() -> None:
    keys = heard("simulated_panel")
    assert [key.key for key in keys] == ["arm", "go"]
    assert all(isinstance(key, Key) for key in keys)


def test_its_pictures_carry_their_jpeg_and_their_shutter() -> None:
    with open_driver("simulated_camera", OPTIONS, name="tank") as driver:
        frames = [r for r in itertools.islice(driver.records(threading.Event()), 6) if not isinstance(r, Quiet)]
    tank = SimulatedTank(seed=1010, kind="straight", source="tank")
    for frame, wanted in zip(frames, tank.frames(), strict=False):
        assert (frame.t_ns, frame.jpeg, frame.exposure_ns, frame.line_ns) == (
            wanted.t_ns, wanted.jpeg, wanted.exposure_ns, wanted.line_ns
        )  # fmt: skip
    assert len(frames) >= 3


def test_wishes_reach_the_tank() -> None:
    with pytest.raises(DriverError, match="this simulated tank has no gates"):
        heard("simulated_gates", wishes={"gates": False})


def test_the_rig_file_of_a_simulated_recording_opens_its_own_drivers() -> None:
    rig = SimulatedTank(seed=1010, kind="straight").rig
    assert rig.gates_driver is not None
    assert rig.camera is not None
    assert rig.camera.driver is not None
    for choice in (rig.gates_driver, rig.camera.driver):
        with open_driver(choice.kind, choice.options, name="tank") as driver:
            assert driver.name == "tank"
