"""The store: every trial that was ever measured, in one SQLite file beside the recordings.

Nothing is deleted and nothing is changed. Measuring a run again adds a trial that supersedes the older one; what people
decide later (void, freed, another boat) is added to a log of corrections with its reason. The file itself refuses
UPDATE and DELETE on both tables. A trial for which `add` has returned is on the disk itself (WAL, synchronous=FULL).

The wall clock is handed in: a store does not know what time it is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Literal, Self, TypeAlias, get_args
from urllib.parse import quote

from logger.config import Boat
from logger.errors import InputError, StoreError
from logger.results.trial import Status, Trial
from logger.results.trial_json import from_json, to_json
from logger.settings import Text

SCHEMA_VERSION = 1
BUSY_S = 5.0
"""How long another program may hold the file before we give up."""
_TURNS_COUNT = 200
"""So often the change to write-ahead logging is tried."""

Change: TypeAlias = Literal["valid", "void", "did_not_finish", "freed", "reassigned"]

_SCHEMA = """
CREATE TABLE trials (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    run TEXT NOT NULL, boat TEXT NOT NULL, team TEXT NOT NULL,
    folder TEXT NOT NULL, added_at TEXT NOT NULL, trial TEXT NOT NULL
) STRICT;
CREATE INDEX trials_of_run ON trials (run, number);
CREATE TABLE corrections (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    run TEXT NOT NULL, change TEXT NOT NULL, boat TEXT NOT NULL, team TEXT NOT NULL,
    reason TEXT NOT NULL, who TEXT NOT NULL, made_at TEXT NOT NULL
) STRICT;
CREATE INDEX corrections_of_run ON corrections (run, number);
"""
_REFUSALS = "".join(
    f"CREATE TRIGGER {table}_refuse_{action} BEFORE {action} ON {table} "
    f"BEGIN SELECT RAISE(ABORT, '{table} only grows: nothing is changed or deleted'); END;\n"
    for table in ("trials", "corrections")
    for action in ("UPDATE", "DELETE")
)


@dataclass(frozen=True, slots=True)
class Correction:
    """One later decision of a person about a run."""

    run: str
    change: Change
    reason: str
    who: str
    """The role of who decided (teacher, judge), never a child's name."""
    made_at: str
    """Wall time, RFC 3339."""
    boat: str = ""
    """For `reassigned`: whose run it was."""
    team: str = ""


@dataclass(frozen=True, slots=True)
class Stored:
    """A trial as it stands now: the latest measurement of its run, and what people decided about it."""

    trial: Trial
    """As measured; its own status is the one of that time."""
    number: int
    """Running number in the store."""
    boat: str
    team: str
    folder: Path
    added_at: str
    status: Status
    """After all corrections."""
    corrections: tuple[Correction, ...] = ()
    superseded_count: int = 0
    """How many earlier measurements of the same run the store keeps."""


