"""The loop with real threads: from drivers to a stored trial, whatever the drivers do."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pytest

from logger.drivers.interface import Finding, Shown, Stop
from logger.errors import DriverError, StoreError
from logger.recording.folder import Event, load
from logger.records import Edge, Key, Quiet, Record
from logger.results.measure import measure
from logger.results.store import Store
from logger.results.trial import Trial
from logger.results.trial_json import to_json
from logger.station.inbox import OTHERS_COUNT
from logger.station.line import Plan
from logger.station.rig import run
from tests.logger.station.bench import CARD, RIG, S, edge

PASSING: list[Record] = [edge(2, "A"), edge(2.4, "A", blocked=False), edge(5, "B"), edge(5.3, "B", blocked=False)]
ARM: list[Record] = [Key(1 * S, "arm", "panel")]


class Scripted:
    """A device that says what it is told to, and then does something."""

    def __init__(
        self,
        name: str,
        records: Sequence[Record] | Callable[[], Iterator[Record]],
        then: Callable[[Stop], Any] = lambda stop: None,
        *,
        is_there: bool = True,
    ) -> None:
        self.name, self._records, self._then, self._is_there = name, records, then, is_there
        self.is_open = False

    def __enter__(self) -> Self:
        if not self._is_there:
            raise DriverError(f"{self.name}: not plugged in; plug it in")
        self.is_open = True
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.is_open = False

    def records(self, stop: Stop) -> Iterator[Any]:
        yield from self._records() if callable(self._records) else self._records
        self._then(stop)


def until_stopped(stop: Stop) -> None:
    assert isinstance(stop, threading.Event)
    assert stop.wait(60), "the loop never stopped this driver"


def quiet(t_s: float, source: str) -> list[Record]:
    return [Quiet(round(t_s * S), source)]


def gates(*more: Record, then: Callable[[Stop], Any] = until_stopped) -> Scripted:
    return Scripted("gates", [*PASSING, *more, *quiet(30, "gates")], then)


def panel(then: Callable[[Stop], Any] = until_stopped) -> Scripted:
    return Scripted("panel", [*ARM, *quiet(30, "panel")], then)


def test_a_run_ends_as_a_stored_trial(tmp_path: Path) -> None:
    shown: list[Event | Trial] = []
    drivers = [gates(), panel()]
    with Store(tmp_path / "trials.sqlite") as store:
        ran = run(
            Plan(CARD, RIG, tmp_path / "run-1"), drivers, store=store, show=shown.append, wall_time=lambda: "12:00"
        )
        (kept,) = store.runs()
    trial = ran.outcome.trial
    assert (trial.kind, trial.status, trial.end_reason) == ("straight", "valid", "finish")
    assert trial.results["time_s"].quantity.value == pytest.approx(3.0, abs=1e-9)
    assert (kept.trial, kept.boat, kept.team, kept.added_at) == (trial, "Gull", "Quay", "12:00")
    assert kept.folder == tmp_path / "run-1"
    assert shown == [*ran.history, trial]
    assert not any(driver.is_open for driver in drivers)
    assert to_json(measure(load(ran.recording)).trial) == to_json(trial), "measured again, it is the same to the digit"


def test_a_driver_that_cannot_be_opened_leaves_nothing_behind(tmp_path: Path) -> None:
    first = gates()
    with pytest.raises(DriverError, match="camera: not plugged in; plug it in"):
        run(Plan(CARD, RIG, tmp_path / "run-1"), [first, Scripted("camera", [], is_there=False)])
    assert not first.is_open
    assert list(tmp_path.iterdir()) == []


class Lamp(Scripted):
    """A panel whose lamp is written down."""

    def __init__(self) -> None:
        super().__init__("panel", [*ARM, *quiet(30, "panel")], until_stopped)
        self.shown: list[Shown] = []

    def show(self, shown: Shown) -> None:
        assert self.is_open
        self.shown.append(shown)


def test_the_panels_lamp_follows_the_run(tmp_path: Path) -> None:
    lamp = Lamp()
    run(Plan(CARD, RIG, tmp_path / "run-1"), [gates(), lamp])
    assert lamp.shown == ["ready", "armed", "running", "done"]


class LooksAtItself(Scripted):
    """Gates that look at themselves before the run."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__("gates", [*PASSING, *quiet(30, "gates")], until_stopped)
        self._findings = list(findings)

    def self_test(self) -> list[Finding]:
        assert self.is_open
        return self._findings


def test_a_driver_that_finds_itself_unfit_leaves_nothing_behind(tmp_path: Path) -> None:
    deaf = LooksAtItself(Finding("gate A", "wrong", "its reader is asleep", "begin anew"))
    with pytest.raises(DriverError, match="gate A: its reader is asleep; begin anew"):
        run(Plan(CARD, RIG, tmp_path / "run-1"), [deaf, panel()])
    assert not deaf.is_open
    assert list(tmp_path.iterdir()) == []


def test_what_is_doubtful_about_a_driver_stands_in_the_recording(tmp_path: Path) -> None:
    shown: list[Event | Trial] = []
    flaky = LooksAtItself(Finding("gate A", "doubtful", "it was never seen to break", "pass a hand through it"))
    ran = run(Plan(CARD, RIG, tmp_path / "run-1"), [flaky, panel()], show=shown.append)
    (told,) = [event for event in load(ran.recording).events if event.event == "self_test"]
    assert (told.source, told.detail) == ("gate A", "it was never seen to break; pass a hand through it")
    assert told in shown


