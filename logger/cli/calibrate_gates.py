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
from dataclasses import replace
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
    if arguments.write and arguments.rig is None:
        raise InputError("calibrate gates: --write needs the rig file to write into; give --rig RIG as well")
    recordings = _loaded(arguments.recordings)
    rig = _rig(recordings, arguments.rig)
    seen = _seen(recordings, rig)
    fit = _solved(seen, rig)
    notes = [note for one in seen for note in one.notes]
    from logger.cli.gate_words import told

    print(told(fit, rig, notes))
    folder = _kept(fit, rig, notes, arguments)
    print(f"kept in {folder}: look at gates.svg", flush=True)
    if arguments.rig is not None:
        _enter(fit, rig, arguments, folder)
    return 0


def _loaded(folders: Sequence[Path]) -> list[Recording]:
    from logger.recording.folder import load

    twice = [str(f) for n, f in enumerate(folders) if f.resolve() in {g.resolve() for g in folders[:n]}]
    if twice:
        raise InputError(f"calibrate gates: found {twice[0]} twice; one pull counts once; give each recording once")
    found = [load(folder) for folder in folders]
    blind = [r.folder for r in found if r.video is None]
    if blind:
        raise InputError(f"{blind[0]}: there are no pictures in it; the camera is what the gates are measured with")
    ids = [r.card.id for r in found]
    if len(set(ids)) < len(ids):
        raise InputError(
            f"calibrate gates: found two recordings with the id {max(ids, key=ids.count)!r}; are they copies of one?"
        )
    return found


def _rig(recordings: Sequence[Recording], path: Path | None) -> Rig:
    from logger.recording.rig_toml import read_rig

    rig = recordings[0].rig if path is None else read_rig(path)
    where = path or recordings[0].folder / "rig.toml"
    if not rig.gates:
        raise InputError(f"{where}: there are no [[gates]]; write name and line of each, then pull the boat through")
    for other in recordings:
        if {g.name for g in other.rig.gates} != {g.name for g in rig.gates}:
            raise InputError(f"{other.folder}: its gates are not those of {where}; give recordings of one rig")
        if path is None and (other.rig.lines, _timing(other.rig)) != (rig.lines, _timing(rig)):
            raise InputError(f"{other.folder}: its lines or camera are not those of {where}; say which count: --rig")
    _check_lines(rig, where)
    return rig


def _timing(rig: Rig) -> object:
    """What must be the same of the camera in all recordings: all but which device it is."""
    return None if rig.camera is None else replace(rig.camera, driver=None)


def _check_lines(rig: Rig, where: Path) -> None:
    """A beam along the run would be broken from end to end, and says nothing."""
    from calibration.lines import PlaneLine
    from logger.results.lines import travel

    timed = {gate.line for gate in rig.gates}
    way = travel(rig)
    for line in rig.lines:
        if line.name in timed:
            try:
                PlaneLine(line.name, line.a_mm, line.b_mm, (float(way[0]), float(way[1])), line.u_mm)
            except ValueError as error:
                raise InputError(f"{where}: {error}") from error


def _seen(recordings: Sequence[Recording], rig: Rig) -> list[Sighted]:
    from tqdm import tqdm

    from logger.results.case import case_of
    from logger.results.sightings import sighted
    from logger.vision.tracker import track_boat

    found = []
    for recording in tqdm(recordings, delay=2, disable=None, unit="recording", leave=False):
        case = case_of(recording, rig, track_boat(recording, rig))
        found.append(sighted(case, recording.folder.name))
    return found


def _solved(seen: Sequence[Sighted], rig: Rig) -> BeamFit:
    from calibration.beams import solve_beams

    sightings = [one for each in seen for one in each.sightings]
    elsewhere = [pair for each in seen for pair in each.elsewhere]
    lines = {gate.name: gate.line for gate in rig.gates}
    used = {one.gate for one in sightings}
    swapped = sorted({gate for gate, _ in elsewhere if gate not in used})
    if len(swapped) > 1:
        where = ", ".join(f"{g} (of the {lines[g]} line) broke at the {dict(elsewhere)[g]} line" for g in swapped)
        raise InputError(
            f"calibrate gates: {where}; the gates are swapped: exchange their pins or numbers in [gates_driver]"
        )
    if not sightings:
        why = "; ".join(note for each in seen for note in each.notes) or "nothing came through them"
        raise InputError(f"calibrate gates: found no usable passage: {why}; pull the boat through again")
    return solve_beams(sightings)


def _kept(fit: BeamFit, rig: Rig, notes: Sequence[str], arguments: argparse.Namespace) -> Path:
    from logger import settings
    from logger.cli.gate_words import table
    from logger.errors import StoreError
    from logger.recording.light_evidence import new_evidence_folder
    from logger.study.gates_seen import gates_picture

    beside = arguments.rig or arguments.recordings[0].absolute()
    now = datetime.now().astimezone()
    folder = new_evidence_folder(arguments.to or beside.parent / "gates", now, kind="gates")
    made_at = now.isoformat(timespec="seconds")
    kept = table(fit, rig, notes, made_at=made_at, recordings=[str(r) for r in arguments.recordings])
    try:
        settings.write_whole(folder / "gates.svg", gates_picture(fit))
        settings.write_whole(folder / "gates.toml", settings.dump(kept))
    except OSError as error:
        raise StoreError(f"{folder}: could not be written ({error.strerror}); free some space") from error
    return folder


def _enter(fit: BeamFit, rig: Rig, arguments: argparse.Namespace, folder: Path) -> None:
    """Enter the places into the rig file, or say what would be entered."""
    from logger.cli.gate_words import gates_of
    from logger.recording.rig_change import Change, change_rig

    gates = gates_of(fit, rig)
    shown = ", ".join(f"{g.name} offset_mm = {g.offset_mm:g}, u_offset_mm = {g.u_offset_mm:g}" for g in gates)
    if not arguments.write:
        print(f"not entered; --write would set {shown} in {arguments.rig}")
        return
    change = Change(gates=gates, because=f"{folder.parent.name}/{folder.name}")
    older = change_rig(arguments.rig, change, at=datetime.now().astimezone())
    print(f"entered into {arguments.rig}: {shown}", f"as it was before: {older}", sep="\n")
    if fit.left_out:
        print("boatrun calibrate gates: some passages were left out; see the notes", file=sys.stderr)
