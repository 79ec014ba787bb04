"""The lessons of one rig: all of them, and the one that is led at the desk."""

from __future__ import annotations

import logging
import re
import shutil
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeAlias

from logger.errors import InputError, LoggerError, StoreError
from logger.lesson.crew import Crew
from logger.lesson.desk import Desk
from logger.lesson.folder import LOG, RECORDINGS, LessonFolder, Listed, lessons
from logger.lesson.plan import LessonPlan
from logger.lesson.standing import Standing
from logger.recording.erasing import erase_film, films
from logger.recording.line_log import read_lines
from logger.recording.masking import mask_film
from logger.web.language import _

log = logging.getLogger(__name__)

FOLDER = "lessons"
"""Beside the rig file."""
CrewMaker: TypeAlias = Callable[[Path, Desk], Crew]
"""Given the file where trials are kept and the desk: those who work the rig, and tell the desk's ear."""
RESTING = ("called", "done", "paused", "over")
"""States of a lesson in which nothing is recorded and nothing waits."""
TAKEN_UP = timedelta(hours=12)
"""A lesson in which something was noted so lately is taken up by itself when the pages are served anew."""
_PATIENCE_S = 10.0
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,60}")


@dataclass(frozen=True, slots=True)
class Film:
    """One film of a run."""

    path: Path
    size_bytes: int


class Lessons:
    """Begins, opens, leaves and forgets lessons; only one is led at a time."""

    def __init__(self, folder: Path, desk: Desk, *, crew: CrewMaker, now: Callable[[], datetime]) -> None:
        """Nothing is opened yet.

        Args:
            folder: where the lessons lie.
            desk: leads one of them.
            crew: makes those who work the rig.
            now: wall time.
        """
        self.folder, self.desk = folder, desk
        self._crew, self._now = crew, now
        self._lock = threading.Lock()
        self._masking: threading.Thread | None = None
        self._is_shut = threading.Event()

    def every(self) -> list[Listed]:
        """All that are kept, the newest first."""
        return lessons(self.folder)

    def path(self, name: str) -> Path:
        """The folder of that name. InputError: there is no such lesson."""
        path = self.folder / name
        if not _NAME.fullmatch(name) or not path.is_dir():
            raise InputError(f"there is no lesson {name[:60]!r}; see the list of lessons")
        return path

    def begin(self, plan: LessonPlan) -> None:
        """Make a new lesson and lead it; the one before is left. InputError or StoreError: why not."""
        with self._lock:
            self._leave()
            self._lead(LessonFolder.create(self.folder, plan, at=self._now().isoformat(timespec="seconds")))

    def open(self, name: str) -> None:
        """Lead a lesson that was begun earlier; the one before is left. InputError or StoreError: why not."""
        path = self.path(name)
        with self._lock:
            if self.desk.folder is not None and self.desk.folder.path == path:
                return
            self._leave()
            self._lead(LessonFolder(path))

    def take_up(self) -> None:
        """Go on with the newest lesson, if it is not over and was led in the last hours: after a power cut, say."""
        newest = next(iter(self.every()), None)
        if newest is None or newest.standing is None or newest.standing.is_over:
            return
        said_at = self._last_said(newest)
        if said_at is not None and abs(self._now() - said_at) <= TAKEN_UP:
            try:
                self.open(newest.path.name)
            except LoggerError as error:
                log.warning("%s", error)

    def leave(self) -> None:
        """Close the one that is led; it can be opened again. InputError: a run is under way."""
        with self._lock:
            self._leave()
        self.sweep()
        self.mask()

    def shut(self) -> None:
        """The pages are shut: give the devices back. A run under way is kept as far as it has come."""
        self._is_shut.set()
        self.masked()
        with self._lock:
            folder = self.desk.folder
            with suppress(LoggerError):
                self._leave()
            if folder is not None:
                folder.close()

    def forget(self, name: str) -> None:
        """Erase a lesson with everything in it. InputError: it is led. StoreError: it could not be erased."""
        path = self.path(name)
        with self._lock:
            if self.desk.folder is not None and self.desk.folder.path == path:
                raise InputError("this lesson is open; close it first")
            try:
                shutil.rmtree(path)
            except OSError as error:
                raise StoreError(f"{path}: cannot be erased whole ({error.strerror}); try again") from error

    def films(self, name: str) -> list[Film]:
        """The films that a lesson has still."""
        return [Film(path, path.stat().st_size) for path in films(self.path(name) / RECORDINGS)]

    def erase_films(self, name: str) -> None:
        """Erase them now. InputError: a run is under way. StoreError: one could not be erased."""
        path = self.path(name)
        with self._lock:
            is_led = self.desk.folder is not None and self.desk.folder.path == path
            if is_led and self.desk.board().state not in RESTING:
                raise InputError(_("a run is under way or waits; erase the films when all is decided"))
            for film in films(path / RECORDINGS):
                erase_film(film)

    def sweep(self) -> None:
        """Erase the films whose time has come, of lessons that are over and not open; trouble is only noted down."""
        with self._lock:
            led = self.desk.folder.path if self.desk.folder is not None else None
            for one in self.every():
                if one.path != led and one.standing is not None and self._is_due(one, one.standing):
                    for film in films(one.path / RECORDINGS):
                        try:
                            erase_film(film)
                        except StoreError as error:
                            log.warning("%s", error)

    def mask(self) -> None:
        """Black out, in a thread, what films that are still kept show beside the water, of lessons that are over."""
        with self._lock:
            if self._masking is not None and self._masking.is_alive():
                return
            self._masking = threading.Thread(target=self._mask, name="masking", daemon=True)
            self._masking.start()

    def masked(self) -> None:
        """Wait until that thread has ended, at most for some seconds."""
        if self._masking is not None:
            self._masking.join(_PATIENCE_S)

    def _mask(self) -> None:
        for one in self.every():
            if one.standing is None or not one.standing.is_over:
                continue
            for film in films(one.path / RECORDINGS):
                if not self._may_mask(one.path):
                    break
                try:
                    mask_film(film.parent, goes_on=lambda path=one.path: self._may_mask(path))  # type: ignore[misc]
                except (LoggerError, ValueError) as error:  # ValueError: a calibration that cannot be read
                    log.warning("%s", error)

    def _may_mask(self, path: Path) -> bool:
        """Whether the pages are served still, and that lesson has not been opened meanwhile."""
        folder = self.desk.folder
        return not self._is_shut.is_set() and (folder is None or folder.path != path)

    def _is_due(self, one: Listed, standing: Standing) -> bool:
        days = standing.plan.keep_pictures_days
        if not standing.is_over:
            return False
        ended = self._last_said(one)
        return days == 0 or (ended is not None and self._now() - ended >= timedelta(days=days))

    def _last_said(self, one: Listed) -> datetime | None:
        try:
            found = datetime.fromisoformat(str(read_lines(one.path / LOG)[-1].get("at", "")))
        except (LoggerError, ValueError, IndexError):
            return None
        return found if found.tzinfo is not None else None

    def _leave(self) -> None:
        folder = self.desk.folder
        if folder is not None:
            self.desk.close()
            folder.close()

    def _lead(self, folder: LessonFolder) -> None:
        crew = self._crew(folder.store, self.desk)
        try:
            self.desk.open(folder, crew)
        except BaseException:
            crew.close()
            folder.close()
            raise
