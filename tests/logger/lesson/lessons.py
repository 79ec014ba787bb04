"""An invented lesson, and an invented crew that does at once what it is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.quantity import Quantity
from logger.config import Boat, RunCard
from logger.lesson.crew import Job, Seen
from logger.lesson.desk import Desk
from logger.lesson.folder import LessonFolder
from logger.lesson.plan import LessonPlan, Team
from logger.lesson.proceedings import Proceedings
from logger.recording.folder import Event
from logger.records import Frame, KeyName
from logger.results.store import Store
from logger.results.trial import Result, Status, Trial

AT = "2026-05-04T10:15:00+02:00"


def plan(teams_count: int = 3, **fields: Any) -> LessonPlan:
    names = ("Kestrel", "Otter", "Plover", "Heron", "Newt", "Swift", "Teal", "Vole")
    teams = tuple(
        Team(number, names[number - 1], Boat(name=f"Boat {number}", mass_g=40.0 + number))
        for number in range(1, teams_count + 1)
    )
    return LessonPlan(**{"title": "Foil boats", "kind": "straight", "teams": teams, "repeats": 2} | fields)


def trial(run_id: str, *, time_s: float = 4.0, status: Status = "valid", **fields: Any) -> Trial:
    took = Result(Quantity.of(time_s, "s", u=0.01, source=f"clock of {run_id}"), "gate")
    return Trial(**{"run_id": run_id, "kind": "straight", "status": status, "crossings": (),
                    "results": {"time_s": took}, "end_reason": "finish"} | fields)  # fmt: skip


@dataclass
class Hands:
    """A crew without a rig: it notes what it is asked, and tells what the test wants."""

    store: Path
    desk: Desk | None = None
    job: Job | None = None
    pressed: list[KeyName] = field(default_factory=list)
    measured: list[str] = field(default_factory=list)
    doing: str = "rest"
    is_called_off: bool = False
    newest: Frame | None = None

    def expect(self, card: RunCard) -> None:
        self.expected = card

    def look_out(self, teams: Sequence[Team]) -> None:
        self.doing = "look out"

    def rest(self) -> None:
        self.doing = "rest"

    def begin(self, job: Job) -> None:
        self.job, self.is_called_off, self.doing = job, False, "run"

    def press(self, key: KeyName, detail: str = "") -> None:
        self.pressed.append(key)

    def call_off(self) -> None:
        self.is_called_off = True

    def measure(self, folder: Path) -> None:
        self.measured.append(folder.name.removesuffix(".unfinished"))

    def picture(self) -> Frame | None:
        return self.newest

    def close(self) -> None:
        self.doing = "gone"

    # ---- what happens -------------------------------------------------------------------------------------------

    @property
    def ear(self) -> Any:
        assert self.desk is not None
        return self.desk.ear

    def happens(self, *events: str, t_ns: int = 1_000) -> None:
        for event in events:
            name, _, detail = event.partition(":")
            self.ear.happened(Event(t_ns, name, "referee", detail))

    def sees(self, **beams: str) -> None:
        self.ear.seen(Seen(beams=beams, water="calm"))

    def keeps(self) -> None:
        """The recording is whole."""
        assert self.job is not None
        self.job.folder.mkdir(parents=True)
        self.ear.kept(self.job.folder)

    def finishes(self, made: Trial | None = None) -> None:
        """From armed to a kept and measured run."""
        assert self.job is not None
        self.happens("armed", "started", "ended:finish")
        self.keeps()
        self.tells(made or trial(self.job.card.id))

    def tells(self, made: Trial) -> None:
        """The trial is in the store."""
        with Store(self.store) as store:
            store.add(made, Path("anywhere"), boat=None if self.job is None else self.job.card.boat, at=AT)
        self.ear.measured(made.run_id, made, "")


def opened(parent: Path, made: LessonPlan | None = None) -> tuple[Desk, Hands, LessonFolder]:
    """A desk that leads a new lesson."""
    folder = LessonFolder.create(parent, made or plan(), at=AT)
    return (*led(folder), folder)


OPENED: list[LessonFolder] = []
"""Closed after each test (conftest.py)."""


def led(folder: LessonFolder) -> tuple[Desk, Hands]:
    """A desk that leads the lesson in `folder`."""
    OPENED.append(folder)
    clock = iter(range(1, 10**9))
    desk = Desk(Proceedings(now=lambda: AT, clock_ns=lambda: next(clock)))
    hands = Hands(folder.store, desk)
    desk.open(folder, hands)
    return desk, hands
