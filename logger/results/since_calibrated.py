"""Has anything changed between the calibration and this run: does the camera stand where it stood, and the water?

A recording may hold the picture of the rig that was kept when it was calibrated. It is compared with what the film
shows at its beginning, before anybody could knock against the camera (what happens later, vision/watch/ sees). What is
surely more than the calibration leaves open is told as a sentence; nothing is put right, for the cause is a guess.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibration.level import Level, level_effect, water_level
from calibration.plane_worth import u_places_mm
from calibration.steady import Moved, landmarks, moved, still, verdict
from calibration.waterplane import View
from logger.config import Rig
from logger.recording.folder import Recording

Grey: TypeAlias = NDArray[np.uint8]
STILL_COUNT, STILL_NS = 9, 1_500_000_000
"""So many pictures of the film's first second and a half make a still one."""
LEAST_ALLOWED_MM = 1.0
"""No line is known better than that."""


def told(recording: Recording, rig: Rig) -> list[str]:
    """What has changed since the calibration, as sentences; none if nothing has, or if no view was kept."""
    then = recording.kept_picture()
    if then is None or recording.view is None or recording.stamps is None or not rig.lines:
        return []
    if then.shape != (recording.view.lens.height_px, recording.view.lens.width_px):
        return [f"the kept view is {then.shape[1]} x {then.shape[0]} pixels and cannot be compared with this film"]
    now = _at_first(recording)
    return [] if now is None else changes(recording.view, then, now, rig)


def changes(view: View, then: Grey, now: Grey, rig: Rig) -> list[str]:
    """The same for a still picture of `then` and one of `now`, both grey and of the calibration's size."""
    places = np.array([end for line in rig.lines for end in (line.a_mm, line.b_mm)])
    allowed_mm = max(LEAST_ALLOWED_MM, 2 * float(u_places_mm(view, places).max()) if view.variations else 0.0)
    water = np.array(rig.tank.outline_mm)
    sentences = []
    camera = moved(landmarks(then, view, water_mm=water), now, places)
    if isinstance(camera, Moved) and verdict(camera, allowed_mm) == "moved":
        sentences.append(
            f"the camera has moved since it was calibrated, by {camera.shift_mm:.1f} ± {2 * camera.u_mm:.1f} mm on the "
            "water (95 %); calibrate the plane again"
        )
    level = water_level(view, then, now, water_mm=water, depth_mm=rig.tank.water_depth_mm)
    if isinstance(level, Level):
        sentences += _of_level(view, level, places, allowed_mm)
    return sentences


def _of_level(view: View, level: Level, places: NDArray[np.float64], allowed_mm: float) -> list[str]:
    effect = level_effect(view, level.higher_mm, places)
    sure_mm = max(abs(level.higher_mm) - 2 * level.u_higher_mm, 0.0)
    if level_effect(view, sure_mm, places).most_mm <= allowed_mm:
        return []
    which = "higher" if level.higher_mm > 0 else "lower"
    wrong = "long" if level.higher_mm > 0 else "short"
    return [
        f"the water stood {abs(level.higher_mm):.1f} ± {2 * level.u_higher_mm:.1f} mm {which} than when it was "
        f"calibrated (95 %): lengths are {abs(effect.percent):.2f} % too {wrong}, places up to {effect.most_mm:.1f} mm "
        "off; set the water to its mark"
    ]


def _at_first(recording: Recording) -> Grey | None:
    """One still picture of the film's beginning."""
    assert recording.stamps is not None  # noqa: S101 - asked before
    t_ns = recording.stamps.t_ns
    early = np.flatnonzero(t_ns - t_ns[0] <= STILL_NS) if len(t_ns) else np.zeros(0, np.intp)
    chosen = (
        early[np.linspace(0, len(early) - 1, min(STILL_COUNT, len(early))).round().astype(int)] if len(early) else early
    )
    seen = [frame.image for frame in recording.frames(grey=True, wanted=frozenset(chosen.tolist()))]
    return still(seen) if seen else None
