"""How each item of an acceptance is done: what is opened, recorded, looked at; and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.errors import InputError, LoggerError

if TYPE_CHECKING:
    from logger.checkup.acceptance import Item
    from logger.checkup.gate_trials import Judged
    from logger.checkup.machine import Machine
    from logger.config import Rig

Say = Callable[[str], None]
LIGHT_S = 25.0
"""How long the light blinks."""


@dataclass(frozen=True, slots=True)
class At:
    """Where and with what an item is done."""

    path: Path
    """The rig file."""
    rig: Rig
    folder: Path
    """Of this acceptance's evidence."""
    recordings: Path
    """Where recordings go."""
    say: Say
    computer: Machine
    picture: Path | None = None
    """A picture of the known length; None: the camera takes one."""


@dataclass(frozen=True, slots=True)
class NotDone:
    """It could not be judged."""

    why: str


@dataclass(frozen=True, slots=True)
class Did:
    """It was judged."""

    judged: Judged
    evidence: str = ""
    """File or folder, as people find it from the rig file's folder."""


def do(item: Item, at: At, typed: Sequence[str]) -> Did | NotDone:
    """Do `item` with what people typed for its blank; a device or file that is wrong is no verdict."""
    ways: dict[str, Callable[[Item, At, Sequence[str]], Did | NotDone]] = {
        "check": _check, "straws": _straws, "ripples": _ripples, "light": _light, "plane": _plane, "pulls": _pulls,
        "plug": _plug,
    }  # fmt: skip
    try:
        return ways[item.kind](item, at, typed)
    except LoggerError as error:
        return NotDone(" ".join(str(error).split()))


# --- the check ---


def _check(_: Item, at: At, __: Sequence[str]) -> Did:
    from logger.checkup.check import Wanted, check
    from logger.checkup.gate_trials import Judged

    at.recordings.mkdir(parents=True, exist_ok=True)  # as the recorder makes it
    findings = list(check(Wanted(at.path, recordings=at.recordings), computer=at.computer, say=at.say))
    wrong = [one for one in findings if one.health == "wrong"]
    doubtful = [one for one in findings if one.health == "doubtful"]
    found = [f"{len(findings)} things looked at: {len(wrong)} wrong, {len(doubtful)} in doubt"]
    found += [f"wrong: {one.part}: {one.found}" for one in wrong]
    found += [f"in doubt: {one.part}: {one.found}" for one in doubtful]
    return Did(Judged(not wrong, tuple(found), "; ".join(dict.fromkeys(one.cure for one in wrong))))


# --- the gates ---


def _straws(item: Item, at: At, __: Sequence[str]) -> Did:
    from logger.checkup.gate_hearing import straws
    from logger.drivers import open_driver

    return Did(straws(at.rig, item.gate, opener=open_driver, place=str(at.path), say=at.say))


def _ripples(_: Item, at: At, __: Sequence[str]) -> Did:
    from logger.checkup.gate_hearing import ripples
    from logger.drivers import open_driver

    return Did(ripples(at.rig, opener=open_driver, place=str(at.path), say=at.say))


# --- the camera's delay ---


def _light(_: Item, at: At, typed: Sequence[str]) -> Did:
    """Blink now (or take a session that was kept) and compare with what the rig file says."""
    from logger.guide.light_blinks import watched, worked_out
    from logger.recording.light_evidence import read_light_evidence

    if typed:
        folder = _beside(at, typed[0])
        evidence = read_light_evidence(folder)
    else:
        below, now = at.path.absolute().parent / "light", datetime.now().astimezone()
        blinked = watched(at.path, below, length_s=LIGHT_S, at=now, told=at.say)
        folder, evidence = blinked.folder, blinked.evidence
    notes = evidence.notes
    if notes.rig != at.rig.name:
        raise InputError(f"{folder}: it is of the rig {notes.rig!r}, not of {at.rig.name!r}; blink with this rig")
    return Did(_delay_judged(at.rig, worked_out(folder, evidence)), _shown(at, folder))


