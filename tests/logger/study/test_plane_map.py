"""The map of doubt: in millimetres, with its legend, true to scale."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.plane_worth import worth
from calibration.waterplane import Pose, View, rotation_matrix
from logger.recording.rig_toml import rig_from_table
from logger.study.plane_map import plane_map

LENS = Lens(1280, 720, 900.0, 900.0, 639.5, 359.5)
POSE = Pose.at(rotation_matrix([math.pi, 0, 0]), camera_mm=[600.0, 0.0, 1200.0])
VIEW = View(LENS, POSE, {"height": (LENS, POSE.moved([0, 0, 0], [0, 0, 6.0]))})
RIG = rig_from_table(
    {
        "format": "boatrun-rig/1", "name": "basin", "tank": {"length_mm": 1200, "width_mm": 500, "water_depth_mm": 80},
        "lines": [{"name": "start", "role": "start", "x_mm": 100}, {"name": "finish", "role": "finish", "x_mm": 1100}],
    },
    file="rig.toml",
)  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


def drawn(view: View = VIEW) -> ET.Element:
    found = worth(view, RIG.tank.outline_mm)
    return ET.fromstring(plane_map(RIG, found, [(0.0, 200.0), (1200.0, -200.0)], made="by marks, 2026-05-04"))


def texts(picture: ET.Element) -> list[str]:
    return [one.text or "" for one in picture.iter(f"{SVG}text")]


def test_it_tells_the_worst_and_the_middle_place_in_mm() -> None:
    worst = 1.96 * math.hypot(600, 250) * 6 / 1200
    assert any(f"anywhere ± {worst:.1f} mm" in text for text in texts(drawn()))
    assert f"± {worst:.1f} mm" in texts(drawn())
    assert "by marks, 2026-05-04" in texts(drawn())


def test_the_legend_has_a_shade_for_every_step_and_its_number_in_mm() -> None:
    picture = drawn()
    body, *_ = picture.findall(f"{SVG}g")
    used = {one.get("fill") for one in body.iter(f"{SVG}rect") if float(one.get("width", 0)) != 8}
    legend = [one for one in picture.findall(f"{SVG}rect") if one.get("height") == "20"]
    assert used <= {one.get("fill") for one in legend}
    numbers = [text for text in texts(picture) if re.fullmatch(r"\d\.\d|\d", text)]
    assert numbers[0] in {"0", "0.0"}
    assert float(numbers[-1]) >= 6.5


def test_darker_shades_lie_farther_out() -> None:
    """The doubt of a height grows from the foot point outwards; so does the darkness."""
    body, *_ = drawn().findall(f"{SVG}g")
    cells = [one for one in body.iter(f"{SVG}rect") if float(one.get("width", 0)) != 8]
    middle_row = sorted({float(one.get("y", 0)) for one in cells})[10]
    row = [one for one in cells if float(one.get("y", 0)) == middle_row]
    levels = [int((one.get("fill") or "#000000")[1:3], 16) for one in row]
    assert levels.index(max(levels)) not in {0, len(levels) - 1}
    assert levels[0] < max(levels) > levels[-1]


def test_what_the_camera_does_not_see_has_a_shade_of_its_own() -> None:
    aside = View(LENS, Pose.at(POSE.rotation, camera_mm=[1000.0, 0.0, 1200.0]), VIEW.variations)
    picture = drawn(aside)
    assert "not seen" in texts(picture)
    assert "not seen" not in texts(drawn())
    assert "does not see all of it" in (picture.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]


@pytest.mark.parametrize("factor", [0.01, 30.0])
def test_very_good_and_very_bad_planes_are_drawn_too(factor: float, tmp_path: Path) -> None:
    view = View(LENS, POSE, {"height": (LENS, POSE.moved([0, 0, 0], np.array([0, 0, 6.0]) * factor))})
    assert len(list(drawn(view).iter(f"{SVG}rect"))) > 20
