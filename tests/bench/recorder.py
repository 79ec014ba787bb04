"""How the recorder bears up: memory over half an hour, a storm of edges beside a camera, and a slow disk.

    python -m tests.bench.recorder memory            # 54 000 pictures of 640 × 480 as fast as they go
    python -m tests.bench.recorder storm             # edges as fast as a thread can send them, and 30 pictures a second
    python -m tests.bench.recorder slow              # the same camera, and a disk whose syncs take 0.3 s to 3 s
    python -m tests.bench.recorder loop              # edges a second that the line takes, without threads

Each prints a table; nothing passes or fails by time. The drivers are invented; everything behind them is the real
thing: inbox, settled order, line, journal, disk. Only measuring afterwards is left out.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import cv2
import numpy as np

from logger.config import CameraSetup, Rules
from logger.drivers.interface import Stop
from logger.recording.folder import Event
from logger.recording.journal import Journal
from logger.records import Edge, Frame, Key, Quiet
from logger.station.line import Line, LiveTracker, Plan
from logger.station.rig import _record
from tests.logger.station.bench import CARD, RIG, S

FRAME_NS = S // 30
WIDTH_PX, HEIGHT_PX = 640, 480
CAMERA = f"""format = "boatrun-camera/1"
[lens]
width_px = {WIDTH_PX}
height_px = {HEIGHT_PX}
fx_px = 500
fy_px = 500
cx_px = 319.5
cy_px = 239.5
[pose]
rotation_vector = [3.141592653589793, 0, 0]
camera_mm = [500, 0, 1400]
""".encode()


def pictures(count: int = 8) -> list[tuple[np.ndarray, bytes]]:
    """Water with noise, as a camera compresses it: about 60 kB each."""
    made = []
    for number in range(count):
        chance = np.random.default_rng(number)
        image = cv2.GaussianBlur(chance.integers(60, 200, (HEIGHT_PX, WIDTH_PX, 3), np.uint8), (3, 3), 0)
        made.append((image, cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 75])[1].tobytes()))
    return made


class Device:
    """A driver whose records come out of a function."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def records(self, stop: Stop) -> Iterator[Any]:
        raise NotImplementedError


class Story(Device):
    """Half an hour as fast as it is taken: a beam that rattles now and then, pictures, keys."""

    def __init__(self, name: str, length_s: float) -> None:
        super().__init__(name)
        self._length_ns = round(length_s * S)

    def records(self, stop: Stop) -> Iterator[Any]:
        made = pictures() if self.name == "camera" else []
        step_ns = {"camera": FRAME_NS, "gates": 100_000_000, "panel": 100_000_000}[self.name]
        for number, t_ns in enumerate(range(S, S + self._length_ns, step_ns)):
            if self.name == "camera":
                image, data = made[number % len(made)]
                yield Frame(t_ns, image.copy(), number, "camera", 5_000_000, 15_000, bytes(bytearray(data)))
            elif self.name == "gates":
                for n in range(40 if number % 10 == 0 else 0):
                    yield Edge(t_ns + n * 1_000_000, "A", n % 2 == 0, "gates", 4 * number + n)
                yield Quiet(t_ns + 99_000_000, "gates")
            else:
                if number % 50 == 0:
                    yield Key(t_ns, "note", "panel", "still there")
                yield Quiet(t_ns + 1, "panel")
        yield Quiet(S + self._length_ns + 10 * S, self.name)


