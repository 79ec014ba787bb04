"""How a camera saw a light being switched: brightness against the time since the switch, and the curve that was fitted.

Each dot is a picture. Where the dots lie on the slope, the pictures caught a switch under way, and it is they that make
the delay known to a small part of a picture's time.
"""

from __future__ import annotations

from importlib.resources import files

import numpy as np

from calibration.light import LightSync
from calibration.light_fit import Shape, samples
from calibration.quantity import plus_minus
from logger.study import svg
from logger.study.axes import Axis, axis

WIDTH, HEIGHT = 720.0, 474.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 74.0, 700.0, 106.0, 402.0
_LEAST_HALF_MS = 5.0
_ROOM = 0.12  # above and below the two levels
_CURVE_COUNT = 241


def light_picture(sync: LightSync) -> str:
    """An SVG document with its own styles."""
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    half_ms = max(_LEAST_HALF_MS, 1e3 * (0.9 * sync.exposure.value + 4 * sync.jitter_s))
    across = axis(-half_ms, half_ms, start_px=_LEFT, end_px=_RIGHT, about_count=10)
    upright = Axis(-_ROOM, 1 + _ROOM, _BOTTOM, _TOP, 0.2)
    delay = f"camera delay {plus_minus(1e3 * sync.delay.value, 1e3 * sync.delay.U)} ms (95 %)"
    return svg.picture(
        WIDTH,
        HEIGHT,
        f"<style>{css}</style>",
        svg.tag("rect", x=0, y=0, width=WIDTH, height=HEIGHT, fill="#eef6f7"),
        svg.tag("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=_BOTTOM - _TOP, class_="paper"),
        *_grid(across, upright),
        *_curves(sync, across, upright),
        *_dots(sync, across, upright),
        *_key(),
        svg.words(_LEFT, 26, delay, class_="crossing-name"),
        svg.words(8, _TOP - 14, "brightness: 0 without the light, 1 with it", class_="axis-name"),
        svg.words(_RIGHT, HEIGHT - 26, "mid-exposure after the switch, delay taken off, ms", class_="axis-name",
                  text_anchor="end"),
        title=f"A blinking light as the camera saw it: {delay}",
        summary=_summary(sync),
        key="light",
    )  # fmt: skip


def _summary(sync: LightSync) -> str:
    rise_ms = 1e3 * sync.exposure.value
    return (
        f"Brightness rises from 0 to 1 within {rise_ms:.1f} ms around a switching on and falls likewise around a "
        f"switching off; {sync.switches_count} switches, {sync.under_way_count} pictures on the slopes."
    )


def _grid(across: Axis, upright: Axis) -> list[str]:
    parts = []
    for t in across.ticks():
        x = across.px(t)
        parts.append(svg.tag("line", x1=x, x2=x, y1=_TOP, y2=_BOTTOM, class_="nought" if abs(t) < 1e-9 else "square"))
        parts.append(svg.words(x, _BOTTOM + 22, across.label(t), class_="tick", text_anchor="middle"))
    for level in upright.ticks():
        y = upright.px(level)
        parts.append(svg.tag("line", x1=_LEFT, x2=_RIGHT, y1=y, y2=y, class_="square"))
        parts.append(svg.words(_LEFT - 9, y + 5, upright.label(level), class_="tick", text_anchor="end"))
    return parts


def _curves(sync: LightSync, across: Axis, upright: Axis) -> list[str]:
    t_ms = np.linspace(across.low, across.high, _CURVE_COUNT)
    drawn = []
    for direction, kind in ((1.0, "line"), (-1.0, "line bridged")):
        shape = Shape(sync.exposure.value, sync.bend)
        shown, weight = samples(t_ms / 1e3, np.full(len(t_ms), direction), shape, sync.jitter_s)
        points = [(across.px(float(t)), upright.px(float(y))) for t, y in zip(t_ms, shown @ weight, strict=True)]
        drawn.append(svg.path(points, class_=kind))
    return drawn


def _dots(sync: LightSync, across: Axis, upright: Axis) -> list[str]:
    fit = sync.fit
    dots = []
    for since_s, on, lit in zip(fit.since_s.tolist(), fit.switched_on.tolist(), fit.lit.tolist(), strict=True):
        if across.low <= 1e3 * since_s <= across.high:
            y = upright.px(min(max(lit, upright.low), upright.high))
            dots.append(
                svg.tag("circle", cx=across.px(1e3 * since_s), cy=y, r=4, class_="dot" if on else "dot bridged")
            )
    return dots


def _key() -> list[str]:
    y = 54.0
    parts = []
    for x, line, dot, name in (
        (_LEFT, "line", "dot", "switched on"),
        (270.0, "line bridged", "dot bridged", "switched off"),
    ):
        parts.append(svg.path([(x, y), (x + 44, y)], class_=line))
        parts.append(svg.tag("circle", cx=x + 22, cy=y, r=4, class_=dot))
        parts.append(svg.words(x + 54, y + 5, name))
    return parts
