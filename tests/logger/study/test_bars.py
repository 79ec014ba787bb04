from __future__ import annotations

from xml.etree import ElementTree

import pytest

from logger.study.bars import bar_chart

VALUES = {"Heron": [4.0, 5.0, 6.0], "Otter": [2.0], "A boat with a long name": [8.0, 8.2]}


def drawn() -> ElementTree.Element:
    return ElementTree.fromstring(bar_chart(VALUES, name="time (seconds)", title="Means", key="b"))


def test_bars_stand_on_nought_and_are_as_high_as_their_means() -> None:
    """By hand: heights in the ratio of the means 5, 2 and 8.1."""
    bars = [e for e in drawn().iter() if e.get("class") == "bar"]
    heights = [float(e.get("height", "")) for e in bars]
    feet = {round(float(e.get("y", "")) + float(e.get("height", "")), 2) for e in bars}
    assert len(feet) == 1
    assert heights[1] / heights[0] == pytest.approx(2 / 5, rel=1e-3)
    assert heights[2] / heights[0] == pytest.approx(8.1 / 5, rel=1e-3)


def test_every_run_is_a_dot_and_no_two_hide_each_other() -> None:
    dots = [(e.get("cx"), e.get("cy")) for e in drawn().iter() if e.get("class") == "run"]
    assert len(dots) == len(set(dots)) == 6


def test_the_picture_is_told_in_words() -> None:
    told = next(e.text for e in drawn().iter() if e.tag.endswith("desc"))
    assert told == "Heron: 3 runs, mean 5.00; Otter: 1 run, mean 2.00; A boat with a long name: 2 runs, mean 8.10."
