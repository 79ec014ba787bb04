"""A station that runs in real time until it is killed; run as a program it kills many of them, each at its own instant.

Every record is noted in a log before it is sent, so that later one can tell what a recording should hold. A line of the
log is `run KIND t_ns sent_ns`, and `run done 0 0` once a run is finished: recorded, measured and stored. In every other
run one source hangs for a while, so that the records of the others have to be written before their turn.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from logger.drivers.interface import Stop
from logger.records import Edge, Frame, Key, Quiet, Record
from logger.results.store import Store
from logger.station.line import Plan
from logger.station.rig import run
from tests.logger.recording.conftest import CAMERA, CARD, RIG, frame

S, MS = 1_000_000_000, 1_000_000
STORE = "trials.sqlite"
PICTURES = [frame(number) for number in range(14)]
KINDS = {Edge: "edge", Frame: "frame", Key: "key"}
Note = Callable[[str, int], None]


class Paced:
    """A device in real time: what it has to say at which time of the run, stamped when it happens, sent soon after."""

    def __init__(
        self, name: str, story: Iterator[tuple[int, Callable[[int], Record]]], note: Note, *, hangs: bool = False
    ) -> None:
        self.name, self._story, self._note, self._hangs = name, story, note, hangs

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def records(self, stop: Stop) -> Iterator[Any]:
        begun_ns = time.monotonic_ns()
        for due_ns, made in self._story:
            while (left_ns := begun_ns + due_ns - time.monotonic_ns()) > 0:
                if stop.wait(min(left_ns / S, 0.02)):  # type: ignore[attr-defined]
                    return
                if not self._is_hanging(begun_ns):
                    yield Quiet(min(time.monotonic_ns(), begun_ns + due_ns) - 1, self.name)
            record = made(begun_ns + due_ns)
            self._note(KINDS[type(record)], record.t_ns)
            yield record
        while not stop.wait(0.02):  # type: ignore[attr-defined]
            if not self._is_hanging(begun_ns):
                yield Quiet(time.monotonic_ns() - 1, self.name)

    def _is_hanging(self, begun_ns: int) -> bool:
        return self._hangs and 400 * MS < time.monotonic_ns() - begun_ns < 2200 * MS


def gates(passes_s: tuple[float, float]) -> Iterator[tuple[int, Callable[[int], Record]]]:
    """A beam that rattles all the time, and a passage at each gate."""
    first, last = (gate.name for gate in RIG.gates)
    whens = [(round(s * S), gate, True) for s, gate in zip(passes_s, (first, last), strict=True)]
    whens += [(due_ns + 100 * MS, gate, False) for due_ns, gate, _ in whens]
    whens += [((60 + n * 7 + n % 2) * MS, last, n % 2 == 0) for n in range(int(passes_s[1] * 1000 - 100) // 14 * 2)]
    for due_ns, gate, blocked in sorted(whens):
        yield due_ns, lambda t_ns, gate=gate, blocked=blocked: Edge(t_ns, gate, blocked, "gates")  # type: ignore[misc]


def camera() -> Iterator[tuple[int, Callable[[int], Record]]]:
    for n in range(1800):
        picture = replace(PICTURES[n % len(PICTURES)], sequence=n, source="camera")
        yield n * S // 30, lambda t_ns, picture=picture: replace(picture, t_ns=t_ns)  # type: ignore[misc]


def people(*, are_busy: bool) -> Iterator[tuple[int, Callable[[int], Record]]]:
    yield 10 * MS, lambda t_ns: Key(t_ns, "arm", "panel")
    for n in range(1, 600 if are_busy else 4):
        yield n * 100 * MS, lambda t_ns, n=n: Key(t_ns, "note", "panel", f"number {n}")  # type: ignore[misc]


def record_for_ever(place: Path, log: Path) -> None:
    """One run after the other, each about two seconds, into `place`."""
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    number = 0
    with Store(place / STORE) as store:
        while True:
            name = f"run-{number}"

            def note(kind: str, t_ns: int, name: str = name) -> None:
                os.write(handle, f"{name} {kind} {t_ns} {time.monotonic_ns()}\n".encode())

            drivers = [Paced("gates", gates((0.3, 1.6)), note), Paced("camera", camera(), note)]
            drivers.append(Paced("panel", people(are_busy=number % 2 == 0), note, hangs=number % 2 == 1))
            plan = Plan(replace(CARD, id=name), RIG, place / name, CAMERA, is_live=True)
            run(plan, drivers, store=store)
            note("done", 0)
            number += 1


def wait_until(end_ns: int) -> int:
    """Wait; what time it is then."""
    while (left_ns := end_ns - time.monotonic_ns()) > 0:
        select.select([], [], [], left_ns / S)
    return time.monotonic_ns()


def kill_one(place: Path, *, after_runs: int, after_s: float) -> int:
    """Start a station, kill it after so many runs and so long; when that was."""
    place.mkdir()
    child = os.fork()
    if child == 0:
        try:
            record_for_ever(place, place / "log")
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)
    log, late_ns = place / "log", time.monotonic_ns() + 60 * S
    while after_runs and (not log.exists() or log.read_bytes().count(b"done") < after_runs):
        if wait_until(time.monotonic_ns() + 20 * MS) > late_ns:
            after_runs, after_s = 0, 0.0  # the log will show that nothing was finished
    killed_ns = wait_until(time.monotonic_ns() + round(after_s * S))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return killed_ns if os.WIFSIGNALED(status) else 0


def main() -> None:
    """`PLACE SEED COUNT` kills so many stations and prints the folder of each and when it was killed (0: it had died).

    `PLACE LOG` is one station.
    """
    if len(sys.argv) == 3:
        record_for_ever(Path(sys.argv[1]), Path(sys.argv[2]))
    place, seed, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    chance = random.Random(seed)  # noqa: S311
    for number in range(count):
        folder = place / f"{seed}-{number}"
        killed_ns = kill_one(folder, after_runs=number % 2, after_s=chance.uniform(0.2, 2.7))
        print(folder, killed_ns, flush=True)


if __name__ == "__main__":
    main()
