"""Recordings are measured in a process of its own, so that neither pages nor the next run wait for it."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

from logger.child import end_with_parent
from logger.errors import LoggerError
from logger.recording.folder import load
from logger.results.kept import keep
from logger.results.measure import conclude, measure
from logger.results.store import Store
from logger.results.trial import Trial
from logger.results.trial_json import from_json, to_json

_LESS_URGENT = 5
"""By so much the process stands back behind pages and drivers (nice)."""
Told = Callable[[str, Trial | None, str], None]


def first_trial(folder: Path) -> Trial:
    """What a recording comes to without looking at its pictures; takes no longer than reading its tables.

    Raises:
        InputError: it cannot be read.
    """
    recording = load(folder)
    return conclude(replace(recording, video=None, stamps=None), recording.rig, None).trial


def measured(folder: Path, store: Path, at: str) -> tuple[str, str]:
    """Measure a recording, keep the trial beside it and in the store: (trial as JSON, why there is none)."""
    try:
        recording = load(folder)
        outcome = measure(recording)
        keep(recording, outcome)
        with Store(store) as opened:
            opened.add(outcome.trial, folder.resolve(), boat=recording.card.boat, at=at)
    except LoggerError as error:
        return "", str(error)
    return to_json(outcome.trial), ""


class Measuring:
    """The process that measures, one recording after the other."""

    def __init__(self, store: Path, *, now: Callable[[], str], told: Told) -> None:
        self._store, self._now, self._told = store, now, told
        self._pool: ProcessPoolExecutor | None = None

    def begin(self, folder: Path, run_id: str) -> None:
        """Measure a recording; what comes of it is told."""
        done = self._opened().submit(measured, folder, self._store, self._now())
        done.add_done_callback(lambda future: self._tell(run_id, future))

    def warm_up(self) -> None:
        """Have the process load what it needs, so that the first run does not wait for that."""
        self._opened().submit(_stand_ready)

    def _opened(self) -> ProcessPoolExecutor:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_stand_back)
        return self._pool

    def close(self) -> None:
        """Do not begin anything more; what is being measured is ended."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def _tell(self, run_id: str, done: Future[tuple[str, str]]) -> None:
        if done.cancelled():
            return
        error = done.exception()
        if error is not None:
            self._pool = None  # the process was killed, as a rule for want of memory; the next one has another
            self._told(run_id, None, f"measuring broke off ({type(error).__name__}); measure the recording again")
            return
        text, why = done.result()
        self._told(run_id, from_json(text, where=run_id) if text else None, why)


def _stand_back() -> None:
    end_with_parent()
    with suppress(OSError):
        os.nice(_LESS_URGENT)


def _stand_ready() -> None:
    """Being here means that this module, and with it all that measures, is loaded."""
