"""Runs for files: from a store with all its corrections, or from measured recordings."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from logger.errors import InputError
from logger.recording.card_toml import read_card
from logger.recording.folder import Recording, load
from logger.recording.rig_toml import read_rig
from logger.results.columns import TRACK
from logger.results.csvw import files
from logger.results.export import ExportRun, tables_of
from logger.results.store import Store, Stored
from logger.results.story import reason_of
from logger.results.trial_json import from_json
from logger.results.workbook import workbook

WORKBOOK = "runs.xlsx"


def of_store(path: Path) -> list[ExportRun]:
    """Every run of the store at `path`, with what its recording still tells.

    Raises:
        InputError: there is none, or a recording in it is damaged.
        StoreError: it cannot be read.
    """
    if not path.is_file():
        raise InputError(f"{path}: there is no such store; give the file that boatrun measure --store made")
    with Store(path, read_only=True) as store:
        return [_of_stored(stored) for stored in store.runs()]


def of_recording(folder: Path) -> ExportRun:
    """A recording that was measured. InputError: it was not, or it is damaged."""
    recording = load(folder)
    path = folder / "trial.json"
    if not path.is_file():
        raise InputError(f"{folder}: there is no trial.json in it; measure it first: boatrun measure {folder}")
    trial = from_json(path.read_text(encoding="utf-8"), where=str(path))
    boat = recording.card.boat
    return ExportRun(
        replace(trial, run_id=recording.card.season_id), trial.status, boat.name, boat.team,
        status_reason=reason_of(recording.events, trial.status),
        card=recording.card, rig=recording.rig, edges=recording.edges, track=track_rows(folder),
    )  # fmt: skip


def written(runs: list[ExportRun], form: str) -> dict[str, str | bytes]:
    """Names and contents of the files, as csv, csv-comma or xlsx. InputError: something is wrong with the runs."""
    tables = tables_of(runs)
    if form == "xlsx":
        return {WORKBOOK: workbook(tables)}
    return dict(files(tables, comma=form == "csv-comma"))


def _of_stored(stored: Stored) -> ExportRun:
    recording = _load_if_there(stored.folder)
    reason = next((c.reason for c in reversed(stored.corrections) if c.change != "reassigned"), "")
    if not reason and recording is not None:
        reason = reason_of(recording.events, stored.status)
    named = stored.trial if recording is None else replace(stored.trial, run_id=recording.card.season_id)
    return ExportRun(
        trial=named,
        status=stored.status,
        status_reason=reason,
        boat=stored.boat,
        team=stored.team,
        card=recording.card if recording else None,
        rig=recording.rig if recording else None,
        edges=recording.edges if recording else (),
        track=track_rows(stored.folder),
    )


def _load_if_there(folder: Path) -> Recording | None:
    """The recording; without its film if that was erased; None if all of it was put away: the store has its trial."""
    if not folder.is_dir():
        return None
    if (folder / "frames-erased.csv").is_file() and not (folder / "edges.csv").is_file():
        card, rig = read_card(folder / "recording.toml"), read_rig(folder / "rig.toml")
        return Recording(folder, card, rig, None, "", (), (), None, None, ())
    return load(folder)


def track_rows(folder: Path) -> tuple[dict[str, str], ...]:
    """Rows of a recording's track.csv; none without one. InputError: it is damaged."""
    path = folder / "track.csv"
    if not path.is_file():
        return ()
    try:
        with path.open(encoding="utf-8", newline="") as file:
            header, *lines = list(csv.reader(file)) or [[]]
    except (UnicodeDecodeError, csv.Error):
        header, lines = [], []
    if header != list(TRACK) or any(len(line) != len(TRACK) for line in lines):
        raise InputError(f"{path}: this is no whole track of a run; measure it again: boatrun measure {folder}")
    return tuple(dict(zip(TRACK, line, strict=True)) for line in lines)
