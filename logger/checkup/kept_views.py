"""Pictures of the rig as it was calibrated, kept beside the calibration: has the camera moved since?

A picture belongs to one calibration, by letters in its name made from the calibration's lens and pose; after another
calibration it no longer counts. It is never overwritten. A camera is compared with the oldest picture that can tell,
so that keeping a new picture cannot hide that the camera moved before.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import LENS_PARAMETERS, Floats
from calibration.steady import Moved, landmarks, moved, verdict
from calibration.waterplane import View
from logger.drivers.interface import Finding
from logger.errors import StoreError

Grey = NDArray[np.uint8]
PART = "camera's place"
_HELP = "marks with sharp edges on the rim, all round, help; see that nothing covers them"
_MOST_COUNT = 100
"""Pictures of one calibration and one day."""


def kept(calibration: Path, view: View) -> list[Path]:
    """The pictures kept for this calibration, the oldest first."""
    return sorted(calibration.parent.glob(f"{_stem(calibration, view)}-*.png"), key=_age)


def keep(calibration: Path, view: View, picture: Grey, *, day: date) -> Path:
    """Write a grey picture beside the calibration under the next free name.

    Raises:
        StoreError: it cannot be written; nothing is left behind then.
    """
    data = cv2.imencode(".png", picture)[1].tobytes()
    for number in range(1, _MOST_COUNT):
        name = f"{_stem(calibration, view)}-{day}{'' if number == 1 else f'-{number}'}.png"
        path = calibration.with_name(name)
        try:
            _write_new(path, data)
        except FileExistsError:
            continue
        except OSError as error:
            raise StoreError(
                f"{path}: cannot be written ({error.strerror}); free some space or check permissions"
            ) from error
        return path
    raise StoreError(f"{path}: found {_MOST_COUNT - 1} pictures of this day already; delete some of them")


def compared(
    pictures: Sequence[Path], view: View, now: Grey, *, water_mm: Floats, places_mm: Floats, allowed_mm: float
) -> Finding:
    """Whether the camera stands where it stood.

    Args:
        pictures: As `kept` gives them.
        view: The camera as calibrated.
        now: A grey picture of now, of the calibration's size.
        water_mm: (N, 2) outline of the water.
        places_mm: (P, 2) where places matter.
        allowed_mm: By how much the calibration itself leaves them open.
    """
    if not pictures:
        found = "no picture was kept when it was calibrated, so nobody knows whether the camera has moved since"
        cure = "just after calibrating, do: boatrun check --keep-view, with nobody in the picture"
        return Finding(PART, "doubtful", found, cure)
    why = ""
    for path in pictures:
        then = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        if then is None or then.shape != now.shape:
            why = why or f"{path.name} is no picture of this size"
            continue
        seen = moved(landmarks(np.asarray(then, np.uint8), view, water_mm=water_mm), now, places_mm)
        if isinstance(seen, Moved):
            return _told(seen, allowed_mm, path)
        why = why or seen
    return Finding(PART, "doubtful", f"cannot tell whether the camera has moved: {why}", _HELP)


def _told(seen: Moved, allowed_mm: float, path: Path) -> Finding:
    digits = 1 if seen.u_mm >= 0.05 else 2
    shift = f"{seen.shift_mm:.{digits}f} ± {2 * seen.u_mm:.{digits}f} mm"
    proof = f"(95 %; {seen.pieces_count} pieces of {path.name} found again, {allowed_mm:.1f} mm allowed)"
    cure = "set the camera back and fill the water to its mark, or calibrate the plane again and keep a new view"
    said = verdict(seen, allowed_mm)
    if said == "steady":
        return Finding(PART, "well", f"as it was calibrated, to {shift} over the tank {proof}")
    if said == "moved":
        return Finding(PART, "wrong", f"the camera has moved by {shift} over the tank {proof}", cure)
    if said == "perhaps":
        return Finding(PART, "doubtful", f"the camera may have moved by {shift} over the tank {proof}", cure)
    return Finding(PART, "doubtful", f"cannot tell whether the camera has moved: {shift} over the tank {proof}", _HELP)


def _stem(calibration: Path, view: View) -> str:
    numbers = [getattr(view.lens, name) for name in LENS_PARAMETERS]
    numbers += [*view.pose.rotation.ravel(), *view.pose.translation_mm]
    written = " ".join(f"{number:.9g}" for number in numbers)
    return f"{calibration.stem}-view-{hashlib.sha256(written.encode()).hexdigest()[:8]}"


def _age(path: Path) -> tuple[str, int]:
    """Day and number, from the name."""
    words = path.stem.rsplit("-", 4)
    day, number = (words[1:4], words[4]) if len(words) == 5 and len(words[1]) == 4 else (words[2:5], "1")
    return "-".join(day), int(number) if number.isdigit() else 1


def _write_new(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            path.unlink(missing_ok=True)
            raise
