from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from logger.config import Line, Rig, Tank, Zone
from logger.study import pathmap
from logger.study.series import Series

SQUARE = ((-100.0, -50.0), (900.0, -50.0), (900.0, 250.0), (-100.0, 250.0))


def rig_of(outline: tuple[tuple[float, float], ...]) -> Rig:
    return Rig("r", Tank(outline, 80.0), (Line("start", "start", (0.0, -50.0), (0.0, 250.0)),))


def drawn(rig: Rig, series: Series | None) -> ElementTree.Element:
    return ElementTree.fromstring(pathmap.path_map(rig, series, key="m", title="Map", summary="A boat."))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if name in (element.get("class") or "").split()]


@pytest.mark.parametrize(
    "outline", [SQUARE, ((0, 0), (300, 0), (300, 900), (0, 900)), ((0, 0), (3000, 0), (3000, 90), (0, 90))]
)
def test_the_whole_tank_is_shown_true_to_scale(outline: tuple[tuple[float, float], ...]) -> None:
    chart = pathmap.chart_of(rig_of(outline))
    corners = np.array([chart.px(x, y) for x, y in outline])
    size_mm, size_px = np.ptp(np.array(outline), axis=0), np.ptp(corners, axis=0)
    assert size_px[0] / size_mm[0] == pytest.approx(size_px[1] / size_mm[1])
    assert (corners >= 0).all()
    assert (corners <= (pathmap.WIDTH, chart.height_px)).all()


def test_left_of_the_boat_is_up_on_the_map() -> None:
    chart = pathmap.chart_of(rig_of(SQUARE))
    assert chart.px(0, 200)[1] < chart.px(0, 0)[1]
    assert chart.px(500, 0)[0] > chart.px(0, 0)[0]


def test_dots_stand_at_equal_times(series: Series) -> None:
    times = pathmap.dot_times_s(series.t_s)
    assert np.ptp(np.diff(times)) < 1e-9
    assert 0.0 in times.round(9)
    assert len(times) <= 25
    chart = pathmap.chart_of(rig_of(SQUARE))
    dots = of_class(drawn(rig_of(SQUARE), series), "dot")
    place = [float(dots[4].get("cx") or 0), float(dots[4].get("cy") or 0)]
    assert place == pytest.approx(
        chart.px(series.at(times[4], series.x_mm), series.at(times[4], series.y_mm)), abs=0.01
    )


def test_places_that_were_not_seen_are_hollow(series: Series) -> None:
    hidden = (series.t_s > 2.9) & (series.t_s < 3.1)
    root = drawn(rig_of(SQUARE), replace(series, seen=~hidden))
    hollow = [("bridged" in (dot.get("class") or "")) for dot in of_class(root, "dot")]
    assert hollow == [bool(abs(t - 3.0) < 0.05) for t in pathmap.dot_times_s(series.t_s)]


def test_the_boat_is_drawn_where_its_track_begins_and_ends(series: Series) -> None:
    root = drawn(rig_of(SQUARE), series)
    assert [hull.get("class") for hull in of_class(root, "hull")] == ["hull first", "hull last"]
    assert len(of_class(root, "bow")) == 2


def test_without_a_track_the_tank_and_its_lines_remain() -> None:
    root = drawn(rig_of(SQUARE), None)
    assert of_class(root, "dot") == []
    assert len(of_class(root, "tape")) == 1
    assert [name.text for name in of_class(root, "tape-name")] == ["start"]


def test_grid_lines_are_100_mm_apart() -> None:
    root = drawn(rig_of(SQUARE), None)
    chart = pathmap.chart_of(rig_of(SQUARE))
    upright = sorted(float(e.get("x1") or 0) for e in of_class(root, "grid") if e.get("x1") == e.get("x2"))
    assert np.diff(upright) == pytest.approx(100 * chart.scale_px_per_mm, abs=0.02)
    assert "800" in [tick.text for tick in of_class(root, "tick")]


def test_zones_are_drawn_to_scale_under_their_names() -> None:
    zones = (
        Zone("Reed Bay", "port", outline_mm=((100.0, 0.0), (200.0, 0.0), (200.0, 100.0), (100.0, 100.0))),
        Zone("Pile", "obstacle", middle_mm=(500.0, 100.0), radius_mm=30.0),
    )
    rig = replace(rig_of(SQUARE), zones=zones)
    root, chart = drawn(rig, None), pathmap.chart_of(rig)
    (port,) = of_class(root, "port")
    (pile,) = of_class(root, "obstacle")
    corner = chart.px(100.0, 0.0)
    assert f"{corner[0]:.1f}"[:4] in (port.get("d") or "")
    assert float(pile.get("r") or 0) == pytest.approx(30 * chart.scale_px_per_mm, abs=0.1)
    assert [name.text for name in of_class(root, "zone-name")] == ["Reed Bay", "Pile"]
