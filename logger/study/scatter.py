"""One result against another, every run a point, each boat with a sign of its own and its doubts as a cross."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from logger.study import svg
from logger.study.axes import Axis, axis

WIDTH, HEIGHT = 720.0, 430.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 90.0, 520.0, 44.0, 360.0
_SIGNS = 6


@dataclass(frozen=True, slots=True)
class Point:
    """One run: what it has along and upwards, each with its expanded uncertainty."""

    boat: str
    along: tuple[float, float]
    """Value, U."""
    upright: tuple[float, float]
    """Value, U."""
    at_least: bool = False
    """True: the truth is as high or higher."""


@dataclass(frozen=True, slots=True)
class Names:
    """What the axes are called, in words with their unit."""

    along: str
    upright: str
    title: str
    summary: str


def scatter_plot(points: Sequence[Point], names: Names, *, key: str) -> str:
    """An SVG of `points` (at least one); both axes begin at nought."""
    across = axis(0.0, _most(p.along for p in points), start_px=_LEFT, end_px=_RIGHT, about_count=6)
    upright = axis(0.0, _most(p.upright for p in points), start_px=_BOTTOM, end_px=_TOP, about_count=6)
    boats = list(dict.fromkeys(point.boat for point in points))
    return svg.picture(
        WIDTH,
        HEIGHT,
        svg.tag("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=_BOTTOM - _TOP, class_="paper"),
        *_grid(across, upright),
        *(_drawn(point, boats.index(point.boat), across, upright) for point in points),
        *_key(boats),
        svg.words(8, 24, names.upright, class_="axis-name"),
        svg.words(_RIGHT, HEIGHT - 16, names.along, class_="axis-name", text_anchor="end"),
        title=names.title,
        summary=names.summary,
        key=key,
        class_="dots",
    )


def _most(pairs: Iterable[tuple[float, float]]) -> float:
    return max(value + doubt for value, doubt in pairs)


def _grid(across: Axis, upright: Axis) -> list[str]:
    lines = [
        svg.tag("line", x1=across.px(v), x2=across.px(v), y1=_TOP, y2=_BOTTOM, class_="square")
        + svg.words(across.px(v), _BOTTOM + 24, across.label(v), class_="tick", text_anchor="middle")
        for v in across.ticks()
    ]
    return lines + [
        svg.tag("line", x1=_LEFT, x2=_RIGHT, y1=upright.px(v), y2=upright.px(v), class_="square")
        + svg.words(_LEFT - 9, upright.px(v) + 5, upright.label(v), class_="tick", text_anchor="end")
        for v in upright.ticks()
    ]


def _drawn(point: Point, boat: int, across: Axis, upright: Axis) -> str:
    (x_value, x_doubt), (y_value, y_doubt) = point.along, point.upright
    x, y = across.px(x_value), upright.px(y_value)
    ends = [(across.px(x_value - x_doubt), y), (across.px(x_value + x_doubt), y)]
    sides = [(x, upright.px(y_value - y_doubt)), (x, upright.px(y_value + y_doubt))]
    arrow = svg.path([(x - 6, y - 12), (x, y - 20), (x + 6, y - 12)], class_="more") if point.at_least else ""
    cross = svg.path(ends, class_="whisker") + svg.path(sides, class_="whisker")
    return svg.tag("g", cross, boat_sign(boat, x, y), arrow)


def boat_sign(boat: int, x: float, y: float) -> str:
    """The sign of the boat with that number: a disc, then triangle, square, ... up to hexagon, then the same hollow."""
    kind = "run" if boat % (2 * _SIGNS) < _SIGNS else "run left-out"
    sides = boat % _SIGNS + 2
    if sides == 2:
        return svg.tag("circle", cx=x, cy=y, r=7, class_=kind)
    corners = [2 * math.pi * i / sides - math.pi / 2 for i in range(sides)]
    return svg.path([(x + 9 * math.cos(a), y + 9 * math.sin(a)) for a in corners], closed=True, class_=kind)


def _key(boats: Sequence[str]) -> list[str]:
    return [
        boat_sign(i, _RIGHT + 26, _TOP + 16 + 30 * i)
        + svg.words(_RIGHT + 44, _TOP + 22 + 30 * i, boat, class_="boat-name")
        for i, boat in enumerate(boats)
    ]
