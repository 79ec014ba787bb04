"""A practice lesson with many viewers: `python -m tests.bench.viewers [VIEWERS] [MINUTES]`.

A station (`boatrun demo --live`) is started as a program of its own and led through its pages, by pressing what the
teacher's page offers; viewers listen to the wall board's events on the loopback. Told are: how long after the finish,
by the kernel's stamp of the beam, each viewer had the first figure; what the station's processes used of processor and
memory; how each run was classified.
"""

from __future__ import annotations

import http.client
import itertools
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from logger.lesson.folder import Listed, lessons
from logger.recording.sensor_tables import read_events

_PATIENCE_S = 20.0


@dataclass
class Viewer:
    """One browser at the wall board."""

    port: int
    first_ns: dict[str, int] = field(default_factory=dict)
    """Name of a run -> when its first figure was there."""
    board: dict[str, Any] = field(default_factory=dict)
    events_count: int = 0
    broken_count: int = 0

    def watch(self, stop: threading.Event) -> None:
        while not stop.is_set():
            try:
                self._listen(stop)
            except (OSError, http.client.HTTPException):
                self.broken_count += 1
                stop.wait(1.0)

    def _listen(self, stop: threading.Event) -> None:
        line_to = http.client.HTTPConnection("127.0.0.1", self.port, timeout=_PATIENCE_S)
        line_to.request("GET", "/board/events")
        answer = line_to.getresponse()
        while not stop.is_set():
            line = answer.readline()
            if not line:
                raise http.client.HTTPException
            if line.startswith(b"data: "):
                self._take(json.loads(line[6:])["board"])
        line_to.close()

    def _take(self, board: dict[str, Any]) -> None:
        self.board, self.events_count = board, self.events_count + 1
        last = board["last"]
        says_no = last is not None and last["status"] == "undecided" and last["proposal"] in ("void", "did_not_finish")
        if last is not None and (last["figures"] or last["is_final"] or says_no):  # the board says "did not finish?"
            self.first_ns.setdefault(last["run_id"], time.monotonic_ns())


class Teacher:
    """Presses what the teacher's page offers."""

    def __init__(self, port: int) -> None:
        self._port, self._cookie = port, ""
        self.presses_count = 0
        self.troubles: list[str] = []

    def _ask(self, method: str, path: str, body: str = "") -> tuple[int, str]:
        line_to = http.client.HTTPConnection("127.0.0.1", self._port, timeout=_PATIENCE_S)
        headers = {"Cookie": self._cookie, "Sec-Fetch-Site": "same-origin"}
        if body:
            headers |= {"Content-Type": "application/x-www-form-urlencoded", "Accept": "application/json"}
        line_to.request(method, path, body or None, headers)
        answer = line_to.getresponse()
        if (cookie := answer.getheader("Set-Cookie")) is not None:
            self._cookie = cookie.partition(";")[0]
        text = answer.read().decode()
        line_to.close()
        return answer.status, text

    def board(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self._ask("GET", "/board.json")[1])
        return found

    def press(self, what: str, **more: str) -> None:
        _, page = self._ask("GET", "/lesson")
        hidden = {
            name: found[1] for name in ("token", "seen") if (found := re.search(f'name="{name}" value="([^"]*)"', page))
        }
        status, told = self._ask("POST", "/lesson/press", urlencode({**hidden, "press": what, **more}))
        self.presses_count += 1
        if status >= 400:
            self.troubles.append(f"{what}: {told[:160]}")

    def go_on(self, board: dict[str, Any]) -> bool:
        """One press, if there is one to be made; whether it made one."""
        last = board["last"]
        if board["state"] == "called" and "blocked" not in board["beams"].values() and board["water"] == "calm":
            self.press("arm")
        elif board["state"] == "deciding" and last is not None and last["is_final"]:
            self.decide(last)
        elif any("stuck" in notice for notice in board["notices"]) and board["state"] == "running":
            self.press("stop")
        else:
            return False
        return True

    def decide(self, last: dict[str, Any]) -> None:
        proposal = last["proposal"]
        press = {"valid": "keep", "freed": "freed_after"}.get(proposal, proposal)
        more = {"reason": "rig", "again": "now"} if press == "void" else {}
        self.press(press, run_id=last["run_id"], **more)


def finish_to_board_s(lesson: Listed, viewers: Sequence[Viewer]) -> dict[str, list[float]]:
    """Name of each run that ended -> how long after its end, by the sensors' stamps, each viewer had its figure."""
    assert lesson.standing is not None
    found = {}
    for attempt in lesson.standing.attempts:
        events = lesson.path / "recordings" / attempt.run_id / "events.csv"
        ended = [e.t_ns for e in read_events(events, print) if e.event == "ended"] if events.exists() else []
        told = [viewer.first_ns[attempt.run_id] for viewer in viewers if attempt.run_id in viewer.first_ns]
        if ended and told and attempt.state == "decided":
            found[attempt.run_id] = [(t_ns - ended[-1]) / 1e9 for t_ns in told]
    return found


