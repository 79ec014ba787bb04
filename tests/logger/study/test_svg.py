from __future__ import annotations

from xml.etree import ElementTree

import pytest

from logger.study import svg


@pytest.mark.parametrize(
    ("value", "written"),
    [(1.0, "1"), (1.236, "1.24"), (-0.001, "0"), (120.0, "120"), (-3.5, "-3.5"), (0.1 + 0.2, "0.3")],
)
def test_lengths_are_short(value: float, written: str) -> None:
    assert svg.number(value) == written


def test_what_a_person_typed_cannot_become_markup() -> None:
    drawn = svg.words(1, 2, '<script>"&')
    assert ElementTree.fromstring(drawn).text == '<script>"&'
    assert "<script" not in drawn
    assert ElementTree.fromstring(svg.tag("g", class_='"><script>')).get("class") == '"><script>'


def test_attributes_are_written_the_svg_way_and_none_leaves_one_out() -> None:
    element = ElementTree.fromstring(svg.tag("line", x1=1.5, stroke_width=2, class_="wall", id=None))
    assert element.attrib == {"x1": "1.5", "stroke-width": "2", "class": "wall"}


def test_a_picture_is_announced_by_title_and_summary() -> None:
    drawn = svg.picture(10, 20, svg.tag("rect"), title="A map", summary="One boat.", key="k")
    root = ElementTree.fromstring(drawn)
    names = {child.get("id"): child.text for child in root}
    assert root.get("role") == "img"
    assert [names[i] for i in (root.get("aria-labelledby") or "").split()] == ["A map", "One boat."]
    assert root.get("viewBox") == "0 0 10 20"


def test_a_path_goes_through_its_points_and_closes_if_asked() -> None:
    assert ElementTree.fromstring(svg.path([(0, 0), (1.5, 2)])).get("d") == "M0,0 1.5,2"
    assert (ElementTree.fromstring(svg.path([(0, 0), (1, 1)], closed=True)).get("d") or "").endswith("Z")
