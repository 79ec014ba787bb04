"""Bars from nought, one for each boat, as high as the mean of its runs, with every run as a dot on its bar."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence

from logger.study import svg
from logger.study.axes import axis

HEIGHT = 400.0
_LEFT, _TOP, _BOTTOM = 70.0, 36.0, 330.0
_BESIDE = 15.0
_ROOM_WIDE, _ROOM_FEW = 635.0, 295.0
"""What the bars have of the width; of a few, as much as a telephone shows without making letters small."""
_FEW = 4
_DOT_PX = 6.0
_MOST_NAME = 9


def bar_chart(values: Mapping[str, Sequence[float]], *, name: str, title: str, key: str) -> str:
    """An SVG; `values` are the runs of each boat, at least one each, in the unit that `name` says."""
    highest = max(v for runs in values.values() for v in runs)
    upright = axis(0.0, highest, start_px=_BOTTOM, end_px=_TOP, about_count=8, from_zero=True)
    is_narrow = len(values) <= _FEW
    whole = _ROOM_FEW if is_narrow else _ROOM_WIDE
    right = _LEFT + whole
    parts = [svg.tag("rect", x=_LEFT, y=_TOP, width=whole, height=_BOTTOM - _TOP, class_="paper")]
    for v in upright.ticks():
        y = upright.px(v)
        parts.append(svg.tag("line", x1=_LEFT, x2=right, y1=y, y2=y, class_="nought" if v == 0 else "square"))
        parts.append(svg.words(_LEFT - 8, y + 5, upright.label(v), class_="tick", text_anchor="end"))
    room = whole / len(values)
    for i, (boat, runs) in enumerate(values.items()):
        middle, mean = _LEFT + room * (i + 0.5), statistics.fmean(runs)
        top = upright.px(mean)
        parts.append(
            svg.tag("rect", x=middle - 0.32 * room, y=top, width=0.64 * room, height=_BOTTOM - top, class_="bar")
        )
        for j, v in enumerate(runs):
            x = middle + (j - (len(runs) - 1) / 2) * min(2.2 * _DOT_PX, 0.5 * room / len(runs))
            parts.append(svg.tag("circle", cx=x, cy=upright.px(v), r=_DOT_PX, class_="run"))
        short = boat if len(boat) <= _MOST_NAME or len(values) < 6 else f"{boat[: _MOST_NAME - 1]}…"
        parts.append(svg.words(middle, _BOTTOM + 22, short, class_="tick", text_anchor="middle"))
    parts.append(svg.words(4, 20, name, class_="axis-name"))
    told = "; ".join(
        f"{boat}: {len(runs)} run{'s' if len(runs) > 1 else ''}, mean {statistics.fmean(runs):.2f}"
        for boat, runs in values.items()
    )
    size = "bars narrow" if is_narrow else "bars"
    return svg.picture(right + _BESIDE, HEIGHT - 30, *parts, title=title, summary=f"{told}.", key=key, class_=size)
