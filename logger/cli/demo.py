"""Try everything without any hardware: an invented class sails in a simulated tank, and the page shows what came out.

Every run goes the whole way: simulated drivers, the recording loop, the journal, the measuring, the store. All of it is
marked as simulated. Takes less than a minute on two cores; needs no network. With --live a whole lesson is led from the
station's pages, in the time that it takes.
"""

from __future__ import annotations

import argparse
import os
import sys
import webbrowser
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli.keep import new_folder
from logger.cli.processes import processors_count, spread
from logger.cli.regatta import BOATS, CLUB, CONDITIONS, SAILS, TANK, Sail
from logger.cli.serve import port_of
from logger.settings import write_whole

if TYPE_CHECKING:
    from logger.config import Rig, RunCard
    from logger.simulator.live import SimulatedTank
    from logger.study.leaf import Run

FIRST_SEED = 51_000
_MOST_PROCESSES = 4


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "--to", type=Path, metavar="DIR", help="a new or empty folder (default: boatrun-demo, or boatrun-demo-2 ...)"
    )
    parser.add_argument("--open", action="store_true", help="open the page in a browser at the end, if there is one")
    parser.add_argument(
        "--live", action="store_true", help="practise a whole lesson: a station with a simulated tank, in a browser"
    )
    parser.add_argument("--port", type=port_of, default=8321, metavar="N", help="with --live: port (8321); 0: any")


def run(arguments: argparse.Namespace) -> int:
    """Sail, measure, store, and say where the page is."""
    if arguments.live:
        from logger.cli.practice import practise

        return practise(arguments.to or Path("boatrun-practice"), port=arguments.port)
    folder = new_folder(arguments.to or _free_name(Path("boatrun-demo")))
    print(f"{CLUB} (invented): {len(SAILS)} runs of {len(BOATS)} boats in a simulated tank, in {folder}", flush=True)
    runs: list[Run] = []
    for number, sailed in enumerate(_sail_all(folder), start=1):
        runs.append(sailed)
        print(f"  run {number} of {len(SAILS)}: {_told(sailed)}", flush=True)
    page = _write_pages(runs, folder)
    print(f"Store:   {folder / 'trials.sqlite'}\nTables:  {folder / 'tables'}\nPicture: {folder / 'picture.svg'}")
    print(f"Page:    {page.resolve()}\n         {page.resolve().as_uri()}")
    if arguments.open:
        _open(page)
    return 0


def _free_name(folder: Path) -> Path:
    number, name = 1, folder
    while name.exists():
        number += 1
        name = folder.with_name(f"{folder.name}-{number}")
    return name


def _sail_all(folder: Path) -> Iterator[Run]:
    """All runs in their order, several at a time."""
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    jobs = [(number, sail, folder, now) for number, sail in enumerate(SAILS, start=1)]
    yield from spread(_sail, jobs, processes=min(_MOST_PROCESSES, processors_count()))


def _sail(job: tuple[int, Sail, Path, str]) -> Run:
    """One run through the whole line, in a process of its own."""
    import json

    from logger.drivers import drivers_of
    from logger.recording.folder import load
    from logger.results.kept import keep
    from logger.results.store import Store
    from logger.simulator.live import SimulatedTank
    from logger.station import rig as station
    from logger.station.line import Plan
    from logger.study.gather import run_of

    number, sail, folder, now = job
    tank = SimulatedTank(seed=FIRST_SEED + number, kind=sail.kind, **_wishes(sail))  # type: ignore[arg-type]
    card = _card(number, sail, tank, now)
    rig = _rig(sail, number, tank)
    plan = Plan(
        card=card,
        rig=rig,
        folder=folder / "recordings" / card.id,
        calibration=tank.camera_text.encode(),
        tail_s=1.0,
        silent_after_s=300.0,  # the simulated camera takes the time it needs to paint
    )
    with Store(folder / "trials.sqlite") as store:
        ran = station.run(plan, drivers_of(rig), store=store, wall_time=lambda: now)
    (ran.recording / "truth.json").write_text(json.dumps(tank.truth, indent=1) + "\n", encoding="utf-8")
    recording = load(ran.recording)
    for note in keep(recording, ran.outcome):
        print(f"boatrun demo: {note}", file=sys.stderr)
    return run_of(recording, ran.outcome)


def _wishes(sail: Sail) -> dict[str, object]:
    return {
        **TANK,
        **BOATS[sail.boat].wishes,
        "speed_mm_per_s": sail.speed_mm_per_s,
        "wall_contact": sail.reaches_wall,
    }


def _card(number: int, sail: Sail, tank: SimulatedTank, now: str) -> RunCard:
    from dataclasses import replace

    return replace(
        tank.card,
        id=f"run-{number:02d}-{sail.boat.lower()}-{sail.kind}",
        recorded_at=now,
        boat=BOATS[sail.boat].card,
        conditions=CONDITIONS,
    )


def _rig(sail: Sail, number: int, tank: SimulatedTank) -> Rig:
    from dataclasses import replace

    from logger.config import DriverChoice

    options = {"seed": FIRST_SEED + number, "run_kind": sail.kind, "wishes": _wishes(sail), "pace": "fast"}
    rig = tank.rig
    if rig.camera is None:
        raise RuntimeError("the simulated tank has no camera")
    camera = replace(rig.camera, driver=DriverChoice("simulated_camera", options))
    return replace(
        rig,
        name="simulated quay tank",
        camera=camera,
        gates_driver=DriverChoice("simulated_gates", options),
        panel_driver=DriverChoice("simulated_panel", options),
    )


def _told(run: Run) -> str:
    from logger.study import words

    main = run.trial.results.get(words.main_result(run.trial.kind))
    result = words.said(main) if main else "not measured"
    return f"{run.card.boat.name}, {words.kind_of_run(run.trial.kind)}: {result}"


def _write_pages(runs: Sequence[Run], folder: Path) -> Path:
    from logger.cli.export import write_tables
    from logger.results.exported import of_store
    from logger.study.picture import picture
    from logger.study.report import report

    lead = (
        f"{len(BOATS)} boats, {len(runs)} runs, one afternoon that never was: first three straight runs each, from the "
        "start line to the finish line, then one drift run, in which the fan is shut off at the mark line and the boat "
        "goes on by itself."
    )
    page = folder / "report.html"
    write_whole(page, report(runs, title=CLUB, lead=lead))
    shown = next((run for run in runs if run.trial.kind == "drift"), runs[0])
    write_whole(folder / "picture.svg", picture(shown))
    stored = sorted(of_store(folder / "trials.sqlite"), key=lambda run: run.trial.run_id)  # several were stored at once
    write_tables(stored, folder / "tables")
    return page


def _open(page: Path) -> None:
    has_screen = sys.platform != "linux" or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    try:
        opened = bool(has_screen) and webbrowser.open(page.resolve().as_uri())
    except (OSError, webbrowser.Error):
        opened = False
    if not opened:
        print("There is no browser here; open the page on another machine.")
