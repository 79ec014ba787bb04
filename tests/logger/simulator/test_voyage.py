"""Where the boat is: the path, its length, crossings, rest."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.hull import Hull, outline
from logger.simulator.physics import Drag, Thrust, Way, run
from logger.simulator.voyage import Path, TrueLine, Voyage

DRAG = Drag(mass_g=150.0, a_g_per_s=60.0, b_g_per_mm=0.3)


def a_voyage(*, wall_mm: float = 2000.0, bends: tuple[tuple[float, float, float], ...] = ()) -> Voyage:
    path = Path(start_mm=(-120.0, 10.0), course_rad=0.04, leeway_rad=0.02, bends=bends, length_mm=2500.0)
    thrust = Thrust(float(DRAG.force(300.0)), 0.2)
    motion = run(DRAG, thrust, Way(500.0, 0.0, wall_mm, 0.3), until_s=60.0)
    return Voyage(path, motion, Hull(outline("pointed", length_mm=200, width_mm=80), 1.0, 20.0, 10.0), go_s=1.5)


WINDING = ((0.08, 700.0, 0.3), (0.05, 1500.0, 2.0))


def test_the_way_along_the_path_is_its_length() -> None:
    path = a_voyage(bends=WINDING).path
    points = path.at(np.linspace(0, 1500, 30_001))[:, :2]
    assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(1500.0, abs=1e-4)


def test_the_heading_is_the_direction_of_motion_and_the_leeway() -> None:
    voyage = a_voyage(bends=WINDING)
    before, after = voyage.path.at([499.999, 500.001])[:, :2]
    direction = np.arctan2(*(after - before)[::-1])
    assert voyage.path.at([500.0])[0, 2] - direction == pytest.approx(0.02, abs=1e-7)


def test_at_a_crossing_the_bow_is_on_the_line_and_the_stern_a_length_behind() -> None:
    voyage, line = a_voyage(), TrueLine("mark", "mark", 300.0)
    moment = voyage.crossing_s(line, until_s=20.0)
    assert moment is not None
    assert voyage.front([moment], line)[0] == pytest.approx(0.0, abs=1e-9)
    assert voyage.bow([moment], normal_rad=0.0)[0, 0] == pytest.approx(300.0, abs=1e-9)
    # turned by 0.06 rad, the 200 mm long hull reaches a little differently along x
    assert voyage.rear([moment], line)[0] == pytest.approx(-200.0, abs=4.0)


def test_a_line_that_is_not_reached_is_not_crossed() -> None:
    assert a_voyage().crossing_s(TrueLine("far", "finish", 1e4), until_s=30.0) is None


def test_there_and_back_from_a_wall_both_count_as_path() -> None:
    voyage = a_voyage(wall_mm=600.0)
    after_wall = voyage.go_s + voyage.motion.begins_s[-1]
    later = voyage.path_mm(after_wall, after_wall + 5.0)
    assert later > 1.0
    assert voyage.path_mm(voyage.go_s, after_wall + 5.0) == pytest.approx(600.0 + later, abs=1e-6)


def test_the_wall_is_met_where_the_motion_turns_back() -> None:
    voyage = a_voyage(wall_mm=600.0)
    front = float(voyage.front([voyage.go_s + voyage.motion.begins_s[-1]], TrueLine("wall", "wall", 0.0))[0])
    assert voyage.meets_s(front, until_s=60.0) == voyage.go_s + voyage.motion.begins_s[-1]
    assert voyage.meets_s(front + 1.0, until_s=60.0) is None
    assert voyage.meets_s(front, until_s=voyage.go_s + 0.1) is None


def test_slow_for_good_is_where_the_closed_form_says() -> None:
    voyage = a_voyage()
    cut = voyage.motion.begins_s[1]
    entry = float(voyage.motion.at([cut])[1, 0])
    wanted = voyage.go_s + cut + DRAG.coast_time(10.0, from_mm_per_s=entry)
    assert voyage.slower_s(10.0, until_s=60.0) == pytest.approx(wanted, abs=1e-6)


def test_a_boat_that_hits_the_wall_and_hardly_bounces_is_slow_at_once() -> None:
    path = Path(start_mm=(0.0, 0.0), course_rad=0.0, leeway_rad=0.0, bends=(), length_mm=900.0)
    motion = run(DRAG, Thrust(float(DRAG.force(300.0)), 0.2), Way(300.0, 0.0, 320.0, 0.01), until_s=60.0)
    voyage = Voyage(path, motion, Hull(outline("tray", length_mm=100, width_mm=60), 1.0, 20.0, 10.0), go_s=1.0)
    assert voyage.slower_s(10.0, until_s=20.0) == pytest.approx(1.0 + motion.begins_s[-1], abs=1e-9)
