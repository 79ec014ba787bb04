"""What every driver promises (logger/drivers/interface.py), asked of every driver that can be named."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from logger.drivers import DRIVERS, known_drivers, open_driver
from logger.drivers.interface import Driver
from logger.errors import ConfigError, DriverError, InputError
from logger.records import Edge, Fault, Frame, Key, Quiet

QUIET_NS = 100_000_000
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


@dataclasses.dataclass(frozen=True)
class Case:
    """How to open a driver, and how to make that fail."""

    options: Callable[[Path], dict[str, Any]]
    broken: Callable[[Path], dict[str, Any]]
    complaint: str
    lasts: bool = True
    """False for a driver of a clock of its own whose records all come at once."""


def recorded(folder: Path) -> dict[str, Any]:
    return {"folder": str(folder)}


def nowhere(folder: Path) -> dict[str, Any]:
    return {"folder": str(folder / "nowhere")}


def tank(_: Path) -> dict[str, Any]:
    return {"seed": 1010, "run_kind": "straight", "pace": "fast"}


def strange_tank(folder: Path) -> dict[str, Any]:
    return tank(folder) | {"wishes": {"depth_of_field": 1}}


CASES: dict[str, Case] = {
    **{f"recorded_{what}": Case(recorded, nowhere, "no such recording") for what in ("gates", "camera", "panel")},
    **{f"simulated_{what}": Case(tank, strange_tank, "depth_of_field") for what in ("gates", "camera", "panel")},
    OUTSIDE: Case(lambda _: {}, lambda _: {"is_there": False}, "wind it up"),
}


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


class Stop:
    """A stop that is set when it has been asked a number of times."""

    def __init__(self, after_count: int | None = None) -> None:
        self._left = after_count

    def is_set(self) -> bool:
        if self._left is None:
            return False
        self._left -= 1
        return self._left < 0


def opened(kind: str, recording: Path) -> Driver[Any]:
    driver: Driver[Any] = open_driver(kind, CASES[kind].options(recording), name="this one")
    return driver


@pytest.fixture(scope="module")
def said() -> dict[str, list[Any]]:
    """What each driver says, asked once: drawing a tank takes a while."""
    return {}


def records_of(kind: str, recording: Path, said: dict[str, list[Any]]) -> list[Any]:
    if kind not in said:
        with opened(kind, recording) as driver:
            said[kind] = list(driver.records(Stop()))
    return said[kind]


every_driver = pytest.mark.parametrize("kind", CASES)


def test_the_suite_covers_every_driver_that_can_be_named() -> None:
    assert set(CASES) == set(known_drivers())
    assert set(DRIVERS) == set(CASES) - {OUTSIDE}


@every_driver
def test_it_names_itself_in_every_record(kind: str, recording: Path, said: dict[str, list[Any]]) -> None:
    records = records_of(kind, recording, said)
    assert {record.source for record in records} == {"this one"}
    assert {type(record) for record in records} <= {Edge, Frame, Key, Quiet, Fault}
    assert any(not isinstance(record, Quiet) for record in records)


@every_driver
def test_its_stamps_are_whole_and_never_go_back(kind: str, recording: Path, said: dict[str, list[Any]]) -> None:
    stamps = [record.t_ns for record in records_of(kind, recording, said)]
    assert all(type(stamp) is int for stamp in stamps)
    assert stamps == sorted(stamps)


@every_driver
def test_it_speaks_every_100_ms_of_its_clock(kind: str, recording: Path, said: dict[str, list[Any]]) -> None:
    stamps = [record.t_ns for record in records_of(kind, recording, said)]
    assert max(later - earlier for earlier, later in pairwise(stamps)) <= QUIET_NS


@every_driver
def test_no_record_breaks_a_quiet(kind: str, recording: Path, said: dict[str, list[Any]]) -> None:
    promised = -1
    for record in records_of(kind, recording, said):
        if isinstance(record, Quiet):
            promised = max(promised, record.t_ns)
        else:
            assert record.t_ns > promised


@every_driver
def test_pictures_have_times_of_their_own_and_running_numbers(
    kind: str, recording: Path, said: dict[str, list[Any]]
) -> None:
    frames = [record for record in records_of(kind, recording, said) if isinstance(record, Frame)]
    assert len({frame.t_ns for frame in frames}) == len(frames)
    assert [frame.sequence for frame in frames] == list(range(len(frames)))
    assert all(frame.image.ndim == 3 and not frame.image.flags.writeable for frame in frames)


@every_driver
def test_it_opens_and_closes_again(kind: str, recording: Path, said: dict[str, list[Any]]) -> None:
    driver = opened(kind, recording)
    firsts = []
    for _ in range(2):
        with driver as there:
            assert there is driver
            firsts.append(next(iter(driver.records(Stop()))))
    assert firsts[0] == firsts[1] == records_of(kind, recording, said)[0]


@every_driver
def test_it_stops_at_once_when_it_is_asked_to(kind: str, recording: Path) -> None:
    with opened(kind, recording) as driver:
        assert len(list(driver.records(Stop(after_count=0)))) <= 1
        assert len(list(driver.records(Stop(after_count=3)))) <= 4


@every_driver
def test_it_stops_while_it_waits(kind: str, recording: Path) -> None:
    stop, heard = threading.Event(), threading.Event()
    options = CASES[kind].options(recording)
    if kind != OUTSIDE:
        options |= {"pace": "real_time", "speed_ratio": 0.001}

    def listen() -> None:
        with open_driver(kind, options) as driver:
            for _ in driver.records(stop):
                heard.set()

    thread = threading.Thread(target=listen)
    thread.start()
    assert heard.wait(20)
    stop.set()
    thread.join(5)
    assert not thread.is_alive()


@every_driver
def test_what_cannot_be_opened_says_why(kind: str, recording: Path) -> None:
    driver = open_driver(kind, CASES[kind].broken(recording))
    with pytest.raises(DriverError, match=CASES[kind].complaint):
        driver.__enter__()


@every_driver
def test_its_options_are_a_frozen_value_checked_strictly(kind: str, recording: Path) -> None:
    options = CASES[kind].options(recording)
    kept = type(open_driver(kind, options)).Options
    assert dataclasses.is_dataclass(kept)
    assert kept.__dataclass_params__.frozen  # type: ignore[attr-defined]
    with pytest.raises(ConfigError, match=rf'rig.toml \(driver "{kind}"\): .*spead_ratio: unknown name'):
        open_driver(kind, options | {"spead_ratio": 2.0})


# --- the table ---


def test_an_unknown_kind_is_refused_with_the_list_and_the_nearest() -> None:
    with pytest.raises(InputError, match=r'rig.toml: kind: found "recorded_gate", wanted one of ') as caught:
        open_driver("recorded_gate", {})
    for kind in known_drivers():
        assert f'"{kind}"' in str(caught.value)
    assert str(caught.value).endswith('did you mean "recorded_gates"?')


def test_a_package_cannot_take_the_place_of_another_driver(outside_package: Path) -> None:
    outside_package.write_text("[boatrun.drivers]\nrecorded_gates = metronome_driver:Metronome\n")
    with pytest.raises(DriverError, match=r"'recorded_gates': found .*remove the package .*\(metronome\)"):
        open_driver("recorded_gates", {})


@pytest.mark.parametrize("target", ["metronome_driver:Pendulum", "metronome_of_old:Metronome"])
def test_a_driver_that_cannot_be_loaded_says_what_to_install(outside_package: Path, target: str) -> None:
    outside_package.write_text(f"[boatrun.drivers]\n{OUTSIDE} = {target}\n")
    with pytest.raises(DriverError, match=r"cannot be loaded .*pip install metronome_"):
        open_driver(OUTSIDE, {})


def test_loading_the_table_loads_no_driver() -> None:
    code = "import sys, logger.drivers; print([m for m in sys.modules if m.startswith('logger.drivers.')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