def _delay_judged(rig: Rig, sync: Any) -> Judged:
    from calibration.lines import agreement
    from calibration.quantity import Quantity, plus_minus
    from logger.checkup.acceptance import WORST_DELAY_S
    from logger.checkup.gate_trials import Judged

    camera = rig.camera
    if camera is None:
        raise InputError("light: the rig has no camera; leave this item out")
    delay = sync.delay
    found = [f"the light says {plus_minus(1e3 * delay.value, 1e3 * delay.U)} ms (95 %) now"]
    cures = []
    if camera.u_delay_s <= 0:
        found.append("the rig file does not say a measured one")
        cures.append("boatrun calibrate light RIG --write, then begin the acceptance anew")
    else:
        said = Quantity.of(camera.delay_s, "s", u=camera.u_delay_s, source="delay of the rig file")
        both = agreement(said, delay)
        off = 1e3 * both.difference.value
        found.append(
            f"the rig file says {plus_minus(1e3 * said.value, 1e3 * said.U)} ms: {off:+.1f} ms, "
            + ("within what both allow" if both.agrees else "they do not agree")
        )
        if not both.agrees:
            cures.append("lock the exposure as it was, or boatrun calibrate light RIG --write and begin anew")
        if said.U > WORST_DELAY_S:
            found.append(f"known to ± {1e3 * said.U:.1f} ms; ± {1e3 * WORST_DELAY_S:.0f} ms allowed")
            cures.append("blink for longer (boatrun calibrate light RIG --seconds 60 --write), fix the exposure")
    found += [f"note: {doubt}" for doubt in sync.doubts]
    return Judged(not cures, tuple(found), "; ".join(cures))


# --- places on the water ---


def _plane(_: Item, at: At, typed: Sequence[str]) -> Did | NotDone:
    import cv2

    from calibration.errors import CalibrationError
    from calibration.files import load_calibration
    from logger.checkup import known_length
    from logger.guide.stills_now import still_now
    from logger.recording.stills import read_still
    from logger.settings import write_whole

    if len(typed) != 3:
        return NotDone("two ends and a length are wanted, such as #4/12 #5/12 1000")
    camera = at.rig.camera
    if camera is None:
        raise InputError("plane: the rig has no camera; leave this item out")
    wanted = known_length.given(*typed)
    try:
        view = load_calibration(at.path.parent / camera.calibration).view
    except CalibrationError as error:
        raise InputError(f"plane: {error}; calibrate the plane first") from error
    picture = still_now(at.rig, at.path) if at.picture is None else read_still([at.picture])
    wanted_px = (view.lens.height_px, view.lens.width_px)
    if picture.grey.shape != wanted_px:
        raise InputError(
            f"{picture.name}: found a picture of {picture.grey.shape[1]} x {picture.grey.shape[0]}; wanted "
            f"{wanted_px[1]} x {wanted_px[0]}, as it was calibrated; take another one"
        )
    known = known_length.placed(wanted, picture.grey)
    judged = known_length.judged(view, at.rig, known)
    kept = _new_file(at.folder, "known-length", ".png")
    shown = cv2.cvtColor(picture.grey, cv2.COLOR_GRAY2BGR)
    ends = [(round(u), round(v)) for u, v in (known.a_px, known.b_px)]
    cv2.line(shown, ends[0], ends[1], (0, 0, 255), 1, cv2.LINE_AA)
    for end in ends:
        cv2.drawMarker(shown, end, (0, 0, 255), cv2.MARKER_CROSS, 25, 1)
    write_whole(kept, cv2.imencode(".png", shown)[1].tobytes())
    return Did(judged, _shown(at, kept))


# --- gates and camera ---


def _pulls(_: Item, at: At, typed: Sequence[str]) -> Did | NotDone:
    from logger.guide.accept_pulls import pulls_judged

    if not typed:
        return NotDone("the recordings of three pulls or more are wanted")
    folders = [_beside(at, name) for name in typed]
    return Did(pulls_judged(at.rig, at.path, folders), ", ".join(_shown(at, folder) for folder in folders))


# --- the pulled plug ---


def _plug(_: Item, at: At, __: Sequence[str]) -> Did | NotDone:
    from logger.guide.accept_plug import pulled_plug

    judged, recording = pulled_plug(at.path, at.rig, at.folder, at.recordings, computer=at.computer, say=at.say)
    return NotDone(judged) if isinstance(judged, str) else Did(judged, _shown(at, recording))


# --- names ---


def _beside(at: At, name: str) -> Path:
    """A path as people give it: from here, or from the rig file's folder."""
    given = Path(name)
    return given if given.exists() else at.path.parent / given


def _shown(at: At, path: Path) -> str:
    base = at.path.absolute().parent
    there = path.absolute()
    return str(there.relative_to(base)) if there.is_relative_to(base) else str(there)


def _new_file(folder: Path, stem: str, ending: str) -> Path:
    number = 1
    while (path := folder / f"{stem}-{number}{ending}").exists():
        number += 1
    return path
