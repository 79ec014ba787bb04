"""What every driver promises (logger/drivers/interface.py), asked of every driver that can be named.

To add a driver: write its three worlds (contract_case.py) beside its tests, and give it a line in `CASES`.
"""

from __future__ import annotations

import dataclasses
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeAlias

import pytest

from logger.drivers import DRIVERS, known_drivers, open_driver
from logger.drivers.interface import Driver
from logger.errors import ConfigError, DriverError
from logger.recording.sensor_tables import event_of_fault, read_fault
from logger.records import ClockDoubt, Edge, Fault, Frame, Key, Quiet
from tests.logger.drivers import blinking_world, keyboard_world, serial_gates_world, serial_scale_world
from tests.logger.drivers.conftest import OUTSIDE
from tests.logger.drivers.contract_case import Case, Options, Surroundings, given
from tests.logger.drivers.gpio_worlds import GATES_CASE, LIGHT_CASE, PANEL_CASE
from tests.logger.drivers.pi_camera_world import PI_CAMERA
from tests.logger.drivers.v4l2_worlds import V4L2_CAMERA

QUIET_NS = 100_000_000
STOP_NS = 200_000_000


def recorded(folder: Path) -> Options:
    return {"folder": str(folder)}


def nowhere(folder: Path) -> Options:
    return {"folder": str(folder / "nowhere")}


def tank(_: Path) -> Options:
    return {"seed": 1010, "run_kind": "straight", "pace": "fast"}


def strange_tank(folder: Path) -> Options:
    return tank(folder) | {"wishes": {"depth_of_field": 1}}


def attended(_: Path) -> Options:
    return {"gates": ["A", "B"], "walks_through": True, "length_s": 4.0, "pace": "fast"}


def nobody(_: Path) -> Options:
    return {"gates": []}


def told(options: Callable[[Path], Options], broken: Callable[[Path], Options], complaint: str) -> Case:
    """A story that is known beforehand; in real time and slowed down it has an hour between two records."""
    slow = {"pace": "real_time", "speed_ratio": 1e-5}
    return Case(given(options), given(lambda folder: options(folder) | slow), given(broken), complaint)


def there_all_the_time(_: Path) -> Options:
    return {"seed": 7}


def soon_unplugged(_: Path) -> Options:
    return {"seed": 7, "hands_every_s": 0.2, "unplugged_after_s": 0.8}


def no_such_tank(_: Path) -> Options:
    return {"wishes": {"depth_of_field": 1}}


IN_PRACTICE = Case(
    given(soon_unplugged), given(there_all_the_time), given(no_such_tank), "depth_of_field", ends="unplugged"
)