class Store:
    """Opens the file, or makes it. Use with `with`; one connection, to be used by the thread that made it."""

    def __init__(self, path: Path | str, *, read_only: bool = False) -> None:
        """Open the store at `path`.

        Raises:
            StoreError: it cannot be read or made, is no store, is damaged, in use, or from a newer version.
        """
        self.path = Path(path)
        self._read_only = read_only
        if read_only and not self.path.is_file():
            raise StoreError(f"{self.path}: there is no such store; measure a recording first, or give another path")
        with self._trouble("opened"):
            mode = "ro" if read_only else "rwc"
            self._base = sqlite3.connect(
                f"file:{quote(str(self.path.absolute()))}?mode={mode}", uri=True, timeout=BUSY_S, isolation_level=None
            )
            try:
                self._prepare()
            except BaseException:
                self._base.close()
                raise

    def _prepare(self) -> None:
        found = int(self._base.execute("PRAGMA user_version").fetchone()[0])
        if found > SCHEMA_VERSION:
            raise StoreError(
                f"{self.path}: made by a newer version (schema {found}, this program knows up to {SCHEMA_VERSION}); "
                "update boatrun, or give another path"
            )
        if self._read_only:
            if found == 0:
                raise StoreError(f"{self.path}: this is no store of trials; give another path")
            return
        self._base.execute("PRAGMA synchronous = FULL")
        if found == 0:
            self._make()
        self._write_ahead()

    def _write_ahead(self) -> None:
        """Let readers and a writer be there together; the file keeps it for ever.

        The change needs the file for itself and, unlike everything else, does not wait for it (sqlite.org/wal.html). So
        a transaction waits, and it is tried again: programs that open a new store at the same moment take turns.
        """
        for left in reversed(range(_TURNS_COUNT)):
            try:
                self._base.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError:
                if not left:
                    raise
                with self._transaction():
                    pass

    def _make(self) -> None:
        with self._transaction():
            if int(self._base.execute("PRAGMA user_version").fetchone()[0]) == SCHEMA_VERSION:
                return  # another program was faster
            if self._base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                raise StoreError(f"{self.path}: this is a database of something else; give another path")
            for statement in (_SCHEMA + _REFUSALS).split(";\n"):
                if statement.strip():
                    self._base.execute(statement)
            self._base.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def add(self, trial: Trial, folder: Path | str, *, boat: Boat | None = None, at: str = "") -> int:
        """Keep `trial`; on return it is on the disk itself. An earlier one of the same run is superseded and stays.

        Args:
            trial: What was measured.
            folder: Where its recording lies.
            boat: The card of the boat, for its name and team.
            at: Wall time of now, RFC 3339.

        Returns:
            The trial's number in the store.

        Raises:
            InputError: a name that cannot be kept.
            StoreError: it could not be kept.
        """
        name, team = (boat.name, boat.team) if boat else ("", "")
        _check_names(self.path, {"run": trial.run_id, "boat": name, "team": team})
        row = (trial.run_id, name, team, str(folder), at, to_json(trial))
        with self._trouble("written"), self._transaction():
            done = self._base.execute(
                "INSERT INTO trials (run, boat, team, folder, added_at, trial) VALUES (?, ?, ?, ?, ?, ?)", row
            )
        return int(done.lastrowid or 0)

    def correct(self, correction: Correction) -> None:
        """Add a decision about a run to the log; on return it is on the disk itself.

        Raises:
            InputError: there is no such run, no reason, or a name that cannot be kept.
            StoreError: it could not be kept.
        """
        c = correction
        _check_names(self.path, {"who": c.who, "boat": c.boat, "team": c.team})
        if c.change not in get_args(Change):
            raise InputError(f"{self.path}: change {c.change!r}; wanted one of {', '.join(get_args(Change))}")
        if not c.reason.strip():
            raise InputError(f"{self.path}: a correction of run {c.run} without a reason; say why in a few words")
        if c.change == "reassigned" and not c.boat:
            raise InputError(f"{self.path}: run {c.run} reassigned to nobody; name the boat whose run it was")
        with self._trouble("written"), self._transaction():
            if self._base.execute("SELECT 1 FROM trials WHERE run = ? LIMIT 1", (c.run,)).fetchone() is None:
                raise InputError(f"{self.path}: there is no run {c.run!r} to correct; look at the list of runs")
            self._base.execute(
                "INSERT INTO corrections (run, change, boat, team, reason, who, made_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (c.run, c.change, c.boat, c.team, c.reason, c.who, c.made_at),
            )

    def runs(self) -> list[Stored]:
        """Every run as it stands now, in the order in which the runs were first added; void ones too."""
        with self._trouble("read"), self._reading():
            rows = self._base.execute(
                "SELECT t.number, t.run, t.boat, t.team, t.folder, t.added_at, t.trial, n.many - 1 FROM trials t JOIN "
                "(SELECT max(number) AS last, min(number) AS first, count(*) AS many FROM trials GROUP BY run) n "
                "ON t.number = n.last ORDER BY n.first"
            ).fetchall()
            log = self._log()
        return [self._stored(row, tuple(log.get(row[1], ()))) for row in rows]

    def latest(self, run: str) -> Stored | None:
        """One run as it stands now; None if the store does not have it."""
        with self._trouble("read"), self._reading():
            row = self._base.execute(
                "SELECT number, run, boat, team, folder, added_at, trial, "
                "(SELECT count(*) - 1 FROM trials WHERE run = ?) FROM trials WHERE run = ? "
                "ORDER BY number DESC LIMIT 1",
                (run, run),
            ).fetchone()
            log = self._log(run).get(run, [])
        return None if row is None else self._stored(row, tuple(log))

    def history(self, run: str) -> list[Trial]:
        """Every measurement of one run, oldest first."""
        with self._trouble("read"):
            rows = self._base.execute(
                "SELECT number, trial FROM trials WHERE run = ? ORDER BY number", (run,)
            ).fetchall()
        return [self._read(number, text) for number, text in rows]

    def _log(self, run: str | None = None) -> dict[str, list[Correction]]:
        """The corrections of one run, or of all, by run."""
        log: dict[str, list[Correction]] = {}
        for row in self._base.execute(
            "SELECT run, change, reason, who, made_at, boat, team FROM corrections "
            "WHERE ?1 IS NULL OR run = ?1 ORDER BY number",
            (run,),
        ):
            log.setdefault(row[0], []).append(Correction(*row))
        return log

    def _stored(
        self, row: tuple[int, str, str, str, str, str, str, int], corrections: tuple[Correction, ...]
    ) -> Stored:
        number, _, boat, team, folder, added_at, text, superseded = row
        trial = self._read(number, text)
        status: Status = trial.status
        for correction in corrections:
            if correction.change == "reassigned":
                boat, team = correction.boat, correction.team
            else:
                status = correction.change
        return Stored(trial, number, boat, team, Path(folder), added_at, status, corrections, superseded)

    def _read(self, number: int, text: str) -> Trial:
        return from_json(text, where=f"{self.path}, trial {number}")

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._base.execute("COMMIT")
        except BaseException:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")
            raise

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """Several questions to the same state of the file."""
        self._base.execute("BEGIN")
        try:
            yield
        finally:
            self._base.execute("COMMIT")

    @contextmanager
    def _trouble(self, doing: str) -> Iterator[None]:
        """SQLite's errors as ours, with what to do."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: cannot be {doing}: {error}; {_cure(error)}") from error

    def close(self) -> None:
        """Give the file back. May be called twice."""
        self._base.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def backup(store: Path | str, copy: Path | str) -> None:
    """Copy a store as of one moment, also while it is in use.

    Raises:
        StoreError: the store cannot be read, or the copy exists already or cannot be written.
    """
    source, target = Path(store), Path(copy)
    if target.exists():
        raise StoreError(f"{target}: there is a file already; choose another name")
    with Store(source, read_only=True) as opened, opened._trouble("copied"), closing(sqlite3.connect(target)) as made:
        opened._base.backup(made)


def _check_names(path: Path, names: dict[str, str]) -> None:
    rule = Text(most=80)
    for what, name in names.items():
        complaint = rule.complaint(name)
        if complaint:
            raise InputError(f"{path}: {what}: found {name!r}; wanted {complaint}; choose another name")


def _cure(error: sqlite3.Error) -> str:
    code = getattr(error, "sqlite_errorcode", None) or 0
    primary = code & 0xFF
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return "another program is using it; close that one and try again"
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return "the file is damaged or is no store; put it aside, and measure the recordings again into a new one"
    if primary == sqlite3.SQLITE_FULL:
        return "free some space"
    if primary in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR):
        return "check that the folder exists and that you may write there"
    return "put the file aside, and measure the recordings again into a new one"
