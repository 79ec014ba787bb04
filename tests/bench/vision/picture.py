"""Errors by tier, boats and recipe on a logarithmic scale, as SVG: dots are clips, the bar is all of their pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from logger.study import svg
from tests.bench.vision.figures import Figures
from tests.bench.vision.table import OURS, summary

WIDTH = 1000.0
_LEFT, _RIGHT = 260.0, 800.0
_ROW, _HEAD, _BETWEEN = 17.0, 42.0, 10.0
_LOW_MM, _HIGH_MM = 0.05, 100.0
_OURS_FILL, _THEIRS_FILL = "#0b6e7f", "#b36a1e"
_TICKS_MM = (0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)


def picture(figures: Sequence[Figures]) -> str:
    """An SVG document."""
    rows = [row for row in summary(figures) if not row["by"].endswith("unmarked")]
    parts, y, tier, boats = [], 52.0, "", ""
    bands = []
    for row in rows:
        if row["tier"] != tier:
            y += _HEAD
            tier, boats = row["tier"], ""
            parts.append(svg.words(20, y, f"{tier} tier", font_size=15, font_weight="bold", fill="#123"))
            parts.append(_column_heads(y))
            bands.append([y + 4, y + 4])
            y += 6
        if row["boats"] != boats:
            y += _BETWEEN
            boats = row["boats"]
            parts.append(svg.words(20, y + 12, boats, font_size=12, font_weight="bold", fill="#123"))
        parts += _row(row, _clips_rms_mm(figures, row), y)
        y += _ROW
        bands[-1][1] = y + 4
    height = y + 50
    return svg.picture(
        WIDTH,
        height,
        "<style>.errors { font-family: sans-serif }</style>",
        svg.tag("rect", x=0, y=0, width=WIDTH, height=height, fill="#fff"),
        *(part for top, bottom in bands for part in _grid(top, bottom)),
        svg.words(20, 30, "How far off is the boat?", font_size=20, font_weight="bold", fill="#123"),
        svg.words(20, 50, _legend(), font_size=12, fill="#333"),
        *parts,
        svg.words((_LEFT + _RIGHT) / 2, y + 34, "distance from the truth, mm", font_size=12, text_anchor="middle"),
        title="How far off is the boat?",
        summary="Root mean square distance from the truth by tier, boats and recipe",
        key="vision",
        class_="errors",
    )


def _legend() -> str:
    return (
        "dot: one clip, root mean square of the pictures held; bar: all clips; line: to the 95th percentile. "
        "Left is better; the scale is logarithmic."
    )


def _column_heads(y: float) -> str:
    return "".join(
        svg.words(x, y, words, font_size=11, text_anchor="end", fill="#333")
        for x, words in ((862, "lost %"), (926, "doubtful %"), (980, "silent %"))
    )


def _grid(top: float, bottom: float) -> list[str]:
    lines = []
    for mm in _TICKS_MM:
        lines.append(svg.tag("line", x1=_x(mm), x2=_x(mm), y1=top, y2=bottom, stroke="#d5dde0"))
        lines.append(svg.words(_x(mm), bottom + 11, f"{mm:g}", font_size=10, text_anchor="middle", fill="#333"))
    return lines


def _row(row: dict[str, Any], clips_mm: Sequence[float], y: float) -> list[str]:
    ours = row["by"] == OURS
    fill, middle = (_OURS_FILL if ours else _THEIRS_FILL), y + _ROW / 2
    drawn = [
        svg.words(
            _LEFT - 12, middle + 4, row["by"], font_size=12, text_anchor="end", fill=fill,
            font_weight="bold" if ours else None,
        )
    ]  # fmt: skip
    if not math.isnan(row["rms_mm"]):
        x, end = _x(row["rms_mm"]), _x(row["p95_mm"])
        drawn.append(svg.tag("line", x1=min(x, end), x2=max(x, end), y1=middle, y2=middle, stroke=fill, stroke_width=2))
        drawn += [
            svg.tag("circle", cx=_x(mm), cy=middle, r=3, fill=fill, fill_opacity=0.35)
            for mm in clips_mm
            if not math.isnan(mm)
        ]
        drawn.append(svg.tag("rect", x=x - 2, y=middle - 6, width=4, height=12, fill=fill))
    else:
        drawn.append(svg.words(_LEFT + 8, middle + 4, "never held", font_size=11, fill=fill))
    doubtful = f"{row['doubtful_percent']:.1f}" if "doubtful_percent" in row else "–"
    for at, words in ((862, f"{row['lost_percent']:.1f}"), (926, doubtful), (980, f"{row['silent_percent']:.2f}")):
        loud = at == 980 and row["silent_percent"] > 0
        drawn.append(
            svg.words(
                at, middle + 4, words, font_size=11, text_anchor="end", fill="#a01818" if loud else "#333",
                font_weight="bold" if loud else None,
            )
        )  # fmt: skip
    return drawn


def _clips_rms_mm(figures: Sequence[Figures], row: dict[str, Any]) -> list[float]:
    here = [f for f in figures if f.tier == row["tier"] and f.group == row["boats"]]
    if row["by"] == OURS:
        return [f.rms_mm for f in here]
    return [r.rms_mm for f in here for r in f.recipes if r.recipe == row["by"]]


def _x(mm: float) -> float:
    share = math.log(min(max(mm, _LOW_MM), _HIGH_MM) / _LOW_MM) / math.log(_HIGH_MM / _LOW_MM)
    return _LEFT + share * (_RIGHT - _LEFT)
