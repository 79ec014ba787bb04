"""Where in the picture the boards were, every corner of every view, and how far the fit is off there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.board import BoardSeen
from calibration.lens_coverage import REGIONS, WANTED_TILT_DEG, Coverage
from logger.study import svg

WIDTH = 960.0
_MARGIN, _TOP, _FOOT = 24.0, 74.0, 66.0
_ARROW = 14.0  # length of a large residual in the drawing
_LARGE_PERCENT = 95


def lens_picture(
    views: Mapping[str, BoardSeen], off_px: Sequence[NDArray[np.float64]], shown: Coverage, *, title: str
) -> str:
    """An SVG document with its own styles.

    Args:
        views: The boards, by name.
        off_px: For each of them found minus fitted corners (N, 2).
        shown: What they cover.
        title: What the drawing is of.
    """
    first = next(iter(views.values()))
    scale = (WIDTH - 2 * _MARGIN) / first.width_px
    high = first.height_px * scale
    every = np.linalg.norm(np.concatenate(off_px), axis=1)
    large = float(np.percentile(every, _LARGE_PERCENT)) or 1.0
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    parts = [
        svg.tag("rect", x=0, y=0, width=WIDTH, height=high + _TOP + _FOOT, fill="#eef6f7"),
        svg.tag("rect", x=_MARGIN, y=_TOP, width=WIDTH - 2 * _MARGIN, height=high, class_="paper"),
        *_ninths(scale, first.width_px, first.height_px, shown),
    ]
    parts += [_outline(view, scale) for view in views.values()]
    for view, off in zip(views.values(), off_px, strict=True):
        parts += _corners(view, off / large * _ARROW, scale)
    parts += [
        svg.words(_MARGIN, 30, title, class_="crossing-name"),
        svg.words(_MARGIN, 56, f"{len(views)} views; an outline is a board, a dot one of its corners"),
        svg.words(
            _MARGIN,
            high + _TOP + 26,
            f"a dot's tail shows how far the corner is off the fit; a tail of {_ARROW:g} in this drawing is "
            f"{large:.2f} px",
        ),
        svg.words(_MARGIN, high + _TOP + 50, _missing(shown)),
    ]
    return svg.picture(
        WIDTH, high + _TOP + _FOOT, f"<style>{css}</style>", *parts, title=title, summary=_summary(shown), key="lens"
    )


def _summary(shown: Coverage) -> str:
    rows = zip(REGIONS, shown.corners_count, strict=True)
    each = [f"{name} {count}" for names, counts in rows for name, count in zip(names, counts, strict=True)]
    return "Corners in each ninth of the picture: " + ", ".join(each) + "."


def _missing(shown: Coverage) -> str:
    return "boards reach all nine parts" if not shown.bare else "no board yet: " + ", ".join(shown.bare)


def _ninths(scale: float, width_px: int, height_px: int, shown: Coverage) -> list[str]:
    parts = []
    wide, high = width_px * scale / 3, height_px * scale / 3
    for row in range(3):
        for column in range(3):
            x, y = _MARGIN + column * wide, _TOP + row * high
            bare = REGIONS[row][column] in shown.bare
            look = {"fill": "#f6d9cc", "stroke": "#9fb8bd"} if bare else {"fill": "none", "stroke": "#d3e0e2"}
            parts.append(svg.tag("rect", x=x, y=y, width=wide, height=high, **look))
            if bare:
                parts.append(svg.words(x + wide / 2, y + high / 2, "none yet", text_anchor="middle"))
    return parts


def _places(view: BoardSeen, scale: float) -> NDArray[np.float64]:
    places: NDArray[np.float64] = (view.pixels + 0.5) * scale + (_MARGIN, _TOP)
    return places


def _outline(view: BoardSeen, scale: float) -> str:
    hull = cv2.convexHull(_places(view, scale).astype(np.float32)).reshape(-1, 2).tolist()
    return svg.path([(float(x), float(y)) for x, y in hull], closed=True, fill="none", stroke="#7fa3aa")


def _corners(view: BoardSeen, tails: NDArray[np.float64], scale: float) -> list[str]:
    parts = []
    for (x, y), (du, dv) in zip(_places(view, scale).tolist(), tails.tolist(), strict=True):
        parts.append(svg.path([(x, y), (x + du, y + dv)], stroke="#a63a0b", stroke_width="1.2", fill="none"))
        parts.append(svg.tag("circle", cx=x, cy=y, r=2, fill="#0a5566"))
    return parts


def coverage_picture(shown: Coverage) -> str:
    """An SVG document of what views cover so far: corners in each ninth of the picture, and the four tilts."""
    wide, high, left, top = 172.0, 97.0, 150.0, 58.0
    parts = [svg.tag("rect", x=0, y=0, width=2 * left + 3 * wide, height=2 * top + 3 * high, fill="#eef6f7")]
    for row, counts in enumerate(shown.corners_count):
        for column, count in enumerate(counts):
            x, y, bare = left + column * wide, top + row * high, REGIONS[row][column] in shown.bare
            look = {"fill": "#f6d9cc" if bare else "#cfe6ea", "stroke": "#35545e"}
            parts.append(svg.tag("rect", x=x, y=y, width=wide, height=high, **look))
            words = "none yet" if bare else f"{count} corners"
            parts.append(svg.words(x + wide / 2, y + high / 2 + 9, words, **_LARGE, text_anchor="middle"))
    middle_x, middle_y = left + 1.5 * wide, top + 1.5 * high
    places = {"left": (left / 2, middle_y), "right": (1.5 * left + 3 * wide, middle_y),
              "top": (middle_x, 38.0), "bottom": (middle_x, 2 * top + 3 * high - 20)}  # fmt: skip
    for side, (x, y) in places.items():
        there = shown.tilt_deg[side] >= WANTED_TILT_DEG
        lines = [f"{side}: {shown.tilt_deg[side]:.0f}°"] if there else [f"tilt {side}", "away"]
        if side in ("top", "bottom"):
            lines = [" ".join(lines)]
        colour = "#12343f" if there else "#a63a0b"
        for number, line in enumerate(lines):
            down = 30 * number - 15 * (len(lines) - 1) + (0 if side in ("top", "bottom") else 9)
            parts.append(svg.words(x, y + down, line, **(_LARGE | {"fill": colour}), text_anchor="middle"))
    return svg.picture(
        2 * left + 3 * wide, 2 * top + 3 * high, *parts, title=f"{shown.views_count} views so far",
        summary=f"{_summary(shown)} {'; '.join(shown.advice) or 'Nothing is missing'}.", key="cover",
    )  # fmt: skip


_LETTERS = {"font_family": "Noto Sans, DejaVu Sans, sans-serif", "font_size": 16, "fill": "#12343f"}
_LARGE = _LETTERS | {"font_size": 26}
"""To be read on a telephone at arm's length, while the other hand holds the board."""
