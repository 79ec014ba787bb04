"""Graphs against time: squared paper, one dark line, the band of doubt around it, what happened when.

A graph must not be taken for the map of the path (pupils do): white paper here, water there; a line here, dots there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from logger.study import svg
from logger.study.axes import Axis, axis

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 460.0, 338.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 444.0, 66.0, 284.0
_LABEL_ROOM = 62.0
COVERAGE = 1.96
"""Half-width of the band in standard uncertainties: 95 % of a normal distribution."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """What one graph shows. Arrays (N,), t_s rising."""

    t_s: Floats
    value: Floats
    """In the unit that the upright axis names."""
    u: Floats
    """Standard uncertainty, in the same unit."""
    seen: NDArray[np.bool_]
    """False where the value was carried over a gap or is doubtful."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A line crossing, by the name it has on the map."""

    t_s: float
    name: str
    role: str
    """start, mark or finish: decides the shape of its sign."""


@dataclass(frozen=True, slots=True)
class Labels:
    """What the axes are called, in words with their unit."""

    upright: str
    across: str
    title: str
    summary: str


def axes_for(curve: Curve) -> tuple[Axis, Axis]:
    """The (time, value) axes of a graph of `curve`; values start from nought."""
    across = axis(
        float(curve.t_s[0]), float(curve.t_s[-1]), start_px=LEFT, end_px=RIGHT, about_count=7, whole_steps=False
    )
    upright = axis(
        float(np.min(curve.value)),
        float(np.max(curve.value + COVERAGE * curve.u)),
        start_px=BOTTOM,
        end_px=TOP,
        about_count=7,
        from_zero=True,
    )
    return across, upright


def time_graph(
    curve: Curve,
    labels: Labels,
    *,
    key: str,
    moments: Sequence[Moment] = (),
    coast_s: tuple[float, float] | None = None,
) -> str:
    """An SVG of `curve` against time. `coast_s` is the time without power, shaded and named."""
    across, upright = axes_for(curve)
    return svg.picture(
        WIDTH,
        HEIGHT,
        svg.tag("rect", x=LEFT, y=TOP, width=RIGHT - LEFT, height=BOTTOM - TOP, class_="paper"),
        _coast(curve, across, upright, coast_s, key),
        _grid(across, upright),
        _band(curve, across, upright, key),
        *_lines(curve, across, upright),
        _moments(moments, curve, across, upright),
        svg.tag("circle", class_="now", r=7, cx=0, cy=0, visibility="hidden"),
        svg.words(4, 18, labels.upright, class_="axis-name"),
        svg.words(RIGHT, HEIGHT - 8, labels.across, class_="axis-name", text_anchor="end"),
        title=labels.title,
        summary=labels.summary,
        key=key,
        class_="graph",
    )


def points_px(curve: Curve, t_s: Floats) -> list[tuple[float, float]]:
    """Where the line of the graph of `curve` is at the times `t_s`, in user units."""
    across, upright = axes_for(curve)
    values = np.interp(t_s, curve.t_s, curve.value)
    return [(across.px(float(t)), upright.px(float(v))) for t, v in zip(t_s, values, strict=True)]


def _grid(across: Axis, upright: Axis) -> str:
    parts: list[str] = []
    for t in across.ticks():
        x = across.px(t)
        parts.append(svg.tag("line", x1=x, x2=x, y1=TOP, y2=BOTTOM, class_="square"))
        parts.append(svg.words(x, BOTTOM + 20, across.label(t), class_="tick", text_anchor="middle"))
    for v in upright.ticks():
        y = upright.px(v)
        parts.append(svg.tag("line", x1=LEFT, x2=RIGHT, y1=y, y2=y, class_="nought" if v == 0 else "square"))
        parts.append(svg.words(LEFT - 7, y + 5, upright.label(v), class_="tick", text_anchor="end"))
    return "".join(parts)


