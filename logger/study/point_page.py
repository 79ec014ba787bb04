"""A page on which a person points at lines, beams and zones in the camera's picture and copies the table out.

One file, which needs nothing else and no network. What the rig has already is drawn into the picture where a
calibrated camera says that it is.
"""

from __future__ import annotations

import base64
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Rig
from logger.study import svg

_STEPS_COUNT = 30


def point_page(picture: NDArray[np.uint8], rig: Rig, view: View | None) -> str:
    """The whole page as HTML; `picture` is (H, W) or (H, W, 3), without a `view` nothing is drawn into it."""
    height, width = picture.shape[:2]
    data = base64.b64encode(cv2.imencode(".jpg", picture, (cv2.IMWRITE_JPEG_QUALITY, 92))[1].tobytes()).decode()
    page = files("logger.study").joinpath("point_page.html").read_text(encoding="utf-8")
    before = "" if view is None else _before(rig, view, width)
    filled = {"WIDTH": str(width), "HEIGHT": str(height), "BEFORE": before, "PICTURE": data}
    for name, text in filled.items():
        page = page.replace(f"@{name}@", text)
    return page


def _before(rig: Rig, view: View, width: int) -> str:
    """Lines as the rig file has them."""
    drawn = []
    for line in rig.lines:
        share = np.linspace(0, 1, _STEPS_COUNT)[:, None]
        places = np.array(line.a_mm) * (1 - share) + np.array(line.b_mm) * share
        pixels = view.to_pixels(np.column_stack([places, np.zeros(_STEPS_COUNT)])).tolist()
        unit = width / 640
        drawn.append(
            svg.path([(u, v) for u, v in pixels], fill="none", stroke="#28dc28", stroke_width=unit,
                     stroke_dasharray=f"{svg.number(6 * unit)} {svg.number(4 * unit)}")
        )  # fmt: skip
        drawn.append(svg.words(pixels[0][0], pixels[0][1], line.name, fill="#28dc28", font_size=12 * unit))
    return "".join(drawn)
