from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from calibration.light import LightSync, measure_delay
from logger.study.light_graph import light_picture
from tests.calibration.light_session import Session, play

NAMES = {"s": "http://www.w3.org/2000/svg"}


@pytest.fixture(scope="module")
def sync() -> LightSync:
    return measure_delay(*play(Session(rate_hz=40)))


@pytest.fixture(scope="module")
def drawing(sync: LightSync) -> ElementTree.Element:
    return ElementTree.fromstring(light_picture(sync))


def test_it_says_the_delay_with_its_doubt(drawing: ElementTree.Element) -> None:
    words = [text.text or "" for text in drawing.findall(".//s:text", NAMES)]
    assert any(re.fullmatch(r"camera delay (79\.9|80\.0)\d+ ± 0\.\d+ ms \(95 %\)", word) for word in words)
    assert {"switched on", "switched off"} <= set(words)


def test_every_picture_near_a_switch_is_a_dot(drawing: ElementTree.Element, sync: LightSync) -> None:
    dots = drawing.findall(".//s:circle", NAMES)
    half_s = max(0.005, 0.9 * sync.exposure.value + 4 * sync.jitter_s)
    near = int(np.count_nonzero(np.abs(sync.fit.since_s) < half_s))
    assert len(dots) == pytest.approx(near + 2, abs=6)  # two stand in the key
    assert {dot.get("class") for dot in dots} == {"dot", "dot bridged"}


def test_the_curves_cross_where_a_switch_is_half_over(drawing: ElementTree.Element) -> None:
    """At the middle of the exposure, half the light has been collected of either."""
    on, off = (path.get("d", "") for path in drawing.findall(".//s:path", NAMES)[:2])

    def points(d: str) -> np.ndarray:
        return np.array([[float(n) for n in pair.split(",")] for pair in d[1:].split()])

    middle = len(points(on)) // 2
    assert points(on)[middle] == pytest.approx(points(off)[middle], abs=3)
    assert points(on)[0, 1] == pytest.approx(points(off)[-1, 1], abs=1)


def test_dots_stay_on_the_paper(drawing: ElementTree.Element) -> None:
    paper = next(rect for rect in drawing.findall(".//s:rect", NAMES) if rect.get("class") == "paper")
    left, top = float(paper.get("x", "")), float(paper.get("y", ""))
    right, bottom = left + float(paper.get("width", "")), top + float(paper.get("height", ""))
    for dot in drawing.findall(".//s:circle", NAMES)[:-2]:
        assert left <= float(dot.get("cx", "")) <= right
        assert top <= float(dot.get("cy", "")) <= bottom
