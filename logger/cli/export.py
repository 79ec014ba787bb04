"""Write tables for spreadsheets and statistics: runs, boats, tracks, visits and edges, and what every column is.

Recordings must have been measured before. From a store come its latest trials with all corrections. Missing values are
empty, void runs stay (the column counted says which count), and what every column means stands in csv-metadata.json.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli.keep import new_folder, refuse_if_used
from logger.errors import InputError
from logger.settings import write_whole

if TYPE_CHECKING:
    from logger.recording.folder import Recording
    from logger.results.export import ExportRun
    from logger.results.store import Stored

FORMS = ("csv", "csv-comma", "xlsx")
WORKBOOK = "runs.xlsx"


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "recordings", nargs="*", type=Path, metavar="RECORDING", help="the folder of a measured recording"
    )
    parser.add_argument("--store", type=Path, metavar="FILE", help="take every run of this store")
    parser.add_argument(
        "--as", dest="form", choices=FORMS, default="csv",
        help="csv; csv-comma: as spreadsheets want it where decimals are written with a comma; xlsx: one workbook",
    )  # fmt: skip
    parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="a new or empty folder for the tables")


def run(arguments: argparse.Namespace) -> int:
    """Write the tables and print where they are."""
    if not arguments.recordings and arguments.store is None:
        raise InputError("export: found neither a recording nor a store; give at least one of them (--store FILE)")
    refuse_if_used(arguments.to)
    runs = exported(arguments.store, arguments.recordings)
    write_tables(runs, arguments.to, form=arguments.form)
    print(f"{len(runs)} run{'' if len(runs) == 1 else 's'}: {arguments.to}")
    return 0


def exported(store: Path | None, recordings: Sequence[Path]) -> list[ExportRun]:
    """Every run of a store, and measured recordings."""
    return [*of_store(store), *(_of_recording(folder) for folder in recordings)]


def write_tables(runs: Sequence[ExportRun], folder: Path, *, form: str = "csv") -> None:
    """Write all tables of `runs` into `folder`, in one of `FORMS`.

    Raises:
        InputError: nothing is written if something is wrong with the runs or the folder.
    """
    from logger.results.csvw import files
    from logger.results.export import tables_of
    from logger.results.workbook import workbook

    tables = tables_of(runs)
    if form == "xlsx":
        made = workbook(tables)
        new_folder(folder)
        write_whole(folder / WORKBOOK, made)
        return
    texts = files(tables, comma=form == "csv-comma")
    new_folder(folder)
    for name, text in texts.items():
        write_whole(folder / name, text)


def of_store(path: Path | None) -> list[ExportRun]:
    """Every run of the store at `path`, with what its recording still tells; nothing for no path."""
    from logger.results.store import Store

    if path is None:
        return []
    if not path.is_file():
        raise InputError(f"{path}: there is no such store; give the file that boatrun measure --store made")
    with Store(path, read_only=True) as store:
        return [_of_stored(stored) for stored in store.runs()]


def _of_stored(stored: Stored) -> ExportRun:
    from logger.results.export import ExportRun

    recording = _load_if_there(stored.folder)
    reason = next((c.reason for c in reversed(stored.corrections) if c.change != "reassigned"), "")
    return ExportRun(
        trial=stored.trial,
        status=stored.status,
        status_reason=reason,
        boat=stored.boat,
        team=stored.team,
        card=recording.card if recording else None,
        rig=recording.rig if recording else None,
        edges=recording.edges if recording else (),
        track=_track(stored.folder),
    )


def _load_if_there(folder: Path) -> Recording | None:
    """The recording, or None if it was moved or put away: the store remembers its trial all the same."""
    from logger.recording.folder import load

    return load(folder) if folder.is_dir() else None


def _of_recording(folder: Path) -> ExportRun:
    from logger.recording.folder import load
    from logger.results.export import ExportRun
    from logger.results.trial_json import from_json

    recording = load(folder)
    path = folder / "trial.json"
    if not path.is_file():
        raise InputError(f"{folder}: there is no trial.json in it; measure it first: boatrun measure {folder}")
    trial = from_json(path.read_text(encoding="utf-8"), where=str(path))
    boat = recording.card.boat
    return ExportRun(
        trial, trial.status, boat.name, boat.team,
        card=recording.card, rig=recording.rig, edges=recording.edges, track=_track(folder),
    )  # fmt: skip


def _track(folder: Path) -> tuple[dict[str, str], ...]:
    from logger.results.columns import TRACK

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
