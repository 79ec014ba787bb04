"""Find where the beams of the gates are, from recordings of a check boat that was pulled through all of them.

The camera says where the boat's bow was at the moment at which a beam broke. Take a boat with an upright stem, best one
with a tag; pull it by a thread through all gates, three times or more, slowly and fast; once or twice backwards, if its
other end is as upright. Nobody's hands over the water. Each pull is recorded with boatrun record.

Calibrate plane and lines first, and the camera's delay (boatrun calibrate light): if it was never measured, it is taken
as open. What does not fit is left out and told. The way from beam to beam is compared with the tape's. Result, passages
and a picture are kept in a new, dated folder; with --write, offset_mm and u_offset_mm of the gates are entered into the
rig file, and the file as it was is kept beside it.
"""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from calibration.beams import BeamFit
    from logger.config import Rig
    from logger.recording.folder import Recording
    from logger.results.sightings import Sighted


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("recordings", nargs="+", type=Path, metavar="RECORDING", help="the folder of a recording")
    parser.add_argument("--rig", type=Path, metavar="RIG", help="the rig file (default: as it was when recorded)")
    parser.add_argument("--to", type=Path, metavar="DIR", help="folder of the evidence (default: gates, beside RIG)")
    parser.add_argument("--write", action="store_true", help="enter the places into the rig file")


def run(arguments: argparse.Namespace) -> int:
    """Look at every recording, solve, keep, tell; write if asked to."""
    from logger.guide import gate_pulls
    from logger.guide.gate_words import told

    if arguments.write and arguments.rig is None:
        raise InputError("calibrate gates: --write needs the rig file to write into; give --rig RIG as well")
    recordings = gate_pulls.loaded(arguments.recordings)
    rig = gate_pulls.rig_of(recordings, arguments.rig)
    seen = _seen(recordings, rig)
    fit = gate_pulls.solved(seen, rig)
    notes = [note for one in seen for note in one.notes]
    print(told(fit, rig, notes))
    beside = arguments.rig or arguments.recordings[0].absolute()
    folder = gate_pulls.kept(
        fit, rig, notes, arguments.to or beside.parent / "gates", recordings=arguments.recordings,
        at=datetime.now().astimezone(),
    )  # fmt: skip
    print(f"kept in {folder}: look at gates.svg", flush=True)
    if arguments.rig is not None:
        _enter(fit, rig, arguments, folder)
    return 0


def _seen(recordings: Sequence[Recording], rig: Rig) -> list[Sighted]:
    from tqdm import tqdm

    from logger.guide import gate_pulls

    with tqdm(total=len(recordings), delay=2, disable=None, unit="recording", leave=False) as bar:
        return gate_pulls.seen(recordings, rig, told=lambda _: bar.update())


def _enter(fit: BeamFit, rig: Rig, arguments: argparse.Namespace, folder: Path) -> None:
    """Enter the places into the rig file, or say what would be entered."""
    from logger.guide.gate_pulls import entered
    from logger.guide.gate_words import gates_of

    gates = gates_of(fit, rig)
    shown = ", ".join(f"{g.name} offset_mm = {g.offset_mm:g}, u_offset_mm = {g.u_offset_mm:g}" for g in gates)
    if not arguments.write:
        print(f"not entered; --write would set {shown} in {arguments.rig}")
        return
    older = entered(gates, arguments.rig, folder, at=datetime.now().astimezone())
    print(f"entered into {arguments.rig}: {shown}", f"as it was before: {older}", sep="\n")
    if fit.left_out:
        print("boatrun calibrate gates: some passages were left out; see the notes", file=sys.stderr)