class LiveCamera(Device):
    """30 pictures a second on the dot; a picture that the loop does not take in time is lost, as in a real camera."""

    BUFFERS_COUNT = 4
    """Pictures that the kernel keeps for whoever is late (the usual number of OpenCV's V4L2 reader)."""

    def __init__(self, name: str, length_s: float) -> None:
        super().__init__(name)
        self._length_ns = round(length_s * S)
        self.lost_count = self.sent_count = 0
        self.late_s: list[float] = []

    def records(self, stop: Stop) -> Iterator[Any]:
        made = pictures()
        begun_ns, number = time.monotonic_ns(), 0
        while not stop.is_set() and (due_ns := begun_ns + number * FRAME_NS) < begun_ns + self._length_ns:
            now_ns = time.monotonic_ns()
            if due_ns > now_ns:
                stop.wait((due_ns - now_ns) / S)  # type: ignore[attr-defined]
                continue
            if now_ns - due_ns > self.BUFFERS_COUNT * FRAME_NS:
                self.lost_count += 1
                number += 1
                continue
            image, data = made[number % len(made)]
            yield Frame(due_ns, image.copy(), number, "camera", 5_000_000, 15_000, data)
            self.sent_count += 1
            number += 1


class Storm(Device):
    """Edges of one beam as fast as they are taken, each stamped when it is sent, up to `most_per_s`; 0: none."""

    def __init__(self, name: str, length_s: float, most_per_s: float) -> None:
        super().__init__(name)
        self._length_ns = round(length_s * S)
        self._most_per_s = most_per_s
        self.sent_count = 0

    def records(self, stop: Stop) -> Iterator[Any]:
        begun_ns = last_ns = time.monotonic_ns()
        while not stop.is_set() and last_ns < begun_ns + self._length_ns:
            due_count = (time.monotonic_ns() - begun_ns) / S * self._most_per_s
            while self.sent_count < due_count and last_ns < begun_ns + self._length_ns:
                last_ns = max(last_ns + 1, time.monotonic_ns())
                yield Edge(last_ns, "A", self.sent_count % 2 == 0, self.name, self.sent_count)
                self.sent_count += 1
            stop.wait(0.002)  # type: ignore[attr-defined]
            last_ns = max(last_ns, time.monotonic_ns() - 1)
            yield Quiet(last_ns, self.name)


class Looker:
    """A live tracker that only notes how old each picture is when it is shown."""

    def __init__(self) -> None:
        self.ages_s: list[float] = []

    def feed(self, frame: Frame) -> None:
        self.ages_s.append((time.monotonic_ns() - frame.t_ns) / S)


class MemoryByMinute:
    """Takes part as a live tracker: sees every picture, and prints the memory once a minute of recorded time."""

    def __init__(self) -> None:
        self._next_ns, self._begun_s = S, time.perf_counter()
        self.rows: list[tuple[int, float]] = []

    def feed(self, frame: Frame) -> None:
        if frame.t_ns >= self._next_ns:
            minute = (self._next_ns - S) // (60 * S)
            self.rows.append((minute, rss_mb()))
            took_s = time.perf_counter() - self._begun_s
            print(f"{minute:3d} min   {self.rows[-1][1]:7.1f} MB   after {took_s:6.1f} s", flush=True)
            self._next_ns += 60 * S


