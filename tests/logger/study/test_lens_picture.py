from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np

from calibration.lens_coverage import coverage
from logger.study.lens_picture import WIDTH, lens_picture
from tests.calibration.board_views import USUAL, shown

SVG = "{http://www.w3.org/2000/svg}"


def drawn(*, within: float = 1.0) -> tuple[ET.Element, dict]:
    views = shown(USUAL, np.random.default_rng(1), count=6, within=within, away_mm=(300.0, 500.0))
    off = [np.random.default_rng(2).normal(0, 0.2, view.pixels.shape) for view in views.values()]
    text = lens_picture(views, off, coverage(views, USUAL), title="Lens <of> a tub")
    return ET.fromstring(text), views


def test_every_corner_is_a_dot_where_it_is_in_the_picture() -> None:
    root, views = drawn()
    dots = [(float(dot.get("cx", 0)), float(dot.get("cy", 0))) for dot in root.iter(f"{SVG}circle")]
    every = np.concatenate([view.pixels for view in views.values()])
    assert len(dots) == len(every)
    scale = (WIDTH - 48) / 1280
    np.testing.assert_allclose(np.array(dots) - ((every + 0.5) * scale + (24, 74)), 0, atol=0.02)


def test_every_view_has_an_outline_and_every_corner_a_tail() -> None:
    root, views = drawn()
    outlines = [path for path in root.iter(f"{SVG}path") if path.get("d", "").endswith("Z")]
    tails = [path for path in root.iter(f"{SVG}path") if path.get("stroke") == "#a63a0b"]
    assert len(outlines) == len(views)
    assert len(tails) == sum(len(view.pixels) for view in views.values())


def test_parts_without_a_board_are_marked_and_named() -> None:
    root, views = drawn(within=0.1)
    words = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    bare = coverage(views, USUAL).bare
    assert words.count("none yet") == len(bare) > 0
    assert any(said.startswith("no board yet: ") and bare[0] in said for said in words)


def test_the_title_is_told_and_a_full_picture_says_so() -> None:
    root, _ = drawn()
    assert root.findtext(f"{SVG}title") == "Lens <of> a tub"
    assert "top left" in (root.findtext(f"{SVG}desc") or "")


def test_what_is_covered_so_far_is_drawn_with_what_is_missing() -> None:
    from xml.etree import ElementTree

    from calibration.lens_coverage import coverage
    from logger.study.lens_picture import coverage_picture

    drawn = coverage_picture(coverage({}))
    words = ["".join(one.itertext()) for one in ElementTree.fromstring(drawn).iter() if one.tag.endswith("}text")]
    assert words.count("none yet") == 9
    assert {"tilt left", "tilt right", "tilt top away", "tilt bottom away"} <= set(words)
    assert words.count("away") == 2
