"""Measure recordings, or measure them again, and write the results into their folders.

Each folder gets track.csv and trial.json. An older trial.json that says something else is kept as trial-1.json and so
on. With several recordings, one that is wrong does not stop the others; the exit status is 2 then.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError, LoggerError

if TYPE_CHECKING:
    from logger.recording.folder import Recording
    from logger.results.measure import Outcome
    from logger.results.store import Store
    from logger.study.leaf import Run


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("recordings", nargs="+", type=Path, metavar="RECORDING", help="the folder of a recording")
    parser.add_argument("--json", action="store_true", help="print one line of JSON per recording, and nothing else")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write a page to look at, a new HTML file")
    parser.add_argument("--store", type=Path, metavar="FILE", help="add the trials to this store as well")


def run(arguments: argparse.Namespace) -> int:
    """Measure each recording; 2 if any of them could not be."""
    from tqdm import tqdm

    refuse_existing(arguments.report)
    status, pages = 0, []
    hidden = None if len(arguments.recordings) > 1 else True
    with _opened(arguments.store) as store:
        for folder in tqdm(arguments.recordings, delay=2, disable=hidden, unit="recording", leave=False):
            try:
                recording, outcome = _one(folder, as_json=arguments.json, store=store)
                if arguments.report is not None:
                    pages.append(_for_page(recording, outcome))
            except LoggerError as error:
                status = 2
                tqdm.write(f"boatrun measure: {' '.join(str(error).split())}", file=sys.stderr)
    if pages:
        _write_report(pages, arguments.report)
    return status


def refuse_existing(path: Path | None) -> None:
    """Raise InputError if there is something at `path` already, or no folder to put it into."""
    if path is None:
        return
    if path.exists():
        raise InputError(f"{path}: there is such a file already; wanted a new one; choose another name")
    if not path.absolute().parent.is_dir():
        raise InputError(f"{path}: there is no folder {path.absolute().parent}; make it first or choose another name")


def _opened(path: Path | None) -> AbstractContextManager[Store | None]:
    """The store, before anything is measured in vain; nothing for no path."""
    from logger.results.store import Store

    return nullcontext() if path is None else Store(path)


def _one(folder: Path, *, as_json: bool, store: Store | None) -> tuple[Recording, Outcome]:
    from logger.recording.folder import load
    from logger.results.measure import measure

    recording = load(folder)
    outcome = measure(recording)
    for note in keep(recording, outcome):
        print(f"boatrun measure: {note}", file=sys.stderr)
    if store is not None:
        _add(recording, outcome, store)
    print(_json_line(outcome) if as_json else _told(recording, outcome), flush=True)
    return recording, outcome


def keep(recording: Recording, outcome: Outcome) -> list[str]:
    """Write track.csv and trial.json into the recording's folder; what could not be done comes back as notes."""
    from logger.cli.keep import keep_beside
    from logger.results.trial_json import to_json
    from logger.settings import write_whole

    folder = recording.folder
    try:
        if outcome.motion is not None:
            from logger.results.track_csv import track_csv

            write_whole(folder / "track.csv", track_csv(outcome))
        older = keep_beside(folder / "trial.json", to_json(outcome.trial))
    except OSError as error:
        return [f"{folder}: the results could not be written there ({error.strerror}); they are only shown"]
    return [] if older is None else [f"{folder}: an earlier, different trial.json is kept as {older.name}"]


def _for_page(recording: Recording, outcome: Outcome) -> Run:
    from logger.study.gather import run_of

    return run_of(recording, outcome)


def _write_report(runs: Sequence[Run], path: Path) -> None:
    from logger.settings import write_whole
    from logger.study.report import report

    boats = len({run.card.boat.name for run in runs})
    lead = f"{len(runs)} run{'' if len(runs) == 1 else 's'} of {boats} boat{'' if boats == 1 else 's'}."
    try:
        write_whole(path, report(runs, title="Boat runs", lead=lead))
    except OSError as error:
        raise InputError(f"{path}: the report cannot be written ({error.strerror}); choose another name") from error
    print(f"boatrun measure: the report is {path}", file=sys.stderr)


def _add(recording: Recording, outcome: Outcome, store: Store) -> None:
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    store.add(outcome.trial, recording.folder.resolve(), boat=recording.card.boat, at=now)


def _json_line(outcome: Outcome) -> str:
    import json

    from logger.results.trial_json import to_json

    return json.dumps(json.loads(to_json(outcome.trial)), separators=(",", ":"))


def _told(recording: Recording, outcome: Outcome) -> str:
    from logger.study.summary import summary

    return summary(recording.card, outcome.trial)
