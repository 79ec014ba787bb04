"""Lines, beams and zones drawn over the camera's picture, and over a plan of the tank: look whether they lie right.

In the picture, the lines are drawn where they are on the water. What was pointed at stands there as a cross, with a
ring where the place that came of it is on the water: of a tape on the floor the two lie apart, by what the water does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens import Floats
from calibration.places import StraightLine
from calibration.waterplane import View
from logger.config import Rig, Zone
from logger.results.lines import ahead
from logger.study import pathmap, svg
from logger.study.plane_seen import Picture, Spots, plane_seen

_BEAM, _ZONE = (255, 220, 40), (200, 120, 255)
"""Blue, green, red."""
_SIDES_COUNT = 48


def places_seen(
    picture: NDArray[np.uint8],
    view: View,
    rig: Rig,
    *,
    beams: Mapping[str, StraightLine],
    pointed_px: Sequence[tuple[float, float]] = (),
    placed_mm: Sequence[tuple[float, float]] = (),
    enlarged: float = 1.0,
) -> Picture:
    """The grey picture (H, W) in colours (H, W, 3) with everything of the rig drawn into it.

    Args:
        picture: Of the calibration's size.
        view: The calibrated camera.
        rig: With all its lines and zones.
        beams: Gate -> its beam.
        pointed_px: What was pointed at.
        placed_mm: Where each of these came to lie on the water.
        enlarged: By how much names are larger than for a whole screen.
    """
    found = np.array(pointed_px, np.float64).reshape(-1, 2)
    fitted = view.to_pixels(np.column_stack([np.array(placed_mm, np.float64).reshape(-1, 2), np.zeros(len(found))]))
    drawn = plane_seen(picture, view, rig, Spots(found, fitted), enlarged=enlarged)
    width = max(2, round(picture.shape[1] / 500))
    for name, beam in beams.items():
        ends = np.array([beam.a_mm, beam.b_mm])
        _lines(drawn, view, ends, _BEAM, width, dashed=True)
        _label(drawn, view, ends[0], name, _BEAM, enlarged)
    for zone in rig.zones:
        outline = outline_of(zone)
        _lines(drawn, view, np.vstack([outline, outline[:1]]), _ZONE, width)
        _label(drawn, view, outline.mean(0), zone.name, _ZONE, enlarged)
    return drawn


def outline_of(zone: Zone) -> Floats:
    """(N, 2) its border, mm."""
    if zone.middle_mm is None or zone.radius_mm is None:
        return np.array(zone.outline_mm, np.float64)
    turn = np.linspace(0, 2 * np.pi, _SIDES_COUNT, endpoint=False)
    return np.array(zone.middle_mm) + zone.radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])


def _lines(
    drawn: Picture, view: View, places: Floats, colour: tuple[int, int, int], width: int, *, dashed: bool = False
) -> None:
    """Straight on the water; the lens may bend it."""
    fine = np.concatenate([
        a + np.linspace(0, 1, 41)[:, None] * (b - a) for a, b in pairwise(places)
    ])  # fmt: skip
    pixels = view.to_pixels(np.column_stack([fine, np.zeros(len(fine))]))
    near = (np.abs(pixels) < 4 * max(drawn.shape)).all(1)
    for n in range(len(pixels) - 1):
        if near[n] and near[n + 1] and not (dashed and n % 4 > 1):
            cv2.line(drawn, _whole(pixels[n]), _whole(pixels[n + 1]), colour, width, cv2.LINE_AA)


def _label(drawn: Picture, view: View, place: Floats, text: str, colour: tuple[int, int, int], enlarged: float) -> None:
    plain = text.encode("ascii", "replace").decode()  # the letters that OpenCV draws
    x, y = np.clip(view.to_pixels([[*place, 0.0]])[0], 12, np.array(drawn.shape[1::-1]) - 12)
    size = drawn.shape[1] / 1280 * 0.6 * enlarged
    (wide, high), _ = cv2.getTextSize(plain, cv2.FONT_HERSHEY_SIMPLEX, size, 1)
    left = int(np.clip(x + 6, 2, max(2, drawn.shape[1] - wide - 2)))
    foot = int(np.clip(y - 6, high + 2, drawn.shape[0] - 3))
    for shade, width_px in (((0, 0, 0), 4), (colour, 1)):
        thick = max(1, round(width_px * size / 0.6))
        cv2.putText(drawn, plain, (left, foot), cv2.FONT_HERSHEY_SIMPLEX, size, shade, thick, cv2.LINE_AA)


def _whole(pixel: Floats) -> tuple[int, int]:
    return round(float(pixel[0])), round(float(pixel[1]))


def beams_of(rig: Rig) -> dict[str, StraightLine]:
    """Gate -> its beam, where the rig file has it: beside the line that it times."""
    beams = {}
    for gate in rig.gates:
        line = next((one for one in rig.lines if one.name == gate.line), None)
        if line is not None:
            past = gate.offset_mm * ahead(line, rig).normal
            (ax, ay), (bx, by) = (np.asarray(end) + past for end in (line.a_mm, line.b_mm))
            beams[gate.name] = StraightLine((float(ax), float(ay)), (float(bx), float(by)), gate.u_offset_mm, {})
    return beams


def rig_map(rig: Rig) -> str:
    """The plan of the tank with what the rig file says: lines, beams and zones."""
    return places_map(rig, beams=beams_of(rig))


def places_map(rig: Rig, *, beams: Mapping[str, StraightLine]) -> str:
    """A plan of the tank with lines, beams and zones, to scale; an SVG document with its own styles."""
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    chart = pathmap.chart_of(rig)
    names = ", ".join([*(line.name for line in rig.lines), *(zone.name for zone in rig.zones)])
    plan = pathmap.path_map(rig, None, key="plan", title="Plan of the tank", summary=f"Lines and zones: {names}.")
    more = [f"<style>{css}</style>"]
    for name, beam in beams.items():
        ends = [chart.px(*beam.a_mm), chart.px(*beam.b_mm)]
        more.append(svg.path(ends, class_="crossing"))
        low = max(ends, key=lambda end: end[1])  # the names of the lines stand at the upper ends
        more.append(svg.words(low[0] + 6, low[1] - 8, name, class_="tick"))
    return plan.removesuffix("</svg>") + "".join(more) + "</svg>"
