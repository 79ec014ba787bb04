"""The lens that a calibration file holds, whichever kind of file it is, with all its doubt in one covariance."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from calibration.errors import CalibrationError
from calibration.files import load_calibration, load_lens
from calibration.lens import LENS_PARAMETERS, Floats, Lens
from calibration.reader import read_toml


def known_lens(path: Path) -> tuple[Lens, Floats]:
    """Lens and covariance (9, 9) of the file at `path`, with or without a pose.

    Raises:
        CalibrationError: with all mistakes of the file.
    """
    _, table = read_toml(path)
    if "pose" not in table:
        return load_lens(path)
    view = load_calibration(path).view
    here = _vector(view.lens)
    changes = [_vector(lens) - here for lens, _ in view.variations.values()]
    covariance: Floats = np.sum([np.outer(one, one) for one in changes], axis=0) if changes else np.zeros((9, 9))
    return view.lens, covariance


def _vector(lens: Lens) -> Floats:
    return np.array([getattr(lens, name) for name in LENS_PARAMETERS], np.float64)


def states_doubt(covariance: Floats, *, place: str) -> None:
    """Raise CalibrationError unless the lens says how well it is known."""
    if not np.diag(covariance).any():
        wrong = "its lens does not say how well it is known; calibrate the lens, or state u_fx_px, u_k1 ... in [lens]"
        raise CalibrationError(place, [wrong])
