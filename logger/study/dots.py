"""The class in one drawing: every run as a dot, boats as rows, the mean as an upright stroke.

The spread of the repeats is what the dots show by lying apart; the rig's own doubt is the small whisker on each dot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.study import svg
from logger.study.axes import Axis, axis

WIDTH = 380.0
"""As wide as a telephone shows without making letters small: each boat's name stands above its row."""
_LEFT, _RIGHT = 14.0, 366.0
_TOP, _ROW, _NAME = 12.0, 62.0, 20.0


@dataclass(frozen=True, slots=True)
class Dot:
    """One run of a boat."""

    boat: str
    value: float
    """In the unit that the axis names."""
    U: float
    """Its expanded uncertainty at 95 %, in the same unit."""
    counted: bool = True
    """False: shown, but left out of the mean."""
    at_least: bool = False
    note: str = ""


def dot_plot(dots: Sequence[Dot], means: dict[str, float], *, name: str, key: str, title: str, summary: str) -> str:
    """An SVG with one row per boat, in the order of `means` and then of appearance."""
    boats = list(dict.fromkeys([*means, *(dot.boat for dot in dots)]))
    bottom = _TOP + _ROW * len(boats)
    low = min(dot.value - dot.U for dot in dots)
    high = max(dot.value + dot.U for dot in dots)
    across = axis(low, high, start_px=_LEFT, end_px=_RIGHT, about_count=5, from_zero=low < 0.4 * high)
    rows = {boat: _TOP + _ROW * i + (_ROW + _NAME) / 2 for i, boat in enumerate(boats)}
    return svg.picture(
        WIDTH,
        bottom + 64,
        svg.tag("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=bottom - _TOP, class_="paper"),
        *_frame(across, rows, bottom),
        *(_mean(across, rows[boat], value) for boat, value in means.items()),
        *(_dot(across, rows[dot.boat], dot) for dot in dots),
        svg.words(_RIGHT, bottom + 54, name, class_="axis-name", text_anchor="end"),
        title=title,
        summary=summary,
        key=key,
        class_="dots narrow",
    )


def _frame(across: Axis, rows: dict[str, float], bottom: float) -> list[str]:
    upright = [
        svg.tag("line", x1=across.px(v), x2=across.px(v), y1=_TOP, y2=bottom, class_="square")
        + svg.words(across.px(v), bottom + 22, across.label(v), class_="tick", text_anchor="middle")
        for v in across.ticks()
    ]
    return upright + [
        svg.tag("line", x1=_LEFT, x2=_RIGHT, y1=y, y2=y, class_="row")
        + svg.words(_LEFT + 6, y - (_ROW - _NAME) / 2 - 3, boat, class_="boat-name")
        for boat, y in rows.items()
    ]


def _mean(across: Axis, y: float, value: float) -> str:
    x = across.px(value)
    return svg.tag("line", x1=x, x2=x, y1=y - 18, y2=y + 18, class_="mean")


def _dot(across: Axis, y: float, dot: Dot) -> str:
    x = across.px(dot.value)
    left, right = across.px(dot.value - dot.U), across.px(dot.value + dot.U)
    whisker = svg.path([(left, y), (right, y)], class_="whisker")
    kind = "run" if dot.counted else "run left-out"
    arrow = svg.path([(x + 10, y - 6), (x + 18, y), (x + 10, y + 6)], class_="more") if dot.at_least else ""
    return svg.tag("g", whisker, svg.tag("circle", cx=x, cy=y, r=7, class_=kind), arrow)
