"""Measure recordings, or measure them again, and write the results into their folders.

Each folder gets track.csv and trial.json. An older trial.json that says something else is kept as trial-1.json and so
on. Several recordings are measured at a time, one for each processor, with the same results, bit for bit. One that is
wrong does not stop the others; the exit status is 2 then.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError, LoggerError

if TYPE_CHECKING:
    from logger.config import RunCard
    from logger.recording.folder import Recording
    from logger.results.measure import Outcome
    from logger.results.monte_carlo import Drawn
    from logger.results.store import Store
    from logger.results.trial import Trial
    from logger.study.leaf import Run
    from logger.vision.track import NotFound, Track

_FEWEST_DRAWS = 50


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "recordings", nargs="+", type=Path, metavar="RECORDING", help="the folder of a recording, or a folder of such"
    )  # fmt: skip
    parser.add_argument(
        "--only-new", action="store_true",
        help="leave out what this software has measured already: goes on where it was stopped",
    )  # fmt: skip
    parser.add_argument(
        "--monte-carlo", type=int, default=0, metavar="N",
        help="check the doubt of every result by measuring N runs as they may truly have been",
    )  # fmt: skip
    parser.add_argument("--processes", type=int, metavar="N", help="so many at a time (default: one a processor)")
    parser.add_argument("--cluster", metavar="ADDRESS", help="measure on the workers of a Dask scheduler instead")
    parser.add_argument("--json", action="store_true", help="print one line of JSON per recording, and nothing else")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write a page to look at, a new HTML file")
    parser.add_argument("--store", type=Path, metavar="FILE", help="add the trials to this store as well")


def run(arguments: argparse.Namespace) -> int:
    """Measure each recording; 2 if any of them could not be."""
    from tqdm import tqdm

    from logger.recording.card_toml import read_card

    refuse_existing(arguments.report)
    if arguments.processes is not None and arguments.processes < 1:
        raise InputError(f"--processes: found {arguments.processes}; wanted at least 1")
    folders = [folder for given in arguments.recordings for folder in recordings_in(given)]
    before = {folder: trial for folder in folders if (trial := trial_before(folder))} if arguments.only_new else {}
    folders = [folder for folder in folders if folder not in before]
    if arguments.monte_carlo and arguments.monte_carlo < _FEWEST_DRAWS:
        raise InputError(f"--monte-carlo: found {arguments.monte_carlo}; wanted at least {_FEWEST_DRAWS}")
    jobs = [Job(folder, arguments.report is not None, arguments.monte_carlo) for folder in folders]
    failed, pages, told = 0, [], 0
    with _opened(arguments.store) as store:
        for folder, trial in before.items() if store is not None else ():
            try:
                failed += not _kept(store, folder, read_card(folder / "recording.toml"), trial)
            except InputError as error:
                failed += 1
                print(f"boatrun measure: {error}", file=sys.stderr)
        hidden = None if len(jobs) > 1 else True
        for done in tqdm(
            _all(jobs, arguments), total=len(jobs), delay=2, disable=hidden, unit="recording", leave=False
        ):
            for note in done.notes:
                tqdm.write(f"boatrun measure: {' '.join(note.split())}", file=sys.stderr)
            if done.trial is None or done.card is None:
                failed += 1
                continue
            failed += not _kept(store, done.folder, done.card, done.trial)
            if done.page is not None:
                pages.append(done.page)
            told += 1
            print(_json_line(done) if arguments.json else _told(done.card, done), flush=True)
    if pages:
        _write_report(pages, arguments.report)
    if arguments.only_new and not arguments.json:
        print(f"boatrun measure: {told} measured, the others were already", file=sys.stderr)
    return 2 if failed else 0


def recordings_in(given: Path) -> list[Path]:
    """The recording `given`, or all within it, however deep, if it is a folder of such; in order of their names."""
    if (given / "recording.toml").exists() or not given.is_dir():
        return [given]
    return sorted(card.parent for card in given.rglob("recording.toml")) or [given]


def _kept(store: Store | None, folder: Path, card: RunCard, measured: Trial) -> bool:
    """Whether the trial stands in the store, if there is one. Two recordings that call their run alike are told."""
    if store is None:
        return True
    trial, place = replace(measured, run_id=card.season_id), folder.resolve()
    latest = store.latest(trial.run_id)
    if latest is not None and latest.folder != place and not _same_run(latest.folder, place):
        print(
            f"boatrun measure: {folder}: run {trial.run_id} stands in {store.path} already, of another recording, "
            f"{latest.folder}; wanted a name of its own; change `id` in its recording.toml, or give another store",
            file=sys.stderr,
        )
        return False
    if latest is None or latest.trial != trial or latest.folder != place:
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        store.add(trial, place, boat=card.boat, at=now)
    return True


def _same_run(one: Path, other: Path) -> bool:
    """Whether one recording is the other, carried elsewhere or copied."""
    try:
        return (one / "recording.toml").read_bytes() == (other / "recording.toml").read_bytes()
    except OSError:
        return True  # it is no longer there: it was moved


def trial_before(folder: Path) -> Trial | None:
    """The trial in the folder, if it is by this software and newer than everything that it was made from."""
    from logger.results.software import software
    from logger.results.trial_json import from_json

    path = folder / "trial.json"
    try:
        trial = from_json(path.read_text(encoding="utf-8"))
        made = path.stat().st_mtime_ns
        sources = [file for file in folder.iterdir() if not file.name.startswith(("trial", "track.csv", "film."))]
        is_new = trial.software == software() and all(file.stat().st_mtime_ns <= made for file in sources)
    except (OSError, InputError):
        return None
    return trial if is_new else None


def _all(jobs: Sequence[Job], arguments: argparse.Namespace) -> Iterator[Done]:
    from logger.cli.processes import processors_count, spread, spread_over

    if arguments.cluster is not None:
        return spread_over(arguments.cluster, measured, jobs)
    return spread(measured, jobs, processes=arguments.processes or processors_count())


@dataclass(frozen=True, slots=True)
class Job:
    """One recording to be measured."""

    folder: Path
    for_page: bool = False
    """Whether a page of it is wanted."""
    draws_count: int = 0
    """How many draws check its doubts; 0: none."""


@dataclass(frozen=True, slots=True, eq=False)
class Done:
    """What came of one recording; no trial if it could not be measured, and why in the notes."""

    folder: Path
    notes: tuple[str, ...]
    card: RunCard | None = None
    trial: Trial | None = None
    page: Run | None = None
    drawn: Mapping[str, Drawn] = field(default_factory=dict)


def measured(job: Job) -> Done:
    """Measure one recording and write the results into its folder, in whatever process this is."""
    from logger.recording.folder import load
    from logger.results.kept import keep
    from logger.results.measure import conclude, look

    folder = job.folder
    try:
        recording = load(folder)
        seen = look(recording, recording.rig)
        outcome = conclude(recording, recording.rig, seen)
        drawn = _drawn(recording, seen, outcome.trial, job.draws_count) if job.draws_count else {}
        page = _for_page(recording, outcome, drawn) if job.for_page else None
    except LoggerError as error:
        return Done(folder, (str(error),))
    return Done(folder, tuple(keep(recording, outcome)), recording.card, outcome.trial, page, drawn)


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


def _for_page(recording: Recording, outcome: Outcome, drawn: Mapping[str, Drawn]) -> Run:
    from logger.study.gather import run_of

    return run_of(recording, outcome, drawn)


def _drawn(recording: Recording, seen: Track | NotFound | None, trial: Trial, count: int) -> Mapping[str, Drawn]:
    from logger.results.monte_carlo import monte_carlo

    return monte_carlo(recording, recording.rig, seen, trial=trial, count=count, seed=1)


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


def _json_line(done: Done) -> str:
    import json

    from logger.results.trial_json import to_json

    assert done.trial is not None  # noqa: S101 - the caller has looked
    content = json.loads(to_json(done.trial))
    if done.drawn:
        content["monte_carlo"] = {
            name: {
                "mean": d.mean,
                "u": d.u,
                "low": d.low,
                "high": d.high,
                "draws": d.draws_count,
                "budget_u": d.budget_u,
            }
            for name, d in done.drawn.items()
        }
    return json.dumps(content, separators=(",", ":"))


def _told(card: RunCard, done: Done) -> str:
    from logger.study.summary import summary

    assert done.trial is not None  # noqa: S101 - the caller has looked
    return "\n".join([summary(card, done.trial), *(_draws_told(done.drawn) if done.drawn else [])])


def _draws_told(found: Mapping[str, Drawn]) -> list[str]:
    from logger.results.monte_carlo import compared
    from logger.study import words

    lines = [
        f"  {words.name_of(name)}: standard uncertainty {words.doubt_alone(drawn.budget_u, drawn.unit)} by its budget; "
        f"{words.draws(drawn)}"
        for name, drawn in found.items()
        if drawn.budget_u > 0 or drawn.u > 0
    ]
    contradicted = (words.name_of(name) for name in compared(found))
    return lines + [f"  The draws show much more doubt than the budget of: {name}." for name in contradicted]
