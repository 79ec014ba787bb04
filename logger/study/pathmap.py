"""The map of one run on a drawing of the tank, true to scale, seen from above.

Dots at equal times: far apart means fast. The boat's outline stands where its track begins and where it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.config import Line, Rig, Zone
from logger.study import svg
from logger.study.axes import round_step
from logger.study.graphs import sign
from logger.study.series import Floats, Series

WIDTH = 720.0
_MARGIN = 46.0
_TALLEST = 560.0
_GRID_MM = 100.0


@dataclass(frozen=True, slots=True)
class Chart:
    """From tank millimetres to user units of the drawing; one scale for both directions."""

    left_mm: float
    top_mm: float
    scale_px_per_mm: float
    """User units per millimetre."""
    margin_px: float
    height_px: float

    def px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a point of the tank is drawn: y of the tank points up."""
        return self.margin_px + (x_mm - self.left_mm) * self.scale_px_per_mm, _MARGIN + (
            self.top_mm - y_mm
        ) * self.scale_px_per_mm


def chart_of(rig: Rig) -> Chart:
    """The scale at which the whole tank fits the drawing."""
    corners = np.array(rig.tank.outline_mm)
    (left, bottom), (right, top) = corners.min(axis=0), corners.max(axis=0)
    scale = min((WIDTH - 2 * _MARGIN) / (right - left), (_TALLEST - 2 * _MARGIN) / (top - bottom))
    margin = (WIDTH - (right - left) * scale) / 2
    return Chart(float(left), float(top), float(scale), float(margin), float((top - bottom) * scale + 2 * _MARGIN))


def dot_interval_s(t_s: Floats, about_count: int = 24) -> float:
    """A round time between dots so that about that many, or fewer, are drawn."""
    return round_step(float(t_s[-1] - t_s[0]), about_count)


def dot_times_s(t_s: Floats) -> Floats:
    """Whole multiples of the interval that lie inside the track."""
    step = dot_interval_s(t_s)
    first, last = np.ceil(t_s[0] / step - 1e-9), np.floor(t_s[-1] / step + 1e-9)
    times: Floats = np.arange(first, last + 1) * step
    return times


def path_map(rig: Rig, series: Series | None, *, key: str, title: str, summary: str) -> str:
    """An SVG of the tank, its lines and, where there is a track, the path."""
    chart = chart_of(rig)
    return svg.picture(
        WIDTH,
        chart.height_px,
        *_tank(rig, chart, key),
        *(_zone(zone, chart) for zone in rig.zones),
        *(_line(line, rig, chart) for line in rig.lines),
        *(_track(series, chart) if series is not None else ()),
        svg.tag("circle", class_="now", r=9, cx=0, cy=0, visibility="hidden"),
        title=title,
        summary=summary,
        key=key,
        class_="map",
    )


def _tank(rig: Rig, chart: Chart, key: str) -> list[str]:
    wall = [chart.px(x, y) for x, y in rig.tank.outline_mm]
    clip = svg.tag("clipPath", svg.path(wall, closed=True), id=f"{key}-water")
    return [
        svg.tag("defs", clip),
        svg.path(wall, closed=True, class_="water"),
        svg.tag("g", *_grid(rig, chart), clip_path=f"url(#{key}-water)"),
        *_grid_names(rig, chart),
        svg.path(wall, closed=True, class_="wall"),
    ]


def _grid(rig: Rig, chart: Chart) -> list[str]:
    xs, ys = zip(*rig.tank.outline_mm, strict=True)
    drawn: list[str] = []
    for x in _multiples(min(xs), max(xs), _GRID_MM):
        (px, top), (_, bottom) = chart.px(x, max(ys)), chart.px(x, min(ys))
        drawn.append(svg.tag("line", x1=px, x2=px, y1=top, y2=bottom, class_="grid"))
    for y in _multiples(min(ys), max(ys), _GRID_MM):
        (left, py), (right, _) = chart.px(min(xs), y), chart.px(max(xs), y)
        drawn.append(svg.tag("line", x1=left, x2=right, y1=py, y2=py, class_="grid"))
    return drawn


