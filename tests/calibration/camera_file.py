"""The smallest camera.toml, to be changed, written and read by the tests of what is read from it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.files import load_view

SMALLEST = """
format = "boatrun-camera/1"
[lens]
width_px = 1280
height_px = 720
fx_px = 950
fy_px = 951.5
cx_px = 640.5
cy_px = 360
[pose]
rotation = [[1, 0, 0], [0, -1, 0], [0, 0, -1]]
translation_mm = [-600, 20, 1200]
"""
GRID = np.array([[20.0, 30.0], [640.0, 360.0], [1250.0, 40.0], [900.0, 700.0]])


def written(folder: Path, text: str) -> Path:
    path = folder / "camera.toml"
    path.write_text(text, encoding="utf-8")
    return path


def mistakes_of(folder: Path, text: str) -> tuple[str, ...]:
    """What is wrong with a camera.toml that says `text`; it must be refused."""
    with pytest.raises(CalibrationError, match=r"camera\.toml: ") as caught:
        load_view(written(folder, text))
    return caught.value.mistakes
