"""A station in real time, killed at any instant, without power at any instant, and when everything is in use twice."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from logger.drivers.interface import Stop
from logger.recording.folder import Event, Recording, load
from logger.recording.recovery import unfinished_name
from logger.records import Edge, Frame, Key, Quiet
from logger.results.measure import measure
from logger.results.store import Store
from logger.results.trial import Trial
from logger.station.inbox import FRAMES_COUNT, OTHERS_COUNT
from logger.station.line import Plan
from logger.station.rig import run
from tests.bench.recorder import Device, LiveCamera, Looker, Storm, record
from tests.logger.recording.conftest import CAMERA, CARD, RIG, fill_up, frame, large_jpeg, mounted
from tests.logger.station.live_station import STORE, wait_until

PROJECT = Path(__file__).resolve().parents[3]
S = 1_000_000_000


@dataclass
class Noted:
    """What one run's sources noted before they sent it."""

    sent: dict[tuple[str, int], int] = field(default_factory=dict)
    """(kind, t_ns) and when it was sent."""
    is_done: bool = False


def noted(log: Path) -> Mapping[str, Noted]:
    """By run, in order; a last line that was torn by the kill was never sent."""
    runs: dict[str, Noted] = {}
    for line in log.read_bytes().decode().splitlines(keepends=True) if log.exists() else []:
        if line.endswith("\n"):
            name, kind, t_ns, sent_ns = line.split()
            of_run = runs.setdefault(name, Noted())
            if kind == "done":
                of_run.is_done = True
            else:
                of_run.sent[kind, int(t_ns)] = int(sent_ns)
    return runs


def held(recording: Recording) -> set[tuple[str, int]]:
    stamps = [] if recording.stamps is None else recording.stamps.t_ns.tolist()
    found = {("edge", edge.t_ns) for edge in recording.edges} | {("frame", t_ns) for t_ns in stamps}
    return found | {("key", event.t_ns) for event in recording.events if event.source == "panel"}


@dataclass
class Tally:
    """What many kills came to."""

    finished_count: int = 0
    running_count: int = 0
    behind_s: list[float] = field(default_factory=list)
    """For each running one: how long before the cut the first record was sent that is not there."""

    def add(self, runs: Mapping[str, Noted], place: Path, cut_ns: int) -> None:
        with Store(place / STORE, read_only=True) as store:
            kept = {stored.trial.run_id for stored in store.runs()}
        for name, of_run in runs.items():
            if of_run.is_done:
                self._add_finished(load(place / name), of_run, is_stored=name in kept)
            else:
                self._add_running(place / name, of_run, cut_ns)

    def _add_finished(self, recording: Recording, of_run: Noted, *, is_stored: bool) -> None:
        self.finished_count += 1
        assert is_stored
        assert recording.doubts == ()
        (closed_ns,) = (event.t_ns for event in recording.events if event.event == "closed")
        assert {one for one in of_run.sent if one[1] < closed_ns} <= held(recording)

    def _add_running(self, folder: Path, of_run: Noted, cut_ns: int) -> None:
        sent, found = dict(of_run.sent), set()
        old = {one for one, sent_ns in sent.items() if sent_ns <= cut_ns - S}
        if folder.exists():  # closed, not yet measured
            recording = load(folder)
            (closed_ns,) = (event.t_ns for event in recording.events if event.event == "closed")
            sent = {one: sent_ns for one, sent_ns in sent.items() if one[1] < closed_ns}
            old &= sent.keys()
            found = held(recording)
        elif old or (unfinished_name(folder) / "events.csv").exists():
            recording = load(unfinished_name(folder))
            assert recording.doubts, "a recording that was cut short is never taken for a whole one"
            assert measure(recording).trial.run_id == folder.name
            found = held(recording)
        assert old <= found, f"{folder}: lost {sorted(old - found)[:3]}"
        assert found <= of_run.sent.keys(), "nothing that nobody sent"
        self.running_count += 1
        self.behind_s.append(max(((cut_ns - sent[one]) / S for one in sent.keys() - found), default=0.0))


