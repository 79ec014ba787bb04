"""A page on which a person points at lines, beams and zones in the camera's picture and copies the table out.

One file, which needs nothing else and no network. What the rig has already is drawn into the picture where a
calibrated camera says that it is.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Callable, Mapping
from html import escape
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import View
from logger.config import Rig
from logger.study import svg

_STEPS_COUNT = 30
_SAID = re.compile(r"@\[(.+?)\]@")
"""A sentence in a file of HTML that may be said in another language."""
POINT_SCRIPTS = ("point.js", "point_table.js")
"""Files beside this one that make the picture live, in this order."""


def point_page(picture: NDArray[np.uint8], rig: Rig, view: View | None) -> str:
    """The whole page as HTML; `picture` is (H, W) or (H, W, 3), without a `view` nothing is drawn into it."""
    height, width = picture.shape[:2]
    data = base64.b64encode(cv2.imencode(".jpg", picture, (cv2.IMWRITE_JPEG_QUALITY, 92))[1].tobytes()).decode()
    part = point_part((width, height), rig, view, source=f"data:image/jpeg;base64,{data}")
    return _filled(_text("point_page.html"), {"SCRIPT": "".join(map(_text, POINT_SCRIPTS)), "PART": part})


def point_part(
    size_px: tuple[int, int], rig: Rig, view: View | None, *, source: str, table: str = "",
    say: Callable[[str], str] = str,
) -> str:  # fmt: skip
    """The picture at `source` with its controls and its table so far, to stand in a page that has POINT_SCRIPTS.

    `say` gives a sentence of it (see `sentences`) in the page's language.
    """
    before = "" if view is None else _before(rig, view, size_px[0])
    filled = {"WIDTH": str(size_px[0]), "HEIGHT": str(size_px[1]), "BEFORE": before, "SOURCE": source}
    filled["TABLE"] = escape(table)
    spoken = _SAID.sub(lambda found: escape(say(found[1])), _text("point_part.html"))
    return _filled(spoken, filled)


def sentences() -> tuple[str, ...]:
    """All that the controls of `point_part` say, in English."""
    return tuple(dict.fromkeys(_SAID.findall(_text("point_part.html"))))


def _text(name: str) -> str:
    return files("logger.study").joinpath(name).read_text(encoding="utf-8")


def _filled(text: str, values: Mapping[str, str]) -> str:
    for name, value in values.items():
        text = text.replace(f"@{name}@", value)
    return text


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
