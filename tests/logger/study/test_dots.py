from __future__ import annotations

from xml.etree import ElementTree

import pytest

from logger.study.dots import Dot, dot_plot


def drawn(dots: list[Dot], means: dict[str, float]) -> ElementTree.Element:
    return ElementTree.fromstring(dot_plot(dots, means, name="time (seconds)", key="d", title="Class", summary="Two."))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if name in (element.get("class") or "").split()]


def test_every_run_is_a_dot_in_the_row_of_its_boat() -> None:
    root = drawn([Dot("Coot", 4.0, 0.1), Dot("Grebe", 5.0, 0.1), Dot("Coot", 4.5, 0.1)], {"Coot": 4.25})
    rows = [dot.get("cy") for dot in of_class(root, "run")]
    assert rows[0] == rows[2] != rows[1]
    assert [name.text for name in of_class(root, "boat-name")] == ["Coot", "Grebe"]
    places = [float(dot.get("cx") or 0) for dot in of_class(root, "run")]
    assert places[2] - places[0] == pytest.approx((places[1] - places[0]) / 2, abs=0.02)
    (mean,) = of_class(root, "mean")
    assert float(mean.get("x1") or 0) == pytest.approx((places[0] + places[2]) / 2, abs=0.02)


def test_a_run_that_does_not_count_is_hollow() -> None:
    root = drawn([Dot("Coot", 4.0, 0.1), Dot("Coot", 9.0, 0.1, counted=False)], {"Coot": 4.0})
    assert ["left-out" in (dot.get("class") or "") for dot in of_class(root, "run")] == [False, True]


def test_a_lower_bound_has_an_arrow() -> None:
    assert len(of_class(drawn([Dot("Coot", 300.0, 2.0, at_least=True)], {}), "more")) == 1
    assert of_class(drawn([Dot("Coot", 300.0, 2.0)], {}), "more") == []


def test_the_axis_begins_at_nought_where_that_costs_little() -> None:
    far, near = (
        drawn([Dot("a", 100.0, 1.0), Dot("b", 900.0, 1.0)], {}),
        drawn([Dot("a", 800.0, 1.0), Dot("b", 900.0, 1.0)], {}),
    )
    assert of_class(far, "tick")[0].text == "0"
    assert of_class(near, "tick")[0].text != "0"
