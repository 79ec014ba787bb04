from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree

import numpy as np
import pytest

from logger.study import graphs
from logger.study.graphs import Curve, Labels, Moment

LABELS = Labels("how fast (metres per second)", "seconds after go", "Speed", "It went.")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def curve() -> Curve:
    t_s = np.linspace(-0.5, 6.0, 200)
    return Curve(t_s, 0.3 * np.exp(-np.maximum(t_s, 0) / 2), np.full(200, 0.004), (t_s < 2) | (t_s > 3))


@pytest.fixture
def draw(curve: Curve) -> Callable[..., ElementTree.Element]:
    return lambda **asked: ElementTree.fromstring(graphs.time_graph(curve, LABELS, key="g", **asked))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if name in (element.get("class") or "").split()]


def points(element: ElementTree.Element) -> np.ndarray:
    return np.array(
        [[float(n) for n in pair.split(",")] for pair in re.sub("[MZ]", "", element.get("d") or "").split()]
    )


def test_the_line_stands_where_the_axes_say(curve: Curve, draw: Callable[..., ElementTree.Element]) -> None:
    root = draw()
    across, upright = graphs.axes_for(curve)
    line = points(of_class(root, "line")[0])
    ticks = [tick for tick in of_class(root, "tick") if tick.get("text-anchor") == "middle"]
    nought = next(float(tick.get("x") or 0) for tick in ticks if tick.text == "0")
    assert across.px(0.0) == pytest.approx(nought, abs=0.01)
    assert line[0] == pytest.approx([across.px(curve.t_s[0]), upright.px(curve.value[0])], abs=0.01)
    assert upright.low == 0, "speeds are drawn from nought"


def test_time_runs_from_the_first_to_the_last_moment(curve: Curve) -> None:
    across, _ = graphs.axes_for(curve)
    assert (across.low, across.high) == (curve.t_s[0], curve.t_s[-1])


def test_what_was_not_seen_is_a_broken_line(draw: Callable[..., ElementTree.Element]) -> None:
    lines = of_class(draw(), "line")
    assert ["bridged" in (line.get("class") or "") for line in lines] == [False, True, False]
    ends = [points(line) for line in lines]
    assert ends[0][-1] == pytest.approx(ends[1][0]), "the pieces meet"


def test_the_band_is_as_wide_as_the_doubt(curve: Curve, draw: Callable[..., ElementTree.Element]) -> None:
    band = points(of_class(draw(), "band")[0])
    _, upright = graphs.axes_for(curve)
    width = band[-1, 1] - band[0, 1]
    assert width == pytest.approx(upright.px(0) - upright.px(2 * 1.96 * 0.004), abs=0.02)


def test_crossings_are_named_and_signed_on_the_curve(curve: Curve, draw: Callable[..., ElementTree.Element]) -> None:
    root = draw(
        moments=[Moment(0.0, "start", "start"), Moment(1.0, "the rope", "mark"), Moment(99.0, "late", "finish")]
    )
    assert [name.text for name in of_class(root, "crossing-name")] == ["start", "the rope"]
    across, upright = graphs.axes_for(curve)
    diamond = points(of_class(root, "sign")[1])
    there = [across.px(1.0), upright.px(float(np.interp(1.0, curve.t_s, curve.value)))]
    assert diamond.mean(axis=0) == pytest.approx(there, abs=0.05)


def test_names_of_near_crossings_do_not_lie_on_each_other(draw: Callable[..., ElementTree.Element]) -> None:
    root = draw(moments=[Moment(1.0, "start", "start"), Moment(1.2, "mark", "mark")])
    heights = [float(name.get("y") or 0) for name in of_class(root, "crossing-name")]
    assert abs(heights[0] - heights[1]) >= 15


def test_the_coast_is_shaded_and_named(curve: Curve, draw: Callable[..., ElementTree.Element]) -> None:
    root = draw(coast_s=(1.0, 6.0))
    across, _ = graphs.axes_for(curve)
    shade = next(e for e in root.iter(f"{SVG}rect") if (e.get("fill") or "").startswith("url"))
    assert float(shade.get("x") or 0) == pytest.approx(across.px(1.0), abs=0.01)
    assert [name.text for name in of_class(root, "coast-name")] == ["coasting"]
    assert of_class(draw(), "coast-name") == []


def test_signs_differ_in_shape() -> None:
    shapes = {role: graphs.sign(role, 0, 0) for role in ("start", "mark", "finish")}
    assert len(set(shapes.values())) == 3


def test_the_moving_dot_rides_on_the_line(curve: Curve, draw: Callable[..., ElementTree.Element]) -> None:
    line = points(of_class(draw(), "line")[0])
    assert graphs.points_px(curve, curve.t_s[:3]) == pytest.approx(line[:3], abs=0.01)