def _grid_names(rig: Rig, chart: Chart) -> list[str]:
    xs, ys = zip(*rig.tank.outline_mm, strict=True)
    along, upwards = (max(_GRID_MM, round_step(max(v) - min(v), most)) for v, most in ((xs, 8), (ys, 5)))
    foot = chart.px(0, min(ys))[1] + 24
    side = chart.px(min(xs), 0)[0] - 8
    names = [
        svg.words(chart.px(x, 0)[0], foot, _mm(x), class_="tick", text_anchor="middle")
        for x in _multiples(min(xs), max(xs), along)
    ]
    return names + [
        svg.words(side, chart.px(0, y)[1] + 5, _mm(y), class_="tick", text_anchor="end")
        for y in _multiples(min(ys), max(ys), upwards)
    ]


def _zone(zone: Zone, chart: Chart) -> str:
    """Its shape with its name in the middle; kinds differ by their hatching, not by colour alone."""
    if zone.middle_mm is not None and zone.radius_mm is not None:
        x, y = chart.px(*zone.middle_mm)
        radius = zone.radius_mm * chart.scale_px_per_mm
        shape = svg.tag("circle", cx=x, cy=y, r=radius, class_=f"zone {zone.kind}")
        y -= radius + 9  # the name above it: the shape is often smaller than its name
    else:
        corners = [chart.px(*corner) for corner in zone.outline_mm]
        x, y = np.mean(corners, axis=0).tolist()
        shape = svg.path(corners, closed=True, class_=f"zone {zone.kind}")
    return shape + svg.words(x, y + 5, zone.name, class_="zone-name", text_anchor="middle")


def _line(line: Line, rig: Rig, chart: Chart) -> str:
    a, b = chart.px(*line.a_mm), chart.px(*line.b_mm)
    upper = min(a, b, key=lambda end: end[1])
    roof = min(upper[1], chart.px(0, max(y for _, y in rig.tank.outline_mm))[1])
    drawn = svg.path([a, b], class_=f"tape {line.role}")
    return (
        drawn + sign(line.role, upper[0], roof - 12) + svg.words(upper[0] + 14, roof - 7, line.name, class_="tape-name")
    )


def _track(series: Series, chart: Chart) -> Sequence[str]:
    wake = svg.path([chart.px(x, y) for x, y in zip(series.x_mm, series.y_mm, strict=True)], class_="wake")
    ends = [_hull(series, float(t), chart, name) for t, name in ((series.t_s[0], "first"), (series.t_s[-1], "last"))]
    dots = []
    for t in dot_times_s(series.t_s):
        x, y = chart.px(series.at(t, series.x_mm), series.at(t, series.y_mm))
        seen = bool(series.seen[int(np.argmin(np.abs(series.t_s - t)))])
        dots.append(svg.tag("circle", cx=x, cy=y, r=4, class_="dot" if seen else "dot bridged"))
    return [wake, *ends, *dots]


def _hull(series: Series, t_s: float, chart: Chart, name: str) -> str:
    outline = series.outline_at(t_s)
    drawn = svg.path([chart.px(x, y) for x, y in outline], closed=True, class_=f"hull {name}")
    heading = series.at(t_s, series.heading_rad)
    ahead = np.array([np.cos(heading), np.sin(heading)])
    tip = np.array(series.bow_at(t_s))
    side = np.array([-ahead[1], ahead[0]])
    corners = [tip, tip - 22 * ahead + 9 * side, tip - 22 * ahead - 9 * side]
    return drawn + svg.path([chart.px(*corner) for corner in corners], closed=True, class_="bow")


def _multiples(low: float, high: float, step: float) -> list[float]:
    return [i * step for i in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)]


def _mm(value: float) -> str:
    return f"{value:.0f}".replace("-", "−")