def kill_stations(place: Path, *, seeds: range, count: int) -> Tally:
    """Kill `count` stations for each seed, those of different seeds at the same time, and look at all that is left."""
    program = [sys.executable, "-B", "-m", "tests.logger.station.live_station", str(place)]
    running = [
        subprocess.Popen([*program, str(seed), str(count)], cwd=PROJECT, stdout=subprocess.PIPE, text=True)
        for seed in seeds
    ]
    said = [one.communicate()[0].splitlines() for one in running]
    assert [one.returncode for one in running] == [0] * len(running)
    tally = Tally()
    for lines_said in said:
        assert len(lines_said) == count
        for line in lines_said:
            folder, cut_ns = line.split()
            assert cut_ns != "0", "a station came to its end by itself"
            if (Path(folder) / STORE).exists():
                tally.add(noted(Path(folder) / "log"), Path(folder), int(cut_ns))
    return tally


def test_a_station_killed_at_any_instant_keeps_what_is_older_than_a_second(tmp_path: Path) -> None:
    tally = kill_stations(tmp_path, seeds=range(2), count=5)
    assert tally.finished_count >= 2 * (0 + 1 + 0 + 1 + 0)
    assert tally.running_count >= 5


@pytest.mark.bench
def test_200_kills_of_a_station(tmp_path: Path) -> None:
    tally = kill_stations(tmp_path, seeds=range(4), count=50)
    behind_s = sorted(tally.behind_s)
    print(
        f"\n200 kills: {tally.finished_count} runs finished before, 0 lost; {tally.running_count} were running, kept "
        f"up to {behind_s[len(behind_s) // 2]:.3f} s (median), {behind_s[-1]:.3f} s (at worst) before the kill"
    )


# --- more than it can bear ---


def lines(place: Path, name: str) -> int:
    return (place / "run" / name).read_bytes().count(b"\n") - 1


def test_a_storm_of_edges_costs_neither_an_edge_nor_a_picture(tmp_path: Path) -> None:
    """As many as a thread can send: the gates wait at their limit, the camera is not asked to."""
    storm, camera = Storm("gates", 2.0, 1e9), LiveCamera("camera", 2.0)
    done = record(tmp_path, [storm, camera], Looker(), is_live=True)
    assert storm.sent_count > 2 * OTHERS_COUNT
    assert lines(tmp_path, "edges.csv") == storm.sent_count
    assert lines(tmp_path, "frames.csv") == camera.sent_count > 0
    assert OTHERS_COUNT // 2 < done.peak_count <= OTHERS_COUNT + FRAMES_COUNT


def test_a_disk_whose_syncs_take_seconds_costs_nothing_and_is_told(tmp_path: Path) -> None:
    def sync(handle: int) -> None:
        file = Path(os.readlink(f"/proc/self/fd/{handle}"))
        if file.suffix != ".toml" and file.stat().st_size > 100:  # not what is written before the run
            threading.Event().wait(1.3)

    storm, camera = Storm("gates", 2.0, 500), LiveCamera("camera", 2.0)
    done = record(tmp_path, [storm, camera], Looker(), is_live=True, sync=sync)
    assert lines(tmp_path, "edges.csv") == storm.sent_count
    assert lines(tmp_path, "frames.csv") == camera.sent_count
    assert "disk_slow" in {event.event for event in done.shown}


def test_a_disk_that_stands_still_for_seconds_costs_nothing(tmp_path: Path) -> None:
    begun_ns = time.monotonic_ns()

    def write(handle: int, data: memoryview) -> int:
        if begun_ns + S // 2 < (now_ns := time.monotonic_ns()) < begun_ns + 2 * S:
            threading.Event().wait((begun_ns + 2 * S - now_ns) / S)
        return os.write(handle, data)

    storm, camera = Storm("gates", 2.5, 500), LiveCamera("camera", 2.5)
    done = record(tmp_path, [storm, camera], Looker(), is_live=True, write=write)
    assert lines(tmp_path, "edges.csv") == storm.sent_count
    assert lines(tmp_path, "frames.csv") == camera.sent_count
    assert done.frames_peak_count < FRAMES_COUNT, "nobody had to wait for the disk"
    assert "disk_slow" in {event.event for event in done.shown}


