"""From a rig's file and a run's card to the plan that the loop carries out, and the tracker that goes with it."""

from __future__ import annotations

from pathlib import Path

from calibration.errors import CalibrationError
from calibration.files import load_view
from logger.checkup import kept_views
from logger.config import Rig, RunCard
from logger.recording.rig_toml import calibration_of
from logger.station.line import LiveTracker, Plan
from logger.station.referee import Begin
from logger.vision.live.tracker import LiveTracker as Tracker

_PATIENT_S = 300.0
"""A simulated camera takes the time that it needs to paint."""


def plan_of(card: RunCard, rig: Rig, rig_file: Path, folder: Path, *, begin: Begin = "hands_off") -> Plan:
    """The plan of one run.

    Args:
        card: the run's card.
        rig: as its file says now.
        rig_file: where that is; the files that it names lie beside it.
        folder: where the recording is to stand; must not exist yet.
        begin: what begins the run.

    Raises:
        InputError: the calibration that the rig names cannot be read.
    """
    is_live = all(choice.is_live for choice in rig.witnesses.values())  # else nobody can press a key in its time
    return Plan(
        card=card,
        rig=rig,
        folder=folder,
        calibration=calibration_of(rig, rig_file),
        kept_view=_kept_view(rig, rig_file),
        begin=begin,
        is_live=is_live,
        **({} if is_live else {"silent_after_s": _PATIENT_S}),
    )


def tracker_of(plan: Plan, rig_file: Path) -> LiveTracker | None:
    """Who follows the boat live; None: the rig has no camera that could be opened."""
    camera = plan.rig.camera
    if camera is None or camera.driver is None:
        return None
    view = load_view(rig_file.parent / camera.calibration)
    return Tracker(view, plan.rig.tank, plan.card.boat, start=plan.rig.line("start"), delay_s=camera.delay_s)


def is_simulated(rig: Rig) -> bool:
    """No real water, whatever the rig file says of itself: a driver of it is simulated."""
    return rig.simulated or any(choice.is_simulated for choice in rig.witnesses.values())


def _kept_view(rig: Rig, path: Path) -> bytes | None:
    """The oldest picture that was kept for the calibration in use, so that each recording can be compared with it."""
    if rig.camera is None:
        return None
    file = path.parent / rig.camera.calibration
    try:
        kept = kept_views.kept(file, load_view(file))
        return kept[0].read_bytes() if kept else None
    except (CalibrationError, OSError):
        return None  # a bad calibration is told where it is used; without the picture nothing is compared