def test_a_recording_is_never_written_over(tmp_path: Path) -> None:
    run(Plan(CARD, RIG, tmp_path / "run-1"), [gates(), panel()])
    before = (tmp_path / "run-1" / "edges.csv").read_bytes()
    with pytest.raises(StoreError, match="there is such a recording already"):
        run(Plan(CARD, RIG, tmp_path / "run-1"), [gates(), panel()])
    assert (tmp_path / "run-1" / "edges.csv").read_bytes() == before


def test_a_driver_that_raises_becomes_a_fault_and_the_run_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(_: Stop) -> None:
        raise RuntimeError("the sun is in the sensor")

    ran = run(Plan(CARD, RIG, tmp_path / "run-1"), [gates(), panel(), Scripted("camera", quiet(3, "camera"), fail)])
    assert ran.outcome.trial.end_reason == "finish"
    faults = [event for event in load(ran.recording).events if event.event == "fault"]
    assert [(event.source, event.t_ns) for event in faults] == [("camera", 3 * S + 1)]
    assert "RuntimeError: the sun is in the sensor" in faults[0].detail
    assert caplog.records[0].levelno == logging.ERROR


def test_a_driver_that_speaks_in_another_name_is_a_fault_of_that_driver(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    liar = Scripted("camera", quiet(1, "camera two"), until_stopped)
    ran = run(Plan(CARD, RIG, tmp_path / "run-1"), [gates(), panel(), liar])
    faults = [event for event in load(ran.recording).events if event.event == "fault"]
    assert [event.source for event in faults] == ["camera"]
    assert ran.outcome.trial.end_reason == "finish"
    assert "camera two" in caplog.text


def test_a_source_that_hangs_is_given_up(tmp_path: Path) -> None:
    plan = Plan(CARD, RIG, tmp_path / "run-1", silent_after_s=0.05)
    ran = run(plan, [gates(), panel(), Scripted("camera", quiet(1, "camera"), until_stopped)])
    assert ran.outcome.trial.end_reason in ("finish", "recording_ended")
    assert any("nothing was heard from camera" in event.detail for event in load(ran.recording).events)


def test_a_driver_that_comes_to_its_end_is_not_waited_for(tmp_path: Path) -> None:
    drivers = [gates(), Scripted("panel", [*ARM, *quiet(1.5, "panel")])]
    assert run(Plan(CARD, RIG, tmp_path / "run-1"), drivers).history[-1].detail == "finish"


def test_when_all_drivers_come_to_their_end_so_does_the_run(tmp_path: Path) -> None:
    drivers = [Scripted("gates", [*PASSING[:2], *quiet(4, "gates")]), Scripted("panel", ARM)]
    ran = run(Plan(CARD, RIG, tmp_path / "run-1"), drivers)
    assert (ran.history[-1].detail, ran.history[-1].t_ns) == ("recording_ended", 4 * S)
    assert ran.outcome.trial.status == "did_not_finish"


def test_a_full_disk_stops_the_run_closes_the_drivers_and_keeps_what_there_is(tmp_path: Path) -> None:
    drivers = [gates(), panel()]
    before = threading.active_count()

    def show(moved: Event | Trial) -> None:
        if isinstance(moved, Event) and moved.event == "started":
            raise StoreError("no space left")

    with pytest.raises(StoreError, match="no space left"):
        run(Plan(CARD, RIG, tmp_path / "run-1"), drivers, show=show)
    assert not any(driver.is_open for driver in drivers)
    assert threading.active_count() == before
    (unfinished,) = tmp_path.iterdir()
    assert unfinished.name == "run-1.unfinished"
    assert [event.event for event in load(unfinished).events][:2] == ["arm", "armed"]


def storm(count: int) -> Callable[[], Iterator[Record]]:
    """A beam that rattles: `count` edges, 5 µs apart, after a clean start and before a clean finish."""

    def records() -> Iterator[Record]:
        yield from PASSING[:2]
        for n in range(count):
            yield Edge(3 * S + 5_000 * n, "A", n % 2 == 0, "gates")
            if n % 10_000 == 0:
                yield Quiet(3 * S + 5_000 * n + 1, "gates")
        yield from PASSING[2:]
        yield from quiet(30, "gates")

    return records


def test_a_storm_of_edges_needs_bounded_memory_and_loses_none(tmp_path: Path) -> None:
    count = 100_000
    slow_words = [*ARM, *(Quiet(2 * S + n * 10_000_000, "panel") for n in range(400)), *quiet(30, "panel")]
    slow_panel = Scripted("panel", slow_words)
    ran = run(Plan(CARD, RIG, tmp_path / "run-1"), [Scripted("gates", storm(count), until_stopped), slow_panel])
    assert ran.fill.peak_count <= OTHERS_COUNT + len(slow_words), "of each source no more than its limit"
    assert ran.fill.waiting_count == 0, "and all of it was given back"
    assert len(load(ran.recording).edges) == count + 4
    assert ran.outcome.trial.end_reason == "finish"
