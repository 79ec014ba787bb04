"""The map of a calibrated water plane: how far off a place may be, all over the tank, in mm.

Steps of equal doubt, darker where it is larger, each with its number in the legend; contour lines carry the meaning
where colours cannot be told apart. Marks are drawn where they stand, the worst place by a ring.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

import numpy as np

from calibration.plane_worth import Worth
from logger.config import Rig
from logger.study import svg
from logger.study.axes import decimals, round_step
from logger.study.graphs import sign
from logger.study.pathmap import WIDTH, Chart, chart_of

_SHADES = ("#f2f7ec", "#dcebc9", "#bfd9a8", "#9cc4a4", "#79abac", "#5b8ea9", "#49709d", "#41528a", "#3a3570", "#2d1b52")
_LEGEND_HEIGHT = 84.0
_HEAD = 40.0
_UNSEEN = "#c9c2bd"


def plane_map(rig: Rig, worth: Worth, marks_mm: Sequence[tuple[float, float]], *, made: str) -> str:
    """An SVG document with its own styles.

    Args:
        rig: Its tank and lines.
        worth: The doubt of places over the tank.
        marks_mm: Tank x, y of what the plane was calibrated with.
        made: How and when, for the head.
    """
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    chart = chart_of(rig)
    step = _step(worth)
    body = svg.tag(
        "g",
        *_cells(worth, chart, step),
        *_tank(rig, chart),
        *_marks(marks_mm, chart),
        *_worst(worth, chart),
        transform=f"translate(0 {svg.number(_HEAD)})",
    )
    height = _HEAD + chart.height_px + _LEGEND_HEIGHT
    told = f"anywhere ± {worth.worst_mm:.1f} mm, in the middle ± {worth.median_mm:.1f} mm (95 %)"
    return svg.picture(
        WIDTH, height,
        f"<style>{css}</style>",
        svg.tag("rect", x=0, y=0, width=WIDTH, height=height, fill="#eef6f7"),
        svg.words(20, 28, f"How far off places may be: {told}", class_="crossing-name"),
        body,
        *_legend(worth, step, _HEAD + chart.height_px),
        svg.words(WIDTH - 20, height - 12, made, class_="tick", text_anchor="end"),
        title=f"Doubt of places on the water: {told}",
        summary=_summary(worth),
        key="plane",
    )  # fmt: skip


def _summary(worth: Worth) -> str:
    x, y = worth.worst_at_mm
    unseen = " The camera does not see all of it." if np.isnan(worth.expanded_mm).any() else ""
    return f"A map of the tank. Places are worst at x = {x:.0f} mm, y = {y:.0f} mm.{unseen}"


def _step(worth: Worth) -> float:
    """From shade to shade, mm."""
    return round_step(worth.worst_place_mm, len(_SHADES) - 1)


def _cells(worth: Worth, chart: Chart, step: float) -> list[str]:
    """Rows of cells of one shade are one rectangle."""
    half_x, half_y = ((v[1] - v[0]) / 2 for v in (worth.x_mm, worth.y_mm))
    shade = np.where(np.isnan(worth.expanded_mm), -1, np.floor(np.nan_to_num(worth.expanded_mm) / step)).astype(int)
    drawn = []
    low, high = (float(worth.x_mm[0]), float(worth.x_mm[-1])), (float(worth.y_mm[0]), float(worth.y_mm[-1]))
    for row, y in enumerate(worth.y_mm.tolist()):
        top, bottom = min(y + half_y, high[1]), max(y - half_y, high[0])
        first = 0
        for column in range(1, len(worth.x_mm) + 1):
            if column < len(worth.x_mm) and shade[row, column] == shade[row, first]:
                continue
            left = max(float(worth.x_mm[first]) - half_x, low[0])
            right = min(float(worth.x_mm[column - 1]) + half_x, low[1])
            (x0, y0), (x1, y1) = chart.px(left, top), chart.px(right, bottom)
            fill = _UNSEEN if shade[row, first] < 0 else _SHADES[min(int(shade[row, first]), len(_SHADES) - 1)]
            drawn.append(svg.tag("rect", x=x0, y=y0, width=x1 - x0 + 0.5, height=y1 - y0 + 0.5, fill=fill))
            first = column
    return drawn


def _tank(rig: Rig, chart: Chart) -> list[str]:
    outside = [(0.0, 0.0), (WIDTH, 0.0), (WIDTH, chart.height_px), (0.0, chart.height_px)]
    wall = [chart.px(x, y) for x, y in rig.tank.outline_mm]
    rings = " ".join(
        "M" + " ".join(f"{svg.number(x)},{svg.number(y)}" for x, y in ring) + "Z" for ring in (outside, wall)
    )
    drawn = [
        svg.tag("path", d=rings, fill="#eef6f7", fill_rule="evenodd"),  # what lies outside of a tank of any shape
        svg.path(wall, closed=True, class_="wall"),
    ]
    for line in rig.lines:
        a, b = chart.px(*line.a_mm), chart.px(*line.b_mm)
        top = min(a, b, key=lambda end: end[1])
        drawn.append(svg.path([a, b], class_=f"tape {line.role}"))
        drawn.append(sign(line.role, top[0], top[1] - 12))
        drawn.append(svg.words(top[0] + 14, top[1] - 7, line.name, class_="tape-name"))
    foot = max(y for _, y in wall) + 22
    xs = [x for x, _ in rig.tank.outline_mm]
    tick = round_step(max(xs) - min(xs), 8)
    for number in range(int(np.ceil(min(xs) / tick)), int(np.floor(max(xs) / tick)) + 1):
        x = chart.px(number * tick, 0)[0]
        label = f"{number * tick:.0f}".replace("-", "−")
        drawn.append(svg.words(x, foot, label, class_="tick", text_anchor="middle"))
    return drawn


def _marks(marks_mm: Sequence[tuple[float, float]], chart: Chart) -> list[str]:
    drawn = []
    for x, y in marks_mm:
        px, py = chart.px(x, y)
        if 0 < px < WIDTH and 0 < py < chart.height_px:
            drawn.append(svg.tag("rect", x=px - 4, y=py - 4, width=8, height=8, fill="#12343f", stroke="#fff"))
    return drawn


def _worst(worth: Worth, chart: Chart) -> list[str]:
    x, y = worth.worst_at_mm
    px, py = chart.px(x, y)
    end = px > WIDTH / 2
    return [
        svg.tag("circle", cx=px, cy=py, r=9, fill="none", stroke="#fff", stroke_width=6),
        svg.tag("circle", cx=px, cy=py, r=9, fill="none", stroke="#a63a0b", stroke_width=3),
        svg.words(
            px - 16 if end else px + 16, py + (20 if py < chart.height_px / 2 else -10),
            f"± {worth.worst_place_mm:.1f} mm", class_="coast-name", text_anchor="end" if end else "start",
        ),
    ]  # fmt: skip


def _legend(worth: Worth, step: float, top: float) -> list[str]:
    count = min(int(worth.worst_place_mm // step) + 1, len(_SHADES))
    width = 44.0
    drawn = [svg.words(20, top + 22, "±, mm (95 %)", class_="axis-name")]
    for number in range(count):
        x = 140 + number * width
        drawn.append(svg.tag("rect", x=x, y=top + 6, width=width, height=20, fill=_SHADES[number], stroke="#9fb8bd"))
        label = f"{number * step:.{decimals(step)}f}"
        drawn.append(svg.words(x, top + 44, label, class_="tick", text_anchor="middle"))
    end = 140 + count * width
    drawn.append(svg.words(end, top + 44, f"{count * step:.{decimals(step)}f}", class_="tick", text_anchor="middle"))
    drawn.append(svg.tag("rect", x=end + 30, y=top + 12, width=8, height=8, fill="#12343f", stroke="#fff"))
    drawn.append(svg.words(end + 44, top + 21, "mark", class_="tick"))
    if np.isnan(worth.expanded_mm).any():
        drawn.append(svg.tag("rect", x=end + 92, y=top + 6, width=20, height=20, fill=_UNSEEN))
        drawn.append(svg.words(end + 118, top + 21, "not seen", class_="tick"))
    return drawn
