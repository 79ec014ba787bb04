"""Those who work the real rig (or a simulated one): one thread that watches it between runs and records the runs.

    orders (from the desk) --> [ look out | record one run | rest ] --> told (to the desk)

The devices are opened anew for every run, and by the lookout between runs; so each run is recorded just as
`boatrun record` does it, and a device that was unplugged meanwhile says so before the next one.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from logger.config import BY_HAND, Rig, RunCard
from logger.drivers import drivers_of
from logger.drivers.desk_panel import DeskPanel
from logger.drivers.interface import Driver, Peopled
from logger.errors import LoggerError
from logger.lesson.crew import Job, Seen, Told
from logger.lesson.first_figures import live_results
from logger.lesson.lookout import Lookout
from logger.lesson.measuring import Measuring, first_trial
from logger.lesson.plan import Team
from logger.lesson.planned import is_simulated, plan_of, tracker_of
from logger.recording.folder import Event
from logger.recording.journal import Journal
from logger.recording.recovery import ENDING
from logger.recording.rig_toml import read_rig
from logger.records import Fix, Frame, KeyName
from logger.results.trial import Result, Trial
from logger.station import rig as station
from logger.station.line import LiveTracker

log = logging.getLogger(__name__)

ARM_AFTER_S = 0.3
"""After the devices were opened: by then the gates have said which beams are broken from the beginning."""
DESK = "desk"
"""Source of what was pressed on pages."""
_CLOSE_S = 30.0


class RigCrew:
    """Works the rig of one rig file. Calls return at once; see crew.Crew."""

    def __init__(self, rig_file: Path, *, told: Told, store: Path, now: Callable[[], str]) -> None:
        """Start the thread; nothing is opened yet.

        Args:
            rig_file: rig.toml; it is read anew before every run.
            told: is told what happens.
            store: where trials are kept.
            now: wall time, RFC 3339.
        """
        self._rig_file, self._told = rig_file, told
        self._measuring = Measuring(store, now=now, told=told.measured)
        self._orders: queue.SimpleQueue[Job | str] = queue.SimpleQueue()
        self._ordered = threading.Event()
        self._enough = threading.Event()
        self._is_looking = False
        self._desk = DeskPanel(name=DESK)
        self._rig: Rig | None = None
        self._drivers: list[Driver[Any]] = []
        self._fixes: list[Fix] = []
        self._picture: Frame | None = None
        self._expected: RunCard | None = None
        self._thread = threading.Thread(target=self._work, name="crew", daemon=True)
        self._thread.start()
        self._measuring.warm_up()

    def expect(self, card: RunCard) -> None:
        """This is the next boat. Only an invented crew of a simulated rig needs to know."""
        self._expected = card
        self._tell_invented_crew()

    def _tell_invented_crew(self) -> None:
        for driver in self._drivers:
            if self._expected is not None and isinstance(driver, Peopled):
                driver.expect(self._expected)

    def look_out(self, teams: Sequence[Team]) -> None:
        """Watch the rig between two runs."""
        if not self._is_looking:
            self._order("look out")

    def rest(self) -> None:
        """Let go of every device."""
        self._order("rest")

    def begin(self, job: Job) -> None:
        """Record one run, and measure it."""
        self._enough.clear()
        self._order(job)

    def press(self, key: KeyName, detail: str = "") -> None:
        """A person pressed this during the run."""
        self._desk.press(key, detail)
        if key == "go":
            for driver in self._drivers:
                if isinstance(driver, Peopled):
                    driver.go(time.monotonic_ns())

    def call_off(self) -> None:
        """Bring the recording to its end."""
        self._enough.set()

    def measure(self, folder: Path) -> None:
        """Measure a recording that was kept earlier."""
        self._measuring.begin(folder, _run_id(folder))

    def picture(self) -> Frame | None:
        """The newest picture that the rig's camera sent; None: none yet."""
        return self._picture

    def close(self) -> None:
        """Let go of everything, for good."""
        self._enough.set()
        self._order("close")
        self._thread.join(_CLOSE_S)
        self._measuring.close()

    # ---- the thread ---------------------------------------------------------------------------------------------

    def _order(self, order: Job | str) -> None:
        self._is_looking = order == "look out"
        self._orders.put(order)
        self._ordered.set()

    def _work(self) -> None:
        while True:
            order = self._orders.get()
            self._ordered.clear()  # whoever orders from now on sets it again, so that looking out ends
            if order == "close":
                return
            if isinstance(order, Job):
                self._record(order)
            elif order == "look out" and self._orders.empty():
                self._look_out()

    def _look_out(self) -> None:
        try:
            rig = self._opened_rig()
        except LoggerError as error:
            self._is_looking = False
            self._told.seen(Seen(beams={}, troubles=(str(error),)))
            return
        lookout = Lookout(
            rig, self._drivers, rig_file=self._rig_file, tell=self._told.seen, pressed=self._told.pressed,
            pictured=self._pictured,
        )  # fmt: skip
        if self._orders.empty():
            lookout.watch(self._ordered)

    def _opened_rig(self) -> Rig:
        """The rig as its file says now, and its devices; those stay the same objects while the file says the same."""
        rig = read_rig(self._rig_file)
        if rig != self._rig or not self._drivers:
            self._drivers = drivers_of(rig, place=str(self._rig_file))
            self._rig = rig
            self._tell_invented_crew()
        return rig

    def _record(self, job: Job) -> None:
        try:
            history = self._kept_by_hand(job) if job.card.kind in BY_HAND else self._run(job)
        except LoggerError as error:
            self._told.failed(str(error))
            return
        except Exception as error:
            log.exception("run %s", job.card.id)
            self._told.failed(f"a fault of the program ({type(error).__name__}: {error})")
            return
        self._told.kept(job.folder)
        if any(event.event in ("started", "passed_mark") for event in history):
            self._guess(job, history)
            self._measuring.begin(job.folder, job.card.id)
        elif job.card.kind in BY_HAND:
            self._measuring.begin(job.folder, job.card.id)

    def _kept_by_hand(self, job: Job) -> tuple[Event, ...]:
        """A test that no device sees: a recording of its card alone, to which people's counts belong."""
        rig = replace(read_rig(self._rig_file), camera=None)
        card = replace(job.card, simulated=job.card.simulated or is_simulated(rig))
        ended = Event(time.monotonic_ns(), "ended", DESK, "entered_by_hand")
        with Journal(job.folder, card=card, rig=rig, is_live=True) as journal:
            journal.keep(ended)
        self._told.happened(ended)
        return (ended,)

    def _run(self, job: Job) -> tuple[Event, ...]:
        """Record it; what the referee decided."""
        rig = self._opened_rig()
        card = replace(job.card, simulated=job.card.simulated or is_simulated(rig))
        plan = plan_of(card, rig, self._rig_file, job.folder, begin=job.begin)
        tracker = tracker_of(plan, self._rig_file)
        self._fixes, history = [], list[Event]()

        def show(event: Event) -> None:
            self._told.happened(event)
            history.append(event)
            if event.event == "ended":
                self._tell_first(job, rig, history)

        self._launch(card, on_go=job.begin == "on_go")
        arm = threading.Timer(ARM_AFTER_S, self._desk.press, ("arm",))

        try:
            done = station.record(
                plan, [*self._drivers, self._desk],
                tracker=None if tracker is None else _Watched(tracker, self._seen, self._pictured),
                show=show, opened=arm.start, enough=self._enough,
            )  # fmt: skip
        finally:
            arm.cancel()
        return done.history

    def _launch(self, card: RunCard, *, on_go: bool) -> None:
        """An invented tank is told what people do at a real one."""
        peopled = [driver for driver in self._drivers if isinstance(driver, Peopled)]
        for driver in peopled:
            driver.launch(card)
        t_ns = time.monotonic_ns()
        for driver in peopled:
            driver.set_off(t_ns, on_go=on_go)

    def _pictured(self, frame: Frame) -> None:
        self._picture = frame

    def _seen(self, fix: Fix) -> None:
        if fix.quality == "measured":
            self._fixes.append(fix)
            self._told.located(fix)

    def _tell_first(self, job: Job, rig: Rig, history: Sequence[Event]) -> None:
        """What the referee knows as the run ends: a recording may wait for seconds until a beam is clear again."""
        if found := live_results(rig, history, self._fixes):
            self._told.guessed(job.card.id, Trial(job.card.id, job.card.kind, "valid", (), found))

    def _guess(self, job: Job, history: Sequence[Event]) -> None:
        """Tell what can be told at once: what the gates say, else what the live tracker saw."""
        assert self._rig is not None  # noqa: S101 - it has just been used
        try:
            trial = first_trial(job.folder)
        except LoggerError as error:
            log.warning("first figures of %s: %s", job.card.id, error)
            return
        self._told.guessed(job.card.id, _with(trial, live_results(self._rig, history, self._fixes)))


class _Watched:
    """A tracker whose pictures and fixes somebody else sees as well."""

    def __init__(self, tracker: LiveTracker, seen: Callable[[Fix], None], pictured: Callable[[Frame], None]) -> None:
        self._tracker, self._seen, self._pictured = tracker, seen, pictured

    def feed(self, frame: Frame) -> Fix | None:
        """As the tracker."""
        self._pictured(frame)
        fix = self._tracker.feed(frame)
        if fix is not None:
            self._seen(fix)
        return fix


def _with(trial: Trial, live: Mapping[str, Result]) -> Trial:
    """What the gates tell goes before what was only seen live."""
    return replace(trial, results={**live, **trial.results})


def _run_id(folder: Path) -> str:
    return folder.name.removesuffix(ENDING)
