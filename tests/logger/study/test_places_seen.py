from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.places import StraightLine
from calibration.waterplane import Pose, View
from logger.config import Gate, Line, Rig, Tank, Zone
from logger.study.places_seen import outline_of, places_map, places_seen, rig_map

VIEW = View(
    Lens(1280, 720, 600.0, 600.0, 639.5, 359.5), Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[600.0, 0.0, 1200.0])
)
TANK = Tank(((-300.0, -250.0), (1500.0, -250.0), (1500.0, 250.0), (-300.0, 250.0)), 100.0)
RIG = Rig("r", TANK, (Line("start", "start", (100.0, -250.0), (100.0, 250.0)),), zones=(
    Zone("red & round", "ring", middle_mm=(700.0, 100.0), radius_mm=80.0),
    Zone("harbour", "port", ((900.0, -200.0), (1100.0, -200.0), (1100.0, -100.0), (900.0, -100.0))),
))  # fmt: skip
BEAM = {"A": StraightLine((400.0, -250.0), (400.0, 250.0), 1.0, {})}


def drawn() -> np.ndarray:
    return places_seen(np.full((720, 1280), 90, np.uint8), VIEW, RIG, beams=BEAM)


def coloured(picture: np.ndarray, x: float, y: float) -> bool:
    """Whether something is drawn within two pixels of a place on the water; grey is not."""
    u, v = np.rint(VIEW.to_pixels([[x, y, 0.0]])[0]).astype(int)
    near = picture[v - 2 : v + 3, u - 2 : u + 3].astype(int)
    return bool((np.ptp(near, axis=2) > 60).any())


@pytest.mark.parametrize(
    ("x", "y"), [(100.0, -150.0), (780.0, 100.0), (620.0, 100.0), (1000.0, -200.0), (1100.0, -150.0)]
)
def test_lines_and_zones_are_drawn_where_they_are(x: float, y: float) -> None:
    assert coloured(drawn(), x, y)


def test_nothing_is_drawn_elsewhere() -> None:
    picture = drawn()
    assert not any(coloured(picture, x, -60.0) for x in (300.0, 500.0, 1200.0))


def test_a_beam_is_dashed() -> None:
    picture = drawn()
    shown = [coloured(picture, 400.0, y) for y in np.arange(-240.0, 240.0, 6.0)]
    assert 0.3 < np.mean(shown) < 0.9


def test_the_outline_of_a_round_zone_is_as_far_off_as_its_radius() -> None:
    ring = outline_of(RIG.zones[0])
    assert np.hypot(*(ring - [700.0, 100.0]).T) == pytest.approx(80.0)


def test_the_rigs_own_plan_has_its_beams_past_their_lines() -> None:
    rig = replace(RIG, gates=(Gate("A", "start", offset_mm=60.0), Gate("B", "start"), Gate("C", "nowhere")))
    here = StraightLine((100.0, -250.0), (100.0, 250.0), 1.0, {})
    past = StraightLine((160.0, -250.0), (160.0, 250.0), 1.0, {})
    assert rig_map(rig) == places_map(rig, beams={"A": past, "B": here})


def test_the_plan_names_everything_and_is_whole() -> None:
    plan = ElementTree.fromstring(places_map(RIG, beams=BEAM))
    said = " ".join(text.text or "" for text in plan.iter("{http://www.w3.org/2000/svg}text"))
    assert all(name in said for name in ("start", "red & round", "harbour", "A"))