CASES: dict[str, Case] = {
    "keyboard": keyboard_world.CASE,
    **{f"recorded_{what}": told(recorded, nowhere, "no such recording") for what in ("gates", "camera", "panel")},
    "v4l2_camera": V4L2_CAMERA,
    "pi_camera": PI_CAMERA,
    **{f"simulated_{what}": told(tank, strange_tank, "depth_of_field") for what in ("gates", "camera", "panel")},
    "simulated_live_gates": IN_PRACTICE,
    "simulated_live_camera": IN_PRACTICE,
    "simulated_attended_gates": told(attended, nobody, "found no gates"),
    "gpio_gates": GATES_CASE,
    "gpio_panel": PANEL_CASE,
    "gpio_light": LIGHT_CASE,
    "serial_gates": serial_gates_world.CASE,
    "serial_scale": serial_scale_world.CASE,
    "simulated_blinking_camera": blinking_world.CAMERA_CASE,
    "simulated_light": blinking_world.LIGHT_CASE,
    OUTSIDE: Case(given(lambda _: {}), given(lambda _: {}), given(lambda _: {"is_there": False}), "wind it up"),
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


In: TypeAlias = Callable[[Surroundings], AbstractContextManager[Options]]


@pytest.fixture
def world(recording: Path, monkeypatch: pytest.MonkeyPatch) -> In:
    return lambda surroundings: surroundings(recording, monkeypatch)


@dataclasses.dataclass(frozen=True)
class Said:
    """All that a driver said in its story, and when it was asked."""

    records: list[Any]
    from_ns: int
    to_ns: int


@pytest.fixture(scope="module")
def heard() -> dict[str, Said]:
    """What each driver said: asked once, because drawing a tank takes a while."""
    return {}


@pytest.fixture
def said(kind: str, world: In, heard: dict[str, Said]) -> Said:
    if kind not in heard:
        from_ns = time.monotonic_ns()
        with world(CASES[kind].story) as options, open_driver(kind, options, name="this one") as driver:
            records = list(until_it_is_back(driver) if CASES[kind].ends == "waits" else driver.records(Stop()))
        heard[kind] = Said(records, from_ns, time.monotonic_ns())
    return heard[kind]


def until_it_is_back(driver: Driver[Any]) -> Iterator[Any]:
    """What a driver says that waits for its device, until a second after it was gone and came back."""
    gone_ns = None
    for record in driver.records(Stop()):
        yield record
        if isinstance(record, Fault) and gone_ns is None:
            gone_ns = record.t_ns
        if gone_ns is not None and isinstance(record, Edge | Frame) and record.t_ns > gone_ns + 1_000_000_000:
            return


every_device = pytest.mark.parametrize("kind", CASES)
every_driver = pytest.mark.parametrize("kind", [kind for kind, case in CASES.items() if case.speaks])
LIVE = [kind for kind, case in CASES.items() if case.is_live]
every_live_driver = pytest.mark.parametrize("kind", LIVE)
every_driver_that_ends = pytest.mark.parametrize("kind", [k for k in LIVE if CASES[k].ends == "unplugged"])
every_driver_that_waits = pytest.mark.parametrize("kind", [k for k in LIVE if CASES[k].ends == "waits"])


def test_the_suite_covers_every_driver_that_can_be_named() -> None:
    assert set(CASES) == set(known_drivers())
    assert set(DRIVERS) == set(CASES) - {OUTSIDE}


@every_driver
def test_it_names_itself_in_every_record(said: Said) -> None:
    assert {record.source for record in said.records} == {"this one"}
    assert {type(record) for record in said.records} <= {Edge, Frame, Key, Quiet, Fault, ClockDoubt}
    assert any(isinstance(record, Edge | Frame | Key) for record in said.records)


@every_driver
def test_its_stamps_are_whole_and_never_go_back(said: Said) -> None:
    stamps = [record.t_ns for record in said.records]
    assert all(type(stamp) is int for stamp in stamps)
    assert stamps == sorted(stamps)


@every_driver
def test_it_speaks_every_100_ms_of_its_clock(said: Said) -> None:
    stamps = [record.t_ns for record in said.records]
    assert max(later - earlier for earlier, later in pairwise(stamps)) <= QUIET_NS


@every_driver
def test_no_record_breaks_a_quiet(said: Said) -> None:
    promised = -1
    for record in said.records:
        if isinstance(record, Quiet):
            promised = max(promised, record.t_ns)
        else:
            assert record.t_ns > promised


@every_driver
def test_its_faults_can_be_read_out_of_a_recording(said: Said) -> None:
    for fault in said.records:
        if isinstance(fault, Fault):
            read = read_fault(event_of_fault(fault))
            assert (read.what, read.since_ns) == (fault.what, fault.since_ns)
            assert read.cure == fault.cure.replace(";", ",")


@every_driver
def test_no_gate_has_two_edges_at_once(said: Said) -> None:
    edges = [(record.gate, record.t_ns) for record in said.records if isinstance(record, Edge)]
    assert len(set(edges)) == len(edges)


@every_driver
def test_pictures_have_times_of_their_own_and_running_numbers(said: Said) -> None:
    frames = [record for record in said.records if isinstance(record, Frame)]
    assert len({frame.t_ns for frame in frames}) == len(frames)
    assert [frame.sequence for frame in frames] == list(range(len(frames)))
    assert all(frame.image.ndim == 3 and not frame.image.flags.writeable for frame in frames)


@every_live_driver
def test_what_happens_now_is_stamped_now(said: Said) -> None:
    """A stamp may lie before it is read, but neither in the future nor in another clock."""
    a_second_ns = 10**9
    for record in said.records:
        assert said.from_ns - a_second_ns <= record.t_ns <= said.to_ns


@every_driver_that_waits
def test_unplugging_is_told_and_the_records_go_on_when_it_is_back(said: Said) -> None:
    told = [index for index, record in enumerate(said.records) if isinstance(record, Fault)]
    assert not any(said.records[index].lasting for index in told)
    assert all(said.records[index].what and said.records[index].cure for index in told)
    assert any(isinstance(record, Edge | Frame) for record in said.records[: told[0]])
    assert isinstance(said.records[-1], Edge | Frame)


@every_driver_that_ends
def test_unplugging_ends_in_a_lasting_fault_with_its_cure(said: Said) -> None:
    *others, last = said.records
    assert isinstance(last, Fault)
    assert last.lasting
    assert last.what
    assert last.cure
    assert not any(isinstance(record, Fault) and record.lasting for record in others)


@every_driver
def test_it_opens_and_closes_again(kind: str, world: In) -> None:
    with world(CASES[kind].story) as options:
        driver = open_driver(kind, options, name="this one")
        firsts = []
        for _ in range(2):
            with driver as there:
                assert there is driver
                firsts.append(next(iter(driver.records(Stop()))))
    assert [first.source for first in firsts] == ["this one"] * 2
    assert type(firsts[0]) is type(firsts[1])
    assert CASES[kind].is_live or firsts[0] == firsts[1]


@every_driver
def test_it_stops_at_once_when_it_is_asked_to(kind: str, world: In) -> None:
    with world(CASES[kind].story) as options, open_driver(kind, options) as driver:
        assert len(list(driver.records(Stop(after_count=0)))) <= 1
        assert CASES[kind].is_live or len(list(driver.records(Stop(after_count=3)))) <= 4


def stopped_after_ns(kind: str, options: Options) -> int:
    """How long a driver that waits takes to come to its end once it is told to."""
    stop, heard, ended_ns = threading.Event(), threading.Event(), []

    def listen() -> None:
        with open_driver(kind, options) as driver:
            for _ in driver.records(stop):
                heard.set()
            ended_ns.append(time.monotonic_ns())

    thread = threading.Thread(target=listen)
    thread.start()
    assert heard.wait(60)
    stop.set()
    stopped_ns = time.monotonic_ns()
    thread.join(60)  # painting takes a while, but one that is deaf while it waits would take an hour
    assert not thread.is_alive()
    return ended_ns[0] - stopped_ns


@every_driver
def test_it_stops_while_it_waits(kind: str, world: In) -> None:
    with world(CASES[kind].waiting) as options:
        tries_ns = (stopped_after_ns(kind, options) for _ in range(5))
        if CASES[kind].is_live:
            assert any(try_ns <= STOP_NS for try_ns in tries_ns)  # of a few, for this machine may be busy
        else:
            next(tries_ns)


@every_device
def test_a_device_opens_and_closes_again(kind: str, world: In) -> None:
    with world(CASES[kind].waiting) as options:
        driver = open_driver(kind, options)
        for _ in range(2):
            with driver as there:
                assert there is driver
        driver.__exit__(None, None, None)  # once more does no harm


@every_device
def test_what_cannot_be_opened_says_why(kind: str, world: In) -> None:
    with world(CASES[kind].broken) as options:
        driver = open_driver(kind, options)
        with pytest.raises(DriverError, match=CASES[kind].complaint) as caught:
            driver.__enter__()
        assert ";" in str(caught.value), "what was found; what is wanted or to be done"


@every_device
def test_its_options_are_a_frozen_value_checked_strictly(kind: str, world: In) -> None:
    with world(CASES[kind].waiting) as options:
        kept = type(open_driver(kind, options)).Options
        assert dataclasses.is_dataclass(kept)
        assert kept.__dataclass_params__.frozen  # type: ignore[attr-defined]
        with pytest.raises(ConfigError, match=rf'rig.toml \(driver "{kind}"\): .*spead_ratio: unknown name'):
            open_driver(kind, options | {"spead_ratio": 2.0})
