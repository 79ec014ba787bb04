"""The whole loop, killed at any instant: nothing finished is lost, and what was running is kept as far as it got."""

from __future__ import annotations

import random
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.folder import load
from logger.recording.recovery import find_unfinished
from logger.results.measure import measure
from logger.results.store import Store

STATION = """
    import sys
    from pathlib import Path
    from logger.config import Boat, Gate, Line, Rig, RunCard, Tank
    from logger.records import Edge, Key, Quiet
    from logger.results.store import Store
    from logger.station.line import Plan
    from logger.station.rig import run

    S = 1_000_000_000
    RIG = Rig(
        name="bench",
        tank=Tank(((-300.0, -150.0), (1700.0, -150.0), (1700.0, 150.0), (-300.0, 150.0)), water_depth_mm=100.0),
        lines=(
            Line("start", "start", (0.0, -150.0), (0.0, 150.0)),
            Line("end", "finish", (1000.0, -150.0), (1000.0, 150.0)),
        ),
        gates=(Gate("A", "start"), Gate("B", "end")),
    )

    class Gates:
        name = "gates"
        def __enter__(self): return self
        def __exit__(self, *_): pass
        def records(self, stop):
            yield Quiet(0, "gates")
            for n in range(200):
                yield Edge(2 * S + n * 5_000_000, "A", n % 2 == 0, "gates")
            yield Edge(5 * S, "B", True, "gates")
            yield Edge(5 * S + 300_000_000, "B", False, "gates")
            yield Quiet(9 * S, "gates")

    class Panel(Gates):
        name = "panel"
        def records(self, stop):
            yield Key(1 * S, "arm", "panel")
            yield Quiet(9 * S, "panel")

    place, turn = Path(sys.argv[1]), sys.argv[2]
    with Store(place / "trials.sqlite") as store:
        print("ready", flush=True)
        for number in range(10_000):
            name = f"run-{turn}-{number}"
            card = RunCard(name, "straight", "2026-05-04T12:00:00+02:00", Boat("Gull"))
            run(Plan(card, RIG, place / name), [Gates(), Panel()], store=store)
            print(name, flush=True)
"""


def kill_a_station(place: Path, *, times: int, seed: int) -> int:
    """SIGKILL a station at random instants of its runs, and look at all that it left; how many runs were finished."""
    (place / "station.py").write_text(textwrap.dedent(STATION))
    chance = random.Random(seed)  # noqa: S311
    finished: set[str] = set()
    for turn in range(times):
        child = subprocess.Popen(
            [sys.executable, str(place / "station.py"), str(place), str(turn)], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        for _ in range(chance.randrange(1, 6)):
            finished.add(child.stdout.readline().strip())
        assert "" not in finished, "the station itself does not run"
        until_s = time.perf_counter() + chance.random() * 0.1
        while time.perf_counter() < until_s:
            pass
        child.kill()
        finished |= set(child.stdout.read().split("\n")[:-1])
        child.wait()
        child.stdout.close()
    finished.discard("ready")
    with Store(place / "trials.sqlite") as store:
        kept = {stored.trial.run_id: stored for stored in store.runs()}
    assert finished <= set(kept)
    for name in finished:
        assert len(load(place / name).edges) == 202
    for folder in find_unfinished(place):
        assert_it_is_kept_as_far_as_it_got(folder)
    return len(finished)


def assert_it_is_kept_as_far_as_it_got(folder: Path) -> None:
    """Cut off before all its first files were there it may say so in one line; after that it can be measured."""
    events = folder / "events.csv"
    begun = events.exists() and events.read_bytes()
    refused = ""
    try:
        recording = load(folder)
    except InputError as error:
        refused = str(error)
    if refused:
        assert not begun, refused
        assert str(folder) in refused
        return
    assert [edge.t_ns for edge in recording.edges] == sorted(edge.t_ns for edge in recording.edges)
    assert recording.doubts, "a recording that was cut short is never taken for a whole one"
    assert measure(recording).trial.run_id


def test_a_killed_station_loses_nothing_that_was_finished(tmp_path: Path) -> None:
    assert kill_a_station(tmp_path, times=8, seed=20260504) > 8


@pytest.mark.bench
def test_a_station_killed_many_times_loses_nothing_that_was_finished(tmp_path: Path) -> None:
    assert kill_a_station(tmp_path, times=60, seed=7) > 60
