"""The program is killed at any instant: what was told to be safe is there, and the lesson goes on where it was."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from logger.lesson.folder import LessonFolder, lessons
from logger.lesson.standing import Standing
from tests.logger.lesson.lessons import AT, plan
from tests.logger.lesson.practice import rig_file
from tests.test_house import PROJECT

SCRIPT = Path(__file__).with_name("led_by_itself.py")
PATIENCE_S = 240.0
RUN_S = 9.0
"""A run takes less, from arming to the decision."""
STARTING_SHARE, STARTING_S = 0.2, 1.5
"""So many of the kills hit a program that is still starting."""


class Led:
    """The process, and what it has promised."""

    def __init__(self, rig: Path, lesson: Path) -> None:
        quiet = "ignore::UserWarning"  # of a helper of multiprocessing, about what a killed program leaves behind
        environment = {**os.environ, "PYTHONPATH": str(PROJECT), "PYTHONWARNINGS": quiet}
        self.process = subprocess.Popen(
            [sys.executable, str(SCRIPT), str(rig), str(lesson)], stdout=subprocess.PIPE, text=True, env=environment
        )
        self.promised: list[str] = []
        self.opened, self._reader = threading.Event(), threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.endswith("\n"):
                self.promised.append(line.strip())
                self.opened.set()
        self.process.stdout.close()
        self.opened.set()

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.end()

    def end(self, *, patience_s: float = PATIENCE_S) -> None:
        self.process.wait(patience_s)
        self._reader.join(PATIENCE_S)


def standing_of(folder: Path) -> Standing:
    (one,) = lessons(folder)
    assert one.standing is not None, one.trouble
    return one.standing


def killed_often(
    folder: Path, *, kills_count: int, teams_count: int, repeats: int = 1, seed: int
) -> tuple[Standing, int]:
    """Lead a lesson through so many kills and to its end; where it stands then, and how many promises were kept.

    Whenever it is opened again it goes on exactly where its log says that it was.
    """
    rig = rig_file(folder)
    made = LessonFolder.create(folder / "lessons", plan(teams_count, repeats=repeats), at=AT)
    made.close()
    chance, promised = random.Random(seed), 0  # noqa: S311 - times of power cuts
    for _ in range(kills_count):
        place = place_of(folder / "lessons")
        led = Led(rig, made.path)
        if chance.random() < STARTING_SHARE:
            threading.Event().wait(chance.uniform(0.0, STARTING_S))
        else:
            led.opened.wait(PATIENCE_S)
            threading.Event().wait(chance.uniform(0.0, RUN_S))
        led.kill()
        promised += hold(led.promised, standing_of(folder / "lessons"), place)
        if "done" in led.promised:
            break
    place = place_of(folder / "lessons")
    last = Led(rig, made.path)
    last.end(patience_s=PATIENCE_S + len(standing_of(folder / "lessons").owed) * 3 * RUN_S)
    assert last.promised[-1] == "done"
    promised += hold(last.promised, standing_of(folder / "lessons"), place)
    return standing_of(folder / "lessons"), promised


def place_of(folder: Path) -> str:
    """Where a lesson that was killed so must go on: the run that was cut short or waits is decided, unless nothing of
    it was recorded yet; else who is next is called."""
    (one,), standing = lessons(folder), standing_of(folder)
    waiting = standing.open_attempt or next((one for one in standing.attempts if one.closing is None), None)
    if waiting is not None:
        recording = one.path / "recordings" / waiting.run_id
        has_begun = recording.exists() or recording.with_name(f"{waiting.run_id}.unfinished").exists()
        return f"deciding {waiting.run_id}" if has_begun else f"called {waiting.team}"
    turn = standing.next_turn
    return "done" if turn is None else f"called {turn.team}"


def hold(promised: list[str], standing: Standing, place: str) -> int:
    """Whether it went on at `place` and everything promised is in the log; how many promises there were."""
    if promised:
        assert promised[0] == f"open {place}"
    for line in promised:
        what, _, run_id = line.partition(" ")
        attempt = standing.attempt(run_id)
        if what == "kept":
            assert attempt is not None
            assert attempt.closing is not None
        if what == "decided":
            assert attempt is not None
            assert attempt.status is not None
    return sum(line.startswith(("kept", "decided")) for line in promised)


@pytest.mark.parametrize("seed", [1])
def test_nothing_that_was_safe_is_lost_and_every_team_gets_its_run(tmp_path: Path, seed: int) -> None:
    standing, promised = killed_often(tmp_path, kills_count=3, teams_count=2, seed=seed)
    counted = [attempt for attempt in standing.attempts if attempt.status == "valid"]
    assert sorted(attempt.team for attempt in counted) == [1, 2]
    assert all(attempt.state in ("decided", "no_run") for attempt in standing.attempts)
    assert promised >= 4
    stored = {one.trial.run_id: one.status for one in _stored(tmp_path)}
    assert all(stored[attempt.run_id] == "valid" for attempt in counted)


def _stored(folder: Path) -> list:  # type: ignore[type-arg]
    (one,) = lessons(folder / "lessons")
    opened = LessonFolder(one.path)
    try:
        return opened.stored()
    finally:
        opened.close()
