"""THE loop: records come in, a trial comes out. Live, replay and practice are the same code with other drivers.

    drivers -> inbox -> line (settled -> journal -> referee) -> measure -> store

Nothing flows back up. What happens to each record stands in line.py; here are the threads, the end, and the trial.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from time import monotonic as clock_s
from time import monotonic_ns as clock_ns
from typing import Any

from logger.drivers.interface import Driver, Panel
from logger.recording.folder import Event, load
from logger.recording.journal import Journal
from logger.records import Fault, Frame
from logger.results.measure import Outcome, measure
from logger.results.store import Store
from logger.results.trial import Trial
from logger.station import fitness, lamp
from logger.station.inbox import Ended, Fill, Inbox
from logger.station.line import Line, LiveTracker, Plan

log = logging.getLogger(__name__)

TICK_S = 0.1
"""How often the loop looks for sources that are slow or have fallen silent."""
SAFE_AFTER_S = 0.25
"""Live: a record that waited this long for its turn is written at once; so all are, within twice this time."""
STOP_S = 2.0
"""How long a driver may take to come to its end before we go on without it."""
FRAMES_BEHIND_COUNT = 2
"""Live: with more pictures than this waiting, the tracker is not shown the older ones. All are recorded."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What one run left on the disk."""

    recording: Path
    history: tuple[Event, ...]
    fill: Fill
    frames_untracked_count: int
    """Pictures that the live tracker was not shown because it could not keep up."""


@dataclass(frozen=True, slots=True)
class Ran(Recorded):
    """What one run left behind, and what it came to."""

    outcome: Outcome


def run(
    plan: Plan,
    drivers: Sequence[Driver[Any]],
    *,
    tracker: LiveTracker | None = None,
    store: Store | None = None,
    show: Callable[[Event | Trial], None] = lambda _: None,
    wall_time: Callable[[], str] = lambda: "",
) -> Ran:
    """Record one run from these drivers until the referee ends it, measure it, and store its trial.

    Args:
        plan: What is to be run.
        drivers: Not opened yet; each has a name of its own. This call opens and closes them and owns their threads.
        tracker: Tells the referee live where the boat is; without it beams and people decide.
        store: Where the trial is kept.
        show: Is told of every decision, and of the trial.
        wall_time: Says when the trial was stored, RFC 3339.

    Raises:
        DriverError: a device cannot be opened, or finds itself unfit. Nothing was recorded then.
        StoreError: the recording or the trial cannot be kept.
        InputError: the recording cannot be measured.
    """
    done = record(plan, drivers, tracker=tracker, show=show)
    outcome = measure(load(plan.folder))
    if store is not None:
        store.add(outcome.trial, plan.folder.resolve(), boat=plan.card.boat, at=wall_time())
    show(outcome.trial)
    return Ran(done.recording, done.history, done.fill, done.frames_untracked_count, outcome)


def record(
    plan: Plan,
    drivers: Sequence[Driver[Any]],
    *,
    tracker: LiveTracker | None = None,
    show: Callable[[Event], None] = lambda _: None,
    opened: Callable[[], None] = lambda: None,
    enough: threading.Event | None = None,
) -> Recorded:
    """Record one run from these drivers until the referee ends it, or until `enough` is set.

    Args:
        plan: What is to be run.
        drivers: As for `run`.
        tracker: As for `run`.
        show: Is told of every decision.
        opened: Called once every device is open and fit, and the recording has begun.
        enough: Set by somebody who wants the recording to end, whatever the run is at.

    Raises:
        DriverError, StoreError: as `run`.
    """
    with ExitStack() as stack:
        for driver in drivers:
            stack.enter_context(driver)
        doubtful = fitness.events(fitness.self_tests(drivers), t_ns=clock_ns())
        journal = Journal(
            plan.folder, card=plan.card, rig=plan.rig, calibration=plan.calibration, kept_view=plan.kept_view,
            is_live=plan.is_live,
        )  # fmt: skip
        stack.enter_context(journal)
        opened()
        for event in doubtful:
            journal.keep(event)
            show(event)
        with_lamps = _with_lamps(show, [driver for driver in drivers if isinstance(driver, Panel)])
        stop = threading.Event() if enough is None else enough
        line, fill = _record(plan, drivers, journal=journal, tracker=tracker, show=with_lamps, stop=stop)
    for event in journal.news():  # of the last second
        show(event)
    return Recorded(plan.folder, line.history, fill, line.frames_untracked_count)


def _with_lamps(show: Callable[[Event], None], panels: Sequence[Panel]) -> Callable[[Event], None]:
    """`show` that lets the panels' lamps say it too, beginning with "ready"."""
    for panel in panels:
        panel.show(lamp.AT_FIRST)

    def told(event: Event) -> None:
        if (shown := lamp.shown_after(event)) is not None:
            for panel in panels:
                panel.show(shown)
        show(event)

    return told


def _record(
    plan: Plan,
    drivers: Sequence[Driver[Any]],
    *,
    journal: Journal,
    tracker: LiveTracker | None,
    show: Callable[[Event], None],
    stop: threading.Event,
) -> tuple[Line, Fill]:
    names = [driver.name for driver in drivers]
    inbox = Inbox(names)

    def is_behind(frame: Frame) -> bool:
        return plan.is_live and inbox.frames_waiting(frame.source) > FRAMES_BEHIND_COUNT

    line = Line(plan, sources=names, journal=journal, tracker=tracker, show=show, is_behind=is_behind)
    threads = [threading.Thread(target=_listen, args=(d, inbox, stop), name=d.name, daemon=True) for d in drivers]
    for thread in threads:
        thread.start()
    try:
        written_s = clock_s()
        while not line.is_over:
            arrived = inbox.take(TICK_S)
            inbox.release(line.feed_all([one for one in arrived if not isinstance(one, Ended)]))
            for source in [one.source for one in arrived if isinstance(one, Ended)]:
                inbox.release(line.end(source))
            for source in inbox.silent(round(plan.silent_after_s * 1e9)):
                inbox.release(line.lose(source, plan.silent_after_s))
            line.listen_to_recorder()
            if plan.is_live and clock_s() - written_s > SAFE_AFTER_S:
                inbox.release(line.write_waiting())
                written_s = clock_s()
    finally:
        stop.set()
        inbox.close()
        for thread in threads:
            thread.join(STOP_S)
            if thread.is_alive():
                log.warning("driver %s did not stop within %g s", thread.name, STOP_S)
    return line, inbox.fill


def _listen(driver: Driver[Any], inbox: Inbox, stop: threading.Event) -> None:
    """One driver's thread. An exception of a driver is a fault of the driver; it arrives as one, and is logged."""
    last_ns = 0
    try:
        for record in driver.records(stop):
            last_ns = record.t_ns
            if not inbox.put(record):
                return
    except Exception as error:
        log.exception("driver %s failed", driver.name)
        what = f"the driver failed ({type(error).__name__}: {error})"
        inbox.put(Fault(last_ns + 1, driver.name, what, "report this driver", since_ns=last_ns, lasting=True))
    finally:
        inbox.end(driver.name)