@pytest.mark.parametrize("at_picture", [3, 40])
def test_a_disk_that_others_fill_during_a_run_costs_pictures_and_the_run_is_measured(
    tmp_path: Path, at_picture: int
) -> None:
    shown: list[Event | Trial] = []
    with mounted(tmp_path / "small", "tmpfs", size_mb=40) as small:
        first, last = (gate.name for gate in RIG.gates)

        def camera() -> Iterator[Frame]:
            for number in range(60):
                if number == at_picture:
                    fill_up(small)
                yield replace(frame(number), t_ns=S + number * S // 30, source="camera", jpeg=large_jpeg())

        stories: dict[str, Iterator[Any]] = {
            "gates": iter([Edge(2 * S, first, True, "gates"), Edge(2 * S + S // 10, first, False, "gates"),
                           Edge(5 * S // 2, last, True, "gates"), Edge(13 * S // 5, last, False, "gates")]),
            "panel": iter([Key(S, "arm", "panel")]),
            "camera": camera(),
        }  # fmt: skip
        drivers = [Told(name, story) for name, story in stories.items()]
        with Store(tmp_path / "trials.sqlite") as store:
            ran = run(Plan(CARD, RIG, small / "run", CAMERA), drivers, store=store, show=shown.append)
            assert [stored.trial.run_id for stored in store.runs()] == [CARD.id]
        recording = load(small / "run")
        assert 0 < len(list(recording.frames())) <= at_picture
        assert lines(small, "frames.csv") == 60
    assert ran.outcome.trial.end_reason == "finish"
    assert ran.outcome.trial.results["time_s"].quantity.value == pytest.approx(0.5)
    told = [one.event for one in shown if isinstance(one, Event)]
    assert "video_ended" in told
    assert len(recording.edges) == 4


class Told(Device):
    """A device with a story that takes no time."""

    def __init__(self, name: str, story: Iterator[Any]) -> None:
        super().__init__(name)
        self._story = story

    def records(self, stop: Stop) -> Iterator[Any]:
        yield from self._story
        yield Quiet(60 * S, self.name)


# --- no power ---


@pytest.fixture
def station_on_a_small_disk(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], Path, Path]]:
    """(process, image of its disk, log) of a station that records for ever onto an ext4 of its own."""
    with mounted(tmp_path / "disk", "ext4", size_mb=48) as disk:
        program = [sys.executable, "-B", "-m", "tests.logger.station.live_station", str(disk), str(tmp_path / "log")]
        station = subprocess.Popen(program, cwd=PROJECT)
        try:
            yield station, tmp_path / "disk.img", tmp_path / "log"
            assert station.poll() is None, "the station came to its end by itself"
        finally:
            station.kill()
            station.wait()


def test_a_station_without_power_at_any_instant_keeps_what_is_older_than_a_second(
    station_on_a_small_disk: tuple[subprocess.Popen[bytes], Path, Path], tmp_path: Path
) -> None:
    """What the block device holds at that instant is what a pulled plug leaves; the kernel mends it when mounted."""
    station, image, log = station_on_a_small_disk
    chance, tally, begun_ns = random.Random(20), Tally(), time.monotonic_ns()  # noqa: S311
    while not noted(log):
        assert time.monotonic_ns() - begun_ns < 120 * S, "the station never began"
    for number in range(6):
        wait_until(time.monotonic_ns() + round(chance.uniform(0.8, 1.9) * S))
        runs, cut_ns, frozen = noted(log), time.monotonic_ns(), tmp_path / f"cut-{number}.img"
        station.send_signal(signal.SIGSTOP)  # or it would write while the disk is looked at
        while (before := image.read_bytes()) != image.read_bytes():
            pass
        station.send_signal(signal.SIGCONT)
        frozen.write_bytes(before)
        with mounted(tmp_path / f"cut-{number}", "ext4 as it is", size_mb=48) as disk:
            tally.add(runs, disk, cut_ns)
        frozen.unlink()
    assert tally.finished_count > 0
    assert tally.running_count > 2
    print(f"kept up to {max(tally.behind_s):.3f} s before the cut")