def spread_told(late_s: Sequence[float]) -> str:
    """Median, 99th percentile and longest of them, which are ordered."""
    within_s = late_s[min(len(late_s) - 1, int(0.99 * len(late_s)))]
    return (
        f"finish -> board, {len(late_s)} times: median {statistics.median(late_s):.2f} s, 99 of 100 within "
        f"{within_s:.2f} s, longest {late_s[-1]:.2f} s"
    )


def children_of(pid: int) -> list[str]:
    """Processes that it began, from whichever of its threads."""
    return [
        child
        for task in Path(f"/proc/{pid}/task").glob("*/children")
        for child in task.read_text(encoding="ascii").split()
    ]


def used(pid: int) -> tuple[float, float]:
    """Seconds of processor and MB of memory of a process and of those that it began."""
    children = children_of(pid)
    stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    spent_s = sum(int(stat[number]) for number in (11, 12, 13, 14)) / os.sysconf("SC_CLK_TCK")
    resident_mb = (
        int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    )
    below = [used(int(child)) for child in children if Path(f"/proc/{child}").exists()]
    return spent_s + sum(one[0] for one in below), resident_mb + sum(one[1] for one in below)


def main(viewers_count: int, minutes: float) -> None:
    with tempfile.TemporaryDirectory() as place:
        station = Path(place) / "station"
        command = [sys.executable, "-m", "logger", "demo", "--live", "--to", str(station), "--port", "0"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
            assert program.stdout is not None
            port = 0
            while not port:
                found = re.search(r"http://127\.0\.0\.1:(\d+)/", program.stdout.readline())
                port = int(found[1]) if found else 0
            try:
                lead(port, program.pid, station, viewers_count=viewers_count, minutes=minutes)
            finally:
                program.terminate()


def lead(port: int, pid: int, station: Path, *, viewers_count: int, minutes: float) -> None:
    viewers, stop = [Viewer(port) for _ in range(viewers_count)], threading.Event()
    threads = [threading.Thread(target=viewer.watch, args=(stop,), daemon=True) for viewer in viewers]
    for thread in threads:
        thread.start()
    teacher, begun_s, last_s, memory = Teacher(port), time.monotonic(), 0.0, []
    while (gone_s := time.monotonic() - begun_s) < minutes * 60:
        try:
            board = teacher.board()
            if board["state"] == "done":  # the viewers' time is not: the last boat once more
                teacher.press("void", run_id=board["last"]["run_id"], reason="unfair", again="now")
            if teacher.go_on(board):
                threading.Event().wait(1.0)
            resident_mb = used(pid)[1]
        except OSError:
            resident_mb = memory[-1][1] if memory else 0.0
        if gone_s - last_s > 15 or not memory:
            memory.append((gone_s, resident_mb))
            last_s = gone_s
        threading.Event().wait(0.4)
    spent_s = used(pid)[0]
    stop.set()
    children = children_of(pid)
    each_mb = [used(pid)[1] - sum(used(int(child))[1] for child in children), *(used(int(c))[1] for c in children)]
    report(viewers, teacher, station, memory=memory, spent_s=spent_s, lasted_s=time.monotonic() - begun_s,
           each_mb=each_mb)  # fmt: skip


def report(
    viewers: list[Viewer], teacher: Teacher, station: Path, *, memory: list[tuple[float, float]], spent_s: float,
    lasted_s: float, each_mb: list[float],
) -> None:  # fmt: skip
    (one,) = lessons(station / "lessons")
    assert one.standing is not None
    late = finish_to_board_s(one, viewers)
    for attempt in one.standing.attempts:
        trial = one.path / "recordings" / attempt.run_id / "trial.json"
        flags = json.loads(trial.read_text(encoding="utf-8"))["flags"] if trial.exists() else ["no trial"]
        told = f"{statistics.median(late[attempt.run_id]):.2f} s" if attempt.run_id in late else ""
        print(
            f"  {attempt.run_id:4} team {attempt.team}  {attempt.closing!s:16} {attempt.status!s:16} {attempt.reason}"
            f"{told:>9}  {flags}"
        )
    if late_s := sorted(itertools.chain(*late.values())):
        print(spread_told(late_s))
    decided = sum(attempt.state == "decided" for attempt in one.standing.attempts)
    print(f"{len(viewers)} viewers, {lasted_s / 60:.1f} min, {decided} runs decided, {len(one.standing.owed)} owed; "
          f"{teacher.presses_count} presses; connections broken {sum(v.broken_count for v in viewers)}; "
          f"events a viewer {statistics.median(v.events_count for v in viewers):.0f}")  # fmt: skip
    print(
        f"processor {spent_s / lasted_s:.2f} of one core; memory " + ", ".join(f"{mb:.0f}" for _, mb in memory) + " MB"
    )
    print("memory of each process at the end:", ", ".join(f"{mb:.0f}" for mb in each_mb), "MB")
    for trouble in teacher.troubles:
        print("  refused:", trouble)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40, float(sys.argv[2]) if len(sys.argv) > 2 else 10.0)
