"""The item of the check boat's pulls: do gates and camera agree on where and when, within what each says of itself?"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.beams import BeamFit
    from logger.checkup.gate_trials import Judged
    from logger.config import Rig
    from logger.recording.folder import Recording

FEWEST_COUNT = 3
_QUICKER_RATIO = 1.5
"""The fastest pull over the slowest; alike ones cannot tell a late camera from a beam that stands elsewhere."""


def pulls_judged(rig: Rig, path: Path, folders: Sequence[Path]) -> Judged:
    """What is to be said of these pulls.

    Args:
        rig: As it is to be accepted.
        path: Its file.
        folders: The recordings.

    Raises:
        InputError: they cannot be used: too few, of another calibration, those that the gates were calibrated with.
    """
    from logger.guide.gate_pulls import loaded, solved
    from logger.guide.gate_pulls import seen as seen_in

    if len(folders) < FEWEST_COUNT:
        raise InputError(f"pulls: found {len(folders)}; wanted {FEWEST_COUNT} or more, slow and fast; pull more often")
    recordings = loaded(folders)
    _check(recordings, rig, path)
    seen = seen_in(recordings, rig)
    return judged(solved(seen, rig), rig, [note for one in seen for note in one.notes])


def judged(fit: BeamFit, rig: Rig, notes: Sequence[str] = ()) -> Judged:
    """Whether what the pulls say of each beam agrees with the rig file. Pure."""
    from logger.checkup.gate_trials import Judged

    found: list[str] = []
    cures: list[str] = []
    for said, cure in [*_places(fit, rig), *_moments(fit, rig), *_ways(fit, rig)]:
        found.append(said)
        cures += [cure] if cure else []
    found += [f"note: {note}" for note in notes]
    found += [
        f"left out: {out.sighting.label}, gate {out.sighting.gate}, {out.off_mm:+.0f} mm from what the others say"
        for out in fit.left_out
    ]
    return Judged(not cures, tuple(found), "; ".join(dict.fromkeys(cures)))


_ANEW = "boatrun calibrate gates RECORDINGS --rig RIG --write, then begin the acceptance anew with other pulls"


def _places(fit: BeamFit, rig: Rig) -> list[tuple[str, str]]:
    """Each beam: where the camera has it, and where the rig file has it."""
    from calibration.lines import agreement
    from calibration.quantity import Quantity
    from logger.checkup.acceptance import WORST_MM

    told = []
    for gate in rig.gates:
        count = sum(one.gate == gate.name for one in fit.kept)
        if gate.name not in fit.places or count < FEWEST_COUNT:
            cure = "pull once more, straight, through all beams, so that the camera sees all of it"
            told.append((f"gate {gate.name}: {count} usable passages; {FEWEST_COUNT} are wanted", cure))
            continue
        filed = Quantity.of(gate.offset_mm, "mm", u=max(gate.u_offset_mm, 1e-3), source="rig file")
        both = agreement(filed, fit.places[gate.name])
        off = both.difference
        said = f"gate {gate.name}: the camera has it {off} from where the rig file has it (95 %), {count} passages"
        if both.agrees and abs(off.value) <= WORST_MM:
            told.append((said, ""))
        elif both.agrees:
            told.append((f"{said}; {WORST_MM:g} mm allowed", _ANEW))
        else:
            told.append((f"{said}: they do not agree", _ANEW))
    return told


def _moments(fit: BeamFit, rig: Rig) -> list[tuple[str, str]]:
    """What slow and fast pulls say of the camera's delay."""
    from calibration.quantity import Source
    from logger.checkup.acceptance import APART_S
    from logger.results.sightings import u_delay_s

    speeds = [abs(one.speed_mm_per_s) for one in fit.kept]
    if not speeds:
        return []
    span = f"pulls at {min(speeds):.0f} to {max(speeds):.0f} mm/s"
    if max(speeds) < _QUICKER_RATIO * min(speeds):
        return [(f"{span} are alike: they say nothing of moments", "pull once slowly and once twice as fast")]
    known = fit.learnt.get(Source("camera delay"))
    if known is None:
        return [(f"{span} say nothing more of moments than the light did", "")]
    u_s = u_delay_s(rig.camera)
    off_s, twice_s = known.off * u_s, 2 * known.u_off * u_s
    said = f"moments of gates and camera are {1e3 * off_s:+.1f} ± {1e3 * twice_s:.1f} ms apart (95 %), {span}"
    cure = "boatrun calibrate light RIG --write, with the exposure of the runs; then begin the acceptance anew"
    return [(said, "" if abs(off_s) <= APART_S else cure)]


def _ways(fit: BeamFit, rig: Rig) -> list[tuple[str, str]]:
    """From beam to beam, by camera and tape: speeds differ by as much."""
    from calibration.lines import agreement
    from logger.checkup.acceptance import APART_SHARE
    from logger.guide.gate_words import between

    both = between(fit, rig)
    if both is None:
        return []
    if both.taped is None:
        cure = "tape the way from beam to beam, twice: boatrun calibrate lines RIG --taped MM MM --write"
        return [(f"from beam to beam {both.seen} by the camera; it was not taped", cure)]
    share = both.seen.value / both.taped.value - 1
    said = f"from beam to beam {both.seen} by the camera, {both.taped} by the tape: speeds {share:+.2%} apart"
    agrees = agreement(both.seen, both.taped).agrees
    if agrees and abs(share) <= APART_SHARE:
        return [(said, "")]
    cure = "tape again from beam to beam; if it stays, the plane's scale is wrong: calibrate the plane again"
    return [(said + (f"; {APART_SHARE:.0%} allowed" if agrees else ", they do not agree"), cure)]


def _check(recordings: Sequence[Recording], rig: Rig, path: Path) -> None:
    """Refuse pulls that say nothing of the rig as it stands now."""
    from calibration.errors import CalibrationError
    from calibration.files import load_calibration

    used = _calibrated_with(path.absolute().parent / "gates")
    for recording in recordings:
        if recording.folder.name in used:
            raise InputError(
                f"{recording.folder}: the gates were calibrated with this pull, so it agrees with itself; pull anew"
            )
        if {gate.name for gate in recording.rig.gates} != {gate.name for gate in rig.gates}:
            raise InputError(f"{recording.folder}: its gates are not those of {path}; record pulls with this rig")
    if rig.camera is None:
        raise InputError(f"{path}: there is no camera to agree with; leave this item out")
    try:
        now = load_calibration(path.parent / rig.camera.calibration).id
    except CalibrationError as error:
        raise InputError(f"pulls: {error}; calibrate the plane first") from error
    for recording in recordings:
        if recording.calibration_id != now:
            raise InputError(
                f"{recording.folder}: recorded with calibration {recording.calibration_id!r}, the rig now has {now!r}; "
                "pull anew"
            )


def _calibrated_with(folder: Path) -> set[str]:
    """Names of the recordings of the newest evidence."""
    found = sorted(folder.glob("gates-*/gates.toml"))
    if not found:
        return set()
    try:
        table = tomllib.loads(found[-1].read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return set()
    return {Path(str(name)).name for name in table.get("recordings", [])}
