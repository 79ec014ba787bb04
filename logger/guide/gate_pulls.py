"""From recordings of a check boat's pulls to where the beams of the gates are: load, look, solve, keep, enter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from calibration.beams import BeamFit, solve_beams
from calibration.lines import PlaneLine
from logger import settings
from logger.config import Gate, Rig
from logger.errors import InputError, StoreError
from logger.guide import gate_words
from logger.recording.folder import Recording, load
from logger.recording.light_evidence import new_evidence_folder
from logger.recording.rig_change import Change, change_rig
from logger.recording.rig_toml import read_rig
from logger.results.case import case_of
from logger.results.lines import travel
from logger.results.sightings import Sighted, sighted
from logger.study.gates_seen import gates_picture
from logger.vision.tracker import track_boat


def loaded(folders: Sequence[Path]) -> list[Recording]:
    """The recordings, each once, all with pictures. InputError: one is not so."""
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


def rig_of(recordings: Sequence[Recording], path: Path | None) -> Rig:
    """The rig of the file at `path`, or as it was when recorded. InputError: they do not belong together."""
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
    timed = {gate.line for gate in rig.gates}
    way = travel(rig)
    for line in rig.lines:
        if line.name in timed:
            try:
                PlaneLine(line.name, line.a_mm, line.b_mm, (float(way[0]), float(way[1])), line.u_mm)
            except ValueError as error:
                raise InputError(f"{where}: {error}") from error


def seen(recordings: Sequence[Recording], rig: Rig, *, told: Callable[[str], None] = lambda _: None) -> list[Sighted]:
    """Where the camera had the bow when a beam broke, in each; `told` is told of each recording as it is looked at."""
    found = []
    for number, recording in enumerate(recordings, 1):
        told(f"looking at {recording.folder.name}, {number} of {len(recordings)}")
        found.append(sighted(case_of(recording, rig, track_boat(recording, rig)), recording.folder.name))
    return found


def solved(seen: Sequence[Sighted], rig: Rig) -> BeamFit:
    """Where the beams are. InputError: nothing usable was seen, or gates are swapped."""
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


def kept(
    fit: BeamFit, rig: Rig, notes: Sequence[str], below: Path, *, recordings: Sequence[Path], at: datetime
) -> Path:
    """Write all of it into a new, dated folder below `below`; the folder. StoreError if it cannot be written."""
    folder = new_evidence_folder(below, at, kind="gates")
    made_at = at.isoformat(timespec="seconds")
    table = gate_words.table(fit, rig, notes, made_at=made_at, recordings=[str(r) for r in recordings])
    try:
        settings.write_whole(folder / "gates.svg", gates_picture(fit))
        settings.write_whole(folder / "gates.toml", settings.dump(table))
    except OSError as error:
        raise StoreError(f"{folder}: could not be written ({error.strerror}); free some space") from error
    return folder


def entered(gates: Sequence[Gate], rig_file: Path, folder: Path, *, at: datetime) -> Path:
    """Enter the gates into the rig file; where the file as it was is kept. ConfigError, StoreError: nothing changed."""
    return change_rig(rig_file, Change(gates=gates, because=f"{folder.parent.name}/{folder.name}"), at=at)
