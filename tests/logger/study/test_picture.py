from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

from logger.study.leaf import Run
from logger.study.picture import picture


def test_a_picture_stands_alone(make_drift_run: Callable[..., Run]) -> None:
    text = picture(make_drift_run())
    root = ElementTree.fromstring(text)
    assert sum(element.tag.endswith("}svg") for element in root.iter()) == 4
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert len(text.encode()) < 200_000


def test_nothing_in_a_picture_hangs_over_its_edge(make_drift_run: Callable[..., Run]) -> None:
    root = ElementTree.fromstring(picture(make_drift_run()))
    _, _, width, height = map(float, (root.get("viewBox") or "").split())
    inner = [element for element in root if element.tag.endswith("}svg")]
    for element in inner:
        assert float(element.get("x") or 0) + float(element.get("width") or 0) <= width + 0.01
        assert float(element.get("y") or 0) + float(element.get("height") or 0) <= height + 0.01


def test_a_run_without_a_track_gives_the_map_alone(make_straight_run: Callable[..., Run]) -> None:
    root = ElementTree.fromstring(picture(make_straight_run("Coot", 4.2)))
    assert sum(element.tag.endswith("}svg") for element in root.iter()) == 2


def test_the_example_for_the_readme_is_a_picture_that_this_program_makes(
    project: Path, make_drift_run: Callable[..., Run]
) -> None:
    text = (project / "logger" / "study" / "example.svg").read_text(encoding="utf-8")
    assert len(text.encode()) < 200_000
    root, fresh = ElementTree.fromstring(text), ElementTree.fromstring(picture(make_drift_run()))
    styles = [next(e.text for e in made.iter() if e.tag.endswith("}style")) for made in (root, fresh)]
    assert styles[0] == styles[1], "make it anew: run boatrun demo and copy its picture.svg"
    assert root.get("viewBox", "").split()[2] == fresh.get("viewBox", "").split()[2]
