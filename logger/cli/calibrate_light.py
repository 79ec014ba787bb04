"""Measure how late the camera's stamps are, by a light in its picture that is switched at known moments.

Put the light (an LED on a pin, see [light_driver] in the rig file) where the camera sees it, near the middle, not so
bright that the picture is cut off there, and keep hands and boats away from it. Lock the camera's exposure first: the
delay holds for one exposure, size and rate. It blinks at random for about half a minute, with at most three flashes in
a second (WCAG 2.2, 2.3.1); warn people with photosensitive epilepsy all the same, or cover it from their sight.

What was seen is kept in a new, dated folder, from which --from works the delay out again. With --write, camera.delay_s
and camera.u_delay_s are entered into the rig file; its comments stay.

A camera that does not say its line time (a webcam): blink twice, the light once high and once low in the picture, and
give both folders to --from. The line time comes out; enter it in [camera] and measure the delay once more.
"""

from __future__ import annotations

import argparse
import math
import re
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.light import LightSync
    from logger.recording.light_evidence import LightEvidence

_LENGTH_S = 25.0
_MOST_LENGTH_S = 600.0


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("rig", nargs="?", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument(
        "--seconds", type=_seconds, default=_LENGTH_S, metavar="S", help=f"blink for so long (default: {_LENGTH_S:g})"
    )
    parser.add_argument("--region", type=_region, metavar="U,V,R", help="where it is: column, row, half a side, pixels")
    parser.add_argument("--to", type=Path, metavar="DIR", help="folder of the evidence (default: light, beside RIG)")
    parser.add_argument(
        "--from", dest="sources", type=Path, nargs="+", metavar="FOLDER", help="evidence to work it out from again"
    )
    parser.add_argument("--picture", type=Path, metavar="FILE", help="draw what was seen, a new SVG file")
    parser.add_argument("--write", action="store_true", help="enter the delay into the rig file")


def run(arguments: argparse.Namespace) -> int:
    """Blink, watch, keep, work out, tell; write if asked to."""
    from logger.cli.measure import refuse_existing
    from logger.guide.light_blinks import told, worked_out

    _check(arguments)
    refuse_existing(arguments.picture)
    if arguments.sources is not None and len(arguments.sources) > 1:
        print(_line_told(arguments.sources))
        return 0
    folder, evidence = _kept(arguments.sources[0]) if arguments.sources is not None else _watched(arguments)
    sync = worked_out(folder, evidence)
    print(told(sync))
    print(f"evidence: {folder}", flush=True)
    if arguments.picture is not None:
        _draw(sync, arguments.picture)
    if arguments.rig is not None:
        _enter(sync, arguments.rig, write=arguments.write)
    return 0


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 10 <= value <= _MOST_LENGTH_S:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted seconds from 10 to {_MOST_LENGTH_S:g}")
    return value


def _region(text: str) -> tuple[int, int, int]:
    found = re.fullmatch(r"(\d{1,5}),(\d{1,5}),(\d{1,4})", text, re.ASCII)
    if found is None or not 2 <= int(found[3]) <= 200:
        raise argparse.ArgumentTypeError(
            f"found {text!r}; wanted column,row,half-side in whole pixels, the last 2 to 200, such as 640,360,24"
        )
    return int(found[1]), int(found[2]), int(found[3])


def _check(arguments: argparse.Namespace) -> None:
    if arguments.rig is None and arguments.sources is None:
        raise InputError("calibrate light: found neither a rig file nor --from; give RIG, or evidence to look at again")
    if arguments.write and arguments.rig is None:
        raise InputError("calibrate light: --write needs the rig file to write into; give RIG as well")
    if len(arguments.sources or ()) > 1 and (arguments.write or arguments.picture is not None):
        raise InputError("calibrate light: --write and --picture take one session; give --from a single folder")


def _kept(folder: Path) -> tuple[Path, LightEvidence]:
    from logger.recording.light_evidence import read_light_evidence

    return folder, read_light_evidence(folder)


def _line_told(folders: Sequence[Path]) -> str:
    """Several sessions, the light at another row in each: the line time, and what to do with it."""
    from calibration.errors import CalibrationError
    from calibration.light_line import RowDelay, line_time
    from calibration.quantity import plus_minus
    from logger.guide.light_blinks import worked_out

    seen, said, lines = [], set(), []
    for number, folder in enumerate(folders, 1):
        _, evidence = _kept(folder)
        sync = worked_out(folder, evidence)
        row_px = evidence.glimpses.row_px
        seen.append(RowDelay(f"{folder.name} ({number})", row_px, sync.delay))
        said |= set(evidence.glimpses.line_ns.tolist())
        lines.append(f"{folder}: row {row_px:.1f}, {plus_minus(1e3 * sync.delay.value, 1e3 * sync.delay.U)} ms")
    if len(said) != 1:
        raise InputError(
            f"calibrate light: found line times of {sorted(said)} ns; wanted sessions with one and the same"
        )
    try:
        found = line_time(seen, claimed_ns=said.pop(), place="calibrate light")
    except CalibrationError as error:
        raise InputError(str(error)) from error
    line, delay = found.line, found.delay
    return "\n".join(
        [
            f"line time {plus_minus(1e6 * line.value, 1e6 * line.U)} µs from row to row (95 %, k = {line.k:.2f})",
            f"  with it, the camera delay is {plus_minus(1e3 * delay.value, 1e3 * delay.U)} ms",
            *(f"  {each}" for each in lines),
            f"enter line_ns = {max(round(1e9 * line.value), 0)} in [camera], then measure the delay once more",
        ]
    )


def _watched(arguments: argparse.Namespace) -> tuple[Path, LightEvidence]:
    """A session with the rig's own camera and light, kept in a folder of its own."""
    from calibration.light_patch import Region
    from logger.guide.light_blinks import watched

    region = None if arguments.region is None else Region(*arguments.region)
    below = arguments.to or arguments.rig.parent / "light"
    now = datetime.now().astimezone()
    seen = watched(arguments.rig, below, length_s=arguments.seconds, region=region, at=now, told=_say)
    for fault in seen.faults:
        print(f"boatrun calibrate light: camera: {fault}", file=sys.stderr)
    return seen.folder, seen.evidence


def _say(sentence: str) -> None:
    print(f"{sentence} ...", file=sys.stderr, flush=True)


def _draw(sync: LightSync, path: Path) -> None:
    from logger.settings import write_whole
    from logger.study.light_graph import light_picture

    try:
        write_whole(path, light_picture(sync))
    except OSError as error:
        raise InputError(f"{path}: the picture cannot be written ({error.strerror}); choose another name") from error
    print(f"picture: {path}", flush=True)


def _enter(sync: LightSync, rig: Path, *, write: bool) -> None:
    """Enter the delay into the rig file, or say what would be entered."""
    from logger.guide.light_blinks import entries_of
    from logger.recording.rig_toml import edit_rig, read_rig

    setup = read_rig(rig).camera
    if setup is None:
        raise InputError(f"{rig}: there is no [camera]; wanted the camera that the delay belongs to")
    entries = entries_of(sync)
    shown = ", ".join(f"{name} = {value:g}" if "u_" in name else f"{name} = {value}" for name, value in entries.items())
    if not write:
        print(f"not entered; --write would set {shown} in {rig} (now {setup.delay_s:g}, {setup.u_delay_s:g})")
        return
    edit_rig(rig, entries)
    print(f"entered into {rig}: {shown} (before: {setup.delay_s:g}, {setup.u_delay_s:g})")