def _band(curve: Curve, across: Axis, upright: Axis, key: str) -> str:
    margin = COVERAGE * curve.u
    above = [(across.px(t), upright.px(v)) for t, v in zip(curve.t_s, curve.value + margin, strict=True)]
    below = [(across.px(t), upright.px(v)) for t, v in zip(curve.t_s, curve.value - margin, strict=True)]
    paper = svg.tag("rect", x=LEFT, y=TOP, width=RIGHT - LEFT, height=BOTTOM - TOP)
    inside = svg.tag("clipPath", paper, id=f"{key}-paper")
    band = svg.path([*above, *reversed(below)], closed=True, class_="band", clip_path=f"url(#{key}-paper)")
    return svg.tag("defs", inside) + band


def _lines(curve: Curve, across: Axis, upright: Axis) -> list[str]:
    """Runs of moments that were seen (full line) and that were carried over a gap (broken line)."""
    points = [(across.px(t), upright.px(v)) for t, v in zip(curve.t_s, curve.value, strict=True)]
    changes = [0, *(np.flatnonzero(np.diff(curve.seen)) + 1).tolist(), len(points)]
    drawn: list[str] = []
    for begin, end in pairwise(changes):
        # one point further, so that the pieces meet
        piece = points[begin : end + 1]
        if len(piece) > 1:
            drawn.append(svg.path(piece, class_="line" if curve.seen[begin] else "line bridged"))
    return drawn


def _coast(curve: Curve, across: Axis, upright: Axis, coast_s: tuple[float, float] | None, key: str) -> str:
    if coast_s is None:
        return ""
    middle_px = upright.px(float(np.interp(sum(coast_s) / 2, curve.t_s, curve.value)))
    free_px = BOTTOM - 12 if middle_px < (TOP + BOTTOM) / 2 else TOP + 24  # where the line is not
    begin, end = (across.px(min(max(t, across.low), across.high)) for t in coast_s)
    stripes = svg.tag(
        "pattern",
        svg.tag("path", d="M0,8L8,0", class_="stripe"),
        id=f"{key}-coast",
        width=8,
        height=8,
        patternUnits="userSpaceOnUse",
    )
    area = svg.tag("rect", x=begin, y=TOP, width=end - begin, height=BOTTOM - TOP, fill=f"url(#{key}-coast)")
    name = svg.words((begin + end) / 2, free_px, "coasting", class_="coast-name", text_anchor="middle")
    return svg.tag("defs", stripes) + area + name


def _moments(moments: Sequence[Moment], curve: Curve, across: Axis, upright: Axis) -> str:
    parts: list[str] = []
    taken: list[float] = []
    for moment in moments:
        if not across.low <= moment.t_s <= across.high:
            continue
        x = across.px(moment.t_s)
        y = upright.px(float(np.interp(moment.t_s, curve.t_s, curve.value)))
        row = TOP - 8 if all(abs(x - other) > _LABEL_ROOM for other in taken) else TOP - 26
        taken.append(x)
        anchor = "start" if x < LEFT + _LABEL_ROOM / 2 else "end" if x > RIGHT - _LABEL_ROOM / 2 else "middle"
        parts.append(svg.tag("line", x1=x, x2=x, y1=row + 3, y2=BOTTOM, class_="crossing"))
        parts.append(svg.words(x, row, moment.name, class_="crossing-name", text_anchor=anchor))
        parts.append(sign(moment.role, x, y))
    return "".join(parts)


def sign(role: str, x: float, y: float) -> str:
    """The shape of a line crossing: start a triangle, mark a diamond, finish a square."""
    corners = {
        "start": [(-7.0, -7.0), (8.0, 0.0), (-7.0, 7.0)],
        "mark": [(0.0, -9.0), (9.0, 0.0), (0.0, 9.0), (-9.0, 0.0)],
    }.get(role, [(-6.5, -6.5), (6.5, -6.5), (6.5, 6.5), (-6.5, 6.5)])
    return svg.path([(x + dx, y + dy) for dx, dy in corners], closed=True, class_="sign")
