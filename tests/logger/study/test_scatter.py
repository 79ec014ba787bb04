from __future__ import annotations

from xml.etree import ElementTree

import pytest

from logger.study.scatter import Names, Point, boat_sign, scatter_plot

NAMES = Names("speed at the line (metres per second)", "drift (millimetres)", "Drift", "Three runs.")


def drawn(points: list[Point]) -> ElementTree.Element:
    return ElementTree.fromstring(scatter_plot(points, NAMES, key="s"))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if name in (element.get("class") or "").split()]


def test_points_stand_where_the_axes_say_and_both_begin_at_nought() -> None:
    root = drawn([Point("a", (0.1, 0.01), (200.0, 4.0)), Point("a", (0.3, 0.01), (600.0, 4.0))])
    first, second = (e for e in root.iter() if e.tag.endswith("circle") and e.get("cx") and float(e.get("cx")) < 520)
    left = float(of_class(root, "paper")[0].get("x") or 0)
    place = [float(first.get("cx") or 0), float(second.get("cx") or 0)]
    assert (place[1] - left) == pytest.approx(3 * (place[0] - left), abs=0.05)
    assert [tick.text for tick in of_class(root, "tick")].count("0") == 2


def test_doubts_are_a_cross_and_a_lower_bound_has_an_arrow_upwards() -> None:
    root = drawn([Point("a", (0.1, 0.01), (200.0, 4.0)), Point("b", (0.3, 0.01), (600.0, 4.0), at_least=True)])
    assert len(of_class(root, "whisker")) == 4
    assert len(of_class(root, "more")) == 1


def test_boats_differ_in_shape_and_are_named() -> None:
    assert len({boat_sign(i, 0.0, 0.0) for i in range(12)}) == 12
    root = drawn([Point(name, (0.1, 0.01), (200.0, 4.0)) for name in ("Coot", "Grebe", "Coot")])
    assert [name.text for name in of_class(root, "boat-name")] == ["Coot", "Grebe"]
