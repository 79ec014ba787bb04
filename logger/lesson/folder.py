"""One lesson's folder: everything of it is in there, so it can be copied as a whole and forgotten as a whole.

lesson.jsonl      the log of what was done and decided: the truth of the lesson
recordings/       one folder a run, as the recorder left it, with its trial
trials.sqlite     the store of its trials and of what was decided about them, for study and files
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from logger.errors import InputError, LoggerError, StoreError
from logger.lesson import counted
from logger.lesson.entries import Entry, Planned, Said, entry_from_table, entry_table
from logger.lesson.plan import LessonPlan
from logger.lesson.standing import Attempt, Standing, fold
from logger.recording.hand_counts import write_counts
from logger.recording.line_log import LineLog, read_lines
from logger.recording.recovery import unfinished_name
from logger.results.store import Correction, Store, Stored
from logger.results.trial import Trial
from logger.settings import sync_folder

LOG, RECORDINGS, TRIALS = "lesson.jsonl", "recordings", "trials.sqlite"
WHO = "teacher"
"""The role that decides in a lesson, for the log of the store."""


class LessonFolder:
    """An opened lesson: its log for writing, its store for looking."""

    def __init__(self, path: Path) -> None:
        """Open the lesson in `path`.

        Raises:
            InputError: there is none, or its log cannot be read.
            StoreError: another program leads it.
        """
        self.path = path
        if not (path / LOG).is_file():
            raise InputError(f"{path}: there is no {LOG} in it; give the folder of a lesson")
        self._log = LineLog(path / LOG)
        try:
            self._entries = [entry_from_table(table, file=str(path / LOG)) for table in self._log.tables]
            self._standing = fold(self._entries)
        except BaseException:
            self._log.close()
            raise

    @classmethod
    def create(cls, parent: Path, plan: LessonPlan, *, at: str) -> LessonFolder:
        """Begin a lesson in a new folder of `parent`, named by its date and title.

        Raises:
            StoreError: it cannot be made.
        """
        path = parent / _free_name(parent, f"{at[:10]}-{_plain(plan.title)}")
        try:
            (path / RECORDINGS).mkdir(parents=True)
            sync_folder(path)
            sync_folder(parent)
        except OSError as error:
            raise StoreError(f"{path}: cannot be made ({error.strerror}); check the folder and its rights") from error
        with LineLog(path / LOG) as log:
            log.append(entry_table(Entry(1, at, Planned(plan))))
        return cls(path)

    @property
    def name(self) -> str:
        """Of the folder."""
        return self.path.name

    @property
    def store(self) -> Path:
        """The store's file."""
        return self.path / TRIALS

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The log so far."""
        return tuple(self._entries)

    def standing(self) -> Standing:
        """Where it stands."""
        return self._standing

    def say(self, said: Said, *, at: str) -> Standing:
        """Write it into the log; on return it is on the disk. Returns where the lesson stands then.

        Raises:
            InputError: it could not be read again.
            StoreError: it could not be written; nothing has changed.
        """
        entry = Entry(self._entries[-1].number + 1, at, said)
        table = entry_table(entry)
        entries = [*self._entries, entry_from_table(table, file=self.name)]
        standing = fold(entries)
        self._log.append(table)
        self._entries, self._standing = entries, standing
        return standing

    def recording(self, run_id: str) -> Path:
        """Where the recording of a run stands or is to stand; where a power cut left it, if that is so."""
        path = self.path / RECORDINGS / run_id
        left = unfinished_name(path)
        return left if left.exists() and not path.exists() else path

    def trials(self) -> Mapping[str, Trial]:
        """Every run that was measured, by its name."""
        return {one.trial.run_id: one.trial for one in self.stored()}

    def stored(self) -> list[Stored]:
        """Every run that was measured, as the store has it. StoreError: it cannot be read."""
        if not self.store.exists():
            return []
        with Store(self.store, read_only=True) as store:
            return store.runs()

    def mirror(self, *, at: str) -> None:
        """Let the store say of its runs what the log says. StoreError: it cannot be read or written."""
        stored = {one.trial.run_id: one for one in self.stored()}
        behind = [
            correction
            for attempt in self._standing.attempts
            if attempt.run_id in stored
            for correction in _corrections(attempt, stored[attempt.run_id], self._standing, at=at)
        ]
        if behind:
            with Store(self.store) as store:
                for correction in behind:
                    store.correct(correction)

    def count(self, attempt: Attempt, trial: Trial | None) -> bool:
        """Let the recording of an attempt say what was counted by hand in it, as the log has it.

        Returns:
            Whether it has to be measured again for that.

        Raises:
            StoreError: it cannot be written; the log has it all the same.
        """
        folder = self.recording(attempt.run_id)
        if not folder.is_dir():
            return False
        try:
            is_new = write_counts(folder, {str(word): count for word, count in attempt.counts.items()})
        except OSError as error:
            raise StoreError(
                f"{folder}: what was counted cannot be written there ({error.strerror}); free some space, count again"
            ) from error
        return is_new or (trial is not None and not counted.agrees(trial, attempt.counts))

    def close(self) -> None:
        """Give the log back. May be called twice."""
        self._log.close()


@dataclass(frozen=True, slots=True)
class Listed:
    """A lesson among others."""

    path: Path
    title: str
    began_at: str
    standing: Standing | None
    trouble: str = ""
    """Why it cannot be opened."""


def lessons(parent: Path) -> list[Listed]:
    """The lessons in `parent`, the newest first; those that cannot be read say why."""
    found = [_listed(path.parent) for path in parent.glob(f"*/{LOG}")] if parent.is_dir() else []
    return sorted(found, key=lambda one: (one.began_at, one.path.name), reverse=True)


def _listed(path: Path) -> Listed:
    try:
        entries = [entry_from_table(table, file=str(path / LOG)) for table in read_lines(path / LOG)]
        standing = fold(entries)
    except LoggerError as error:
        return Listed(path, path.name, "", None, str(error))
    return Listed(path, standing.plan.title, entries[0].at, standing)


def _corrections(attempt: Attempt, stored: Stored, standing: Standing, *, at: str) -> Iterator[Correction]:
    """What has to be added to the store so that it agrees."""
    team = standing.team(attempt.team)
    label = "" if team is None else team.label
    if (stored.boat, stored.team) != (attempt.boat_name, label) and attempt.boat_name:
        reason = "as the lesson's log has it"
        yield Correction(attempt.run_id, "reassigned", reason, WHO, at, boat=attempt.boat_name, team=label)
    wanted = attempt.status or stored.trial.status
    if stored.status != wanted:
        reason = attempt.reason or ("decided in the lesson" if attempt.status else "the decision was taken back")
        yield Correction(attempt.run_id, wanted, reason, WHO, at)


def _plain(title: str) -> str:
    """Letters, digits and hyphens of a title, for a folder's name."""
    return re.sub(r"[^a-z0-9]+", "-", title.casefold()).strip("-")[:30] or "lesson"


def _free_name(parent: Path, stem: str) -> str:
    name, number = stem, 1
    while (parent / name).exists():
        number += 1
        name = f"{stem}-{number}"
    return name
