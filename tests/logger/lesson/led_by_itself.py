"""A lesson that leads itself, in a process that may be killed: `python led_by_itself.py RIG LESSON`.

Where it goes on is printed first: `open called 2` (team 2's turn) or `open deciding r3`. Then whatever is safe by its
promise is printed at once: `kept r3` when a run is on the disk, `decided r3` when its decision
is, `done` when no turn is owed any more.
"""

from __future__ import annotations

import sys
import threading
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from logger.errors import InputError
from logger.lesson.board import Board
from logger.lesson.desk import Desk
from logger.lesson.folder import LessonFolder
from logger.lesson.proceedings import Proceedings
from logger.lesson.rig_crew import RigCrew

NOTHING_CAME_S = 25.0
"""On a computer that hardly gets on, the invented boat may be gone before the rig is armed; people call such a run off
and put the boat in again."""


def now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


def lead(rig_file: Path, lesson: Path) -> None:
    folder = LessonFolder(lesson)
    desk = Desk(Proceedings(now=now, clock_ns=time.monotonic_ns))
    changed = threading.Event()
    desk.listen(lambda _: changed.set())
    desk.open(folder, RigCrew(rig_file, told=desk.ear, store=folder.store, now=now))
    print(f"open {_place(desk.board())}", flush=True)
    while (board := desk.board()).state != "done" or not _all_measured(desk):
        changed.clear()
        with suppress(InputError):  # a beam is blocked as yet, or it has gone on meanwhile
            _go_on(desk, board)
        changed.wait(0.1)
    desk.close()
    print("done", flush=True)


def _place(board: Board) -> str:
    if board.state == "deciding" and board.last is not None:
        return f"deciding {board.last.run_id}"
    return f"{board.state} {board.who.team if board.who is not None else ''}".strip()


def _go_on(desk: Desk, board: Board) -> None:
    if board.state == "called" and set(board.beams.values()) == {"clear"}:
        desk.arm()
    elif board.state == "armed" and time.monotonic() - board.since_ns / 1e9 > NOTHING_CAME_S:
        desk.stop()
    elif board.state == "deciding" and desk.standing is not None and desk.standing.open_attempt is not None:
        attempt = desk.standing.open_attempt
        print(f"kept {attempt.run_id}", flush=True)
        is_whole = attempt.closing == "finish"
        desk.decide(
            "valid" if is_whole else "void", reason="" if is_whole else "power", again="no" if is_whole else "now"
        )
        print(f"decided {attempt.run_id}", flush=True)


def _all_measured(desk: Desk) -> bool:
    standing = desk.standing
    return standing is not None and all(
        desk.trial(a.run_id) is not None for a in standing.attempts if a.closing == "finish"
    )


if __name__ == "__main__":
    lead(Path(sys.argv[1]), Path(sys.argv[2]))
