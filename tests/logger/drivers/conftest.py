"""A small recording to replay, and the ways to open each driver."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.config import Boat, CameraSetup, Gate, Line, Rig, RunCard, Tank
from logger.recording.folder import Event
from logger.recording.journal import Journal
from logger.records import Edge, Fault, Frame, Key, Record

S = 1_000_000_000
CAMERA_TOML = b"""format = "boatrun-camera/1"
[lens]
width_px = 64
height_px = 48
fx_px = 50
fy_px = 50
cx_px = 31.5
cy_px = 23.5
[pose]
rotation_vector = [3.141592653589793, 0, 0]
camera_mm = [500, 0, 1000]
"""
RIG = Rig(
    name="tub",
    tank=Tank(((0.0, -200.0), (1000.0, -200.0), (1000.0, 200.0), (0.0, 200.0)), water_depth_mm=80.0),
    lines=(
        Line("start", "start", (100.0, -200.0), (100.0, 200.0)),
        Line("end", "finish", (900.0, -200.0), (900.0, 200.0)),
    ),
    gates=(Gate("A", "start"), Gate("B", "end")),
    camera=CameraSetup(None, "camera.toml"),
)
CARD = RunCard("run-1", "straight", "2026-05-04T12:00:00+02:00", Boat("Gull", length_mm=200.0))


def picture(number: int) -> Frame:
    grey = np.full((48, 64, 3), 100 + number, np.uint8)
    jpeg = cv2.imencode(".jpg", grey)[1].tobytes()
    image = np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR), np.uint8)
    return Frame(5 * S + number * 50_000_000, image, number, "camera", 5_000_000, 15_000, jpeg)


STORY: tuple[Record | Event, ...] = (
    Key(5 * S, "arm", "panel"),
    Event(5 * S, "armed", "referee"),
    *(picture(number) for number in range(8)),
    Edge(5_600_000_000, "A", True, "gates", 1),
    Key(5_700_000_000, "note", "panel", "a gust, from the door"),
    Edge(5_900_000_000, "A", False, "gates", 2),
    Fault(6 * S, "gates", "a jump; of 3 edges", "check the plug", since_ns=5_950_000_000),
    Edge(7_500_000_000, "B", True, "gates", 6),
    Edge(7_800_000_000, "B", False, "gates", 7),
    Event(7_500_000_000, "ended", "referee", "finish"),
)


def write(folder: Path, story: tuple[Record | Event, ...] = STORY, rig: Rig = RIG) -> Path:
    with Journal(folder, card=CARD, rig=rig, calibration=CAMERA_TOML, sync=lambda _: None) as journal:
        for record in story:
            journal.keep(record)
    return folder


@pytest.fixture(scope="session")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three seconds with eight pictures, six edges, two keys and a fault."""
    return write(tmp_path_factory.mktemp("recorded") / "run-1")


OUTSIDE = "metronome"
OUTSIDE_MODULE = '''
"""A driver of somebody else's: an edge every 300 ms of its own clock."""
from dataclasses import dataclass
from logger.errors import DriverError
from logger.records import Edge, Quiet

@dataclass(frozen=True, slots=True)
class Options:
    beats_count: int = 4
    is_there: bool = True

class Metronome:
    Options = Options
    def __init__(self, options, *, name):
        self.name, self._options = name, options
    def __enter__(self):
        if not self._options.is_there:
            raise DriverError(f"{self.name}: no metronome; wind it up")
        return self
    def __exit__(self, kind, error, trace):
        pass
    def records(self, stop):
        for beat in range(3 * self._options.beats_count):
            if stop.is_set():
                return
            t_ns = beat * 100_000_000
            yield Edge(t_ns, "A", beat % 2 == 0, self.name) if beat % 3 == 0 else Quiet(t_ns, self.name)
'''


@pytest.fixture(autouse=True)
def outside_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An installed package that brings a driver through the entry-point group."""
    site = tmp_path / "site-packages"
    info = site / "metronome-1.0.dist-info"
    info.mkdir(parents=True)
    (site / "metronome_driver.py").write_text(OUTSIDE_MODULE)
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: metronome\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[boatrun.drivers]\n{OUTSIDE} = metronome_driver:Metronome\n")
    monkeypatch.syspath_prepend(str(site))
    yield info / "entry_points.txt"
    sys.modules.pop("metronome_driver", None)