def rss_mb() -> float:
    """What this process holds in memory now (proc_pid_statm(5))."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


@dataclass(frozen=True)
class Recorded:
    line: Line
    peak_count: int
    frames_peak_count: int
    shown: Sequence[Event]
    bytes_count: int


def record(
    place: Path, drivers: Sequence[Device], tracker: LiveTracker | None, *, is_live: bool, **how: Any
) -> Recorded:
    """The recording half of one run, on a card without an end of its own."""
    rig = replace(RIG, camera=CameraSetup(None, "camera.toml"))
    card = replace(CARD, rules=Rules(time_cap_s=1e6))
    plan = Plan(card, rig, place / "run", CAMERA, is_live=is_live)
    shown: list[Event] = []
    with Journal(plan.folder, card=card, rig=rig, calibration=CAMERA, is_live=is_live, **how) as journal:
        line, fill = _record(plan, drivers, journal=journal, tracker=tracker, show=shown.append, stop=threading.Event())
    size = sum(path.stat().st_size for path in plan.folder.iterdir())
    return Recorded(line, fill.peak_count, fill.frames_peak_count, shown, size)


def memory(place: Path, minutes: float) -> None:
    watcher = MemoryByMinute()
    drivers = [Story(name, minutes * 60) for name in ("gates", "camera", "panel")]
    done = record(place, drivers, watcher, is_live=False)
    levels = [mb for _, mb in watcher.rows]
    late = levels[len(levels) // 3 :]
    print(
        f"{done.bytes_count / 1e9:.2f} GB recorded; memory from a third on: {min(late):.1f} to {max(late):.1f} MB; "
        f"most that waited: {done.peak_count} records, {done.frames_peak_count} pictures"
    )


def at(share: float, values: Sequence[float]) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))] if values else float("nan")


def live(place: Path, length_s: float, per_s: float, **how: Any) -> None:
    camera, storm, looker = LiveCamera("camera", length_s), Storm("gates", length_s, per_s), Looker()
    begun_s, cpu_s = time.perf_counter(), time.process_time()
    done = record(place, [storm, camera], looker, is_live=True, **how)
    took_s, used_s = time.perf_counter() - begun_s, time.process_time() - cpu_s
    rows = (place / "run" / "edges.csv").read_bytes().count(b"\n") - 1
    stamps = (place / "run" / "frames.csv").read_bytes().count(b"\n") - 1
    told = sorted({event.event for event in done.shown} - {"ended"})
    print(
        f"asked for {per_s:.0f} edges/s: {storm.sent_count / length_s:.0f} taken, "
        f"{storm.sent_count - rows} of {storm.sent_count} not in the file; "
        f"{stamps} pictures, {camera.lost_count} lost, "
        f"shown to the tracker after {at(0.5, looker.ages_s) * 1e3:.0f} ms (median), "
        f"{at(1, looker.ages_s) * 1e3:.0f} ms (at most), {done.line.frames_untracked_count} not shown; "
        f"CPU {used_s / took_s:.2f}; told: {', '.join(told) or 'nothing'}",
        flush=True,
    )
    shutil.rmtree(place / "run")


def storm(place: Path, length_s: float) -> None:
    for per_s in (0, 1_000, 10_000, 30_000, 100_000, 1e9):
        live(place, length_s, per_s)


def slow(place: Path, length_s: float) -> None:
    for sync_s in (0.0, 0.3, 1.0, 3.0):
        print(f"syncs that take {sync_s:g} s longer: ", end="")

        def sync(handle: int, sync_s: float = sync_s) -> None:
            os.fdatasync(handle)
            threading.Event().wait(sync_s)

        live(place, length_s, 1_000, sync=sync)


def loop(place: Path, count: int) -> None:
    card = replace(CARD, rules=Rules(time_cap_s=1e6))
    with Journal(place / "run", card=card, rig=RIG) as journal:
        line = Line(Plan(card, RIG, place / "run"), sources=["gates", "panel"], journal=journal)
        edges = [Edge(S + n * 10_000, "A", n % 2 == 0, "gates", n) for n in range(count)]
        begun_s = time.thread_time()
        for n in range(0, count, 100):
            line.feed_all([*edges[n : n + 100], Quiet(S + (n + 99) * 10_000, "panel")])
        took_s = time.thread_time() - begun_s
    print(f"{count / took_s:.0f} edges for each second of the loop's CPU time")


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["memory", "storm", "slow", "loop"])
    parser.add_argument("--minutes", type=float, default=30.0, help="of recorded time, for memory")
    parser.add_argument("--seconds", type=float, default=10.0, help="of each line, for storm and slow")
    parser.add_argument("--to", type=Path, help="a folder on the disk in question; a temporary one if left out")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=asked.to) as scratch:
        place = Path(scratch)
        match asked.what:
            case "memory":
                memory(place, asked.minutes)
            case "storm":
                storm(place, asked.seconds)
            case "slow":
                slow(place, asked.seconds)
            case _:
                loop(place, 200_000)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
