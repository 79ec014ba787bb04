"""Which items a rig must pass before it is handed over, and what each asks of people. No device is opened here.

An acceptance is one rig as its files stand now: after any change of rig file, calibration or software all of it is done
anew, for what was seen before was seen of another rig.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from logger import __version__
from logger.config import Rig
from logger.recording.acceptance_file import Acceptance, sha256_of

CHECK, STRAWS, RIPPLES, LIGHT, PLANE, PULLS, PLUG = "check", "straws", "ripples", "light", "plane", "pulls", "plug"
WORST_MM = 5.0
"""Places on the water shall be as good as that, 95 %, at worst (users' need: a lane line is 10 mm of tape)."""
WORST_DELAY_S = 0.005
"""The camera's delay shall be known as well as that, 95 %: at 1.25 m/s it is 6 mm."""
APART_S, APART_SHARE = 0.020, 0.02
"""Gate and camera shall agree on a moment, and on a way, as well as that."""
LOST_S = 1.0
"""So much of the last recording may be lost when the power goes."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that must pass."""

    name: str
    """Its word on the command line; straws have the gate behind a colon."""
    title: str
    how: str
    """What people do, in words."""
    blank: str = ""
    """What they have to type; empty: nothing."""

    @property
    def kind(self) -> str:
        """The word before the colon."""
        return self.name.partition(":")[0]

    @property
    def gate(self) -> str:
        """The gate, for straws."""
        return self.name.partition(":")[2]


def items_of(rig: Rig) -> tuple[Item, ...]:
    """All that a rig of this kind must pass, in the order in which it is best done."""
    found = [
        Item(CHECK, "everything answers", "Nobody at the tank, nothing in the beams; it takes some fifteen seconds."),
    ]
    for gate in rig.gates:
        how = "Have a straw of 6 mm ready. Ten calls, one every 3 s: pass it through the beam once after each."
        found.append(Item(f"{STRAWS}:{gate.name}", f"straws break the beam of gate {gate.name}", how))
    if rig.gates:
        how = "Rock the water for 60 s with a flat hand at the tank's end; nothing in the beams."
        found.append(Item(RIPPLES, "ripples leave the beams alone", how))
    if rig.camera is not None:
        found += _with_camera(rig)
    how = (
        "A recording begins. Wave a straw through a beam, and pull the computer's own low-voltage plug (not one of the "
        "mains) when told to. Switch on again and give the same command: it says what was kept."
    )
    return (*found, Item(PLUG, "a pulled plug loses no more than the last second", how))


def _with_camera(rig: Rig) -> list[Item]:
    found = []
    if rig.gates:
        how = (
            "Put the light where the camera sees it, hands off. It blinks for half a minute, at most 3 times a second."
        )
        found.append(Item(LIGHT, "the camera's delay is known", how))
    how = (
        "Lay something of known length flat on or just above the water: a batten with two rim marks, a steel rule. "
        "Type its two ends, each as #MARK/HEIGHT or COLUMN,ROW/HEIGHT, and its length in mm: #4/12 #5/12 1000"
    )
    found.append(Item(PLANE, "places on the water are right", how, "ENDS and LENGTH"))
    if rig.gates:
        how = (
            "Pull the check boat by a thread through all gates, three times or more, slowly and fast, and boatrun "
            "record each pull: other pulls than those that the gates were calibrated with. Type the recordings' names."
        )
        found.append(Item(PULLS, "gates and camera agree", how, "RECORDINGS"))
    return found


def begun(path: Path, rig: Rig, *, at: str) -> Acceptance:
    """An acceptance of the rig of the file at `path`, of which nothing is done yet. InputError: a file is missing."""
    calibration = "" if rig.camera is None else sha256_of(path.parent / rig.camera.calibration)
    chosen = [*rig.witnesses.values(), rig.light_driver]
    return Acceptance(
        rig=rig.name,
        rig_file_sha256=sha256_of(path),
        calibration_sha256=calibration,
        software=f"boatrun {__version__}",
        begun_at=at,
        simulated=rig.simulated or any(one is not None and one.is_simulated for one in chosen),
        items=tuple(item.name for item in items_of(rig)),
    )
