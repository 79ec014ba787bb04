"""What every driver promises (logger/drivers/interface.py), asked of every driver that can be named."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from logger.drivers import DRIVERS, known_drivers, open_driver
from logger.drivers.interface import Driver
from logger.errors import ConfigError, DriverError
from logger.records import Edge, Fault, Frame, Key, Quiet
from tests.logger.drivers.conftest import OUTSIDE

QUIET_NS = 100_000_000


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
        options |= {"pace": "real_time", "speed_ratio": 1e-5}

    def listen() -> None:
        with open_driver(kind, options) as driver:
            for _ in driver.records(stop):
                heard.set()

    thread = threading.Thread(target=listen)
    thread.start()
    assert heard.wait(60)
    stop.set()
    thread.join(60)  # painting takes a while, but one that is deaf while it waits would take an hour
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
