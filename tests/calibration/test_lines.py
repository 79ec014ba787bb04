"""Lines on the plane: sides, distances, and the agreement of two witnesses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.lens import Lens
from calibration.lines import PlaneLine, agreement, angle_between_deg, distance_between, line_in_view
from calibration.quantity import Quantity
from calibration.waterplane import Pose, View, rotation_matrix

START = PlaneLine("start", (0.0, -200.0), (0.0, 200.0), u_mm=0.8)
FINISH = PlaneLine("finish", (1000.0, 200.0), (1000.0, -200.0), u_mm=0.6)
VIEW = View(
    Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03),
    Pose.at(rotation_matrix([math.pi, 0, 0]) @ rotation_matrix([0.04, -0.03, 0.1]), camera_mm=(500.0, 0.0, 1200.0)),
)

places = st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000))


def turned(point: tuple[float, float], angle_rad: float) -> tuple[float, float]:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return c * point[0] - s * point[1], s * point[0] + c * point[1]


def test_ahead_is_positive_whichever_way_the_ends_are_named() -> None:
    np.testing.assert_allclose(START.past_mm([[3, 50], [-2, 999]]), [3, -2])
    np.testing.assert_allclose(FINISH.past_mm([[1003, 50], [998, 0]]), [3, -2])


def test_travel_decides_which_side_is_ahead() -> None:
    back = PlaneLine("back", START.a_mm, START.b_mm, travel=(-5.0, 0.0))
    np.testing.assert_allclose(back.past_mm([[3, 50]]), [-3])
    np.testing.assert_allclose(back.normal, [-1, 0])


def test_where_along_the_line() -> None:
    np.testing.assert_allclose(START.share_along([[7, -200], [7, 0], [7, 200], [7, 400]]), [0, 0.5, 1, 1.5])


@given(places, st.floats(-3, 3), places)
def test_a_turned_and_shifted_tank_has_the_same_distances(place, angle, shift) -> None:
    def moved(point: tuple[float, float]) -> tuple[float, float]:
        x, y = turned(point, angle)
        return x + shift[0], y + shift[1]

    line = PlaneLine("slant", (10.0, -200.0), (30.0, 200.0))
    other = PlaneLine("slant", moved(line.a_mm), moved(line.b_mm), travel=turned((1.0, 0.0), angle))
    np.testing.assert_allclose(other.past_mm([moved(place)]), line.past_mm([place]), atol=1e-9)


def test_distance_of_parallel_lines_carries_both_places() -> None:
    distance = distance_between(START, FINISH)
    assert distance.value == pytest.approx(1000)
    assert distance.u == pytest.approx(math.hypot(0.8, 0.6))
    assert distance_between(FINISH, START).value == pytest.approx(-1000)


def test_distance_of_lines_that_are_not_parallel_depends_on_where() -> None:
    slant = PlaneLine("slant", (990.0, -200.0), (1010.0, 200.0))
    assert distance_between(START, slant, at_share=0.0).value == pytest.approx(990)
    assert distance_between(START, slant).value == pytest.approx(1000)
    assert distance_between(START, slant, at_share=1.0).value == pytest.approx(1010)
    assert angle_between_deg(START, slant) == pytest.approx(-math.degrees(math.atan(20 / 400)))
    assert angle_between_deg(slant, START) == pytest.approx(math.degrees(math.atan(20 / 400)))


def test_a_mark_line_shared_by_two_distances_cancels_in_their_difference() -> None:
    mark = PlaneLine("mark", (400.0, -200.0), (400.0, 200.0), u_mm=5.0)
    through = distance_between(START, mark) + distance_between(mark, FINISH)
    assert through.u == pytest.approx(distance_between(START, FINISH).u)


def test_lines_that_cross_have_no_distance() -> None:
    along = PlaneLine("along", (0.0, 0.0), (1000.0, 50.0), travel=(0.0, 1.0))
    with pytest.raises(ValueError, match="not parallel enough to have a distance"):
        distance_between(START, along)


@pytest.mark.parametrize(
    ("a", "b", "u", "told"),
    [
        ((1.0, 2.0), (1.0, 2.0), 0.0, "both ends are at"),
        ((0.0, 0.0), (100.0, 1.0), 0.0, "it must lie across it"),
        ((0.0, math.nan), (0.0, 1.0), 0.0, "finite numbers"),
        ((0.0, 0.0), (0.0, 1.0), -1.0, "an uncertainty >= 0"),
    ],
)
def test_a_line_that_is_none_is_refused(a, b, u: float, told: str) -> None:
    with pytest.raises(ValueError, match=f"line 'x': .*{told}"):
        PlaneLine("x", a, b, u_mm=u)


def test_a_tape_on_the_floor_is_found_where_it_lies() -> None:
    ends = VIEW.to_pixels_through_water([[800.0, -150.0, -100.0], [805.0, 150.0, -100.0]])
    line = line_in_view(VIEW, "finish", *ends, depth_mm=100.0)
    np.testing.assert_allclose([line.a_mm, line.b_mm], [[800, -150], [805, 150]], atol=1e-6)
    dry = line_in_view(VIEW, "finish", *ends)
    # Snell: at 0.3 m from the foot point (500, 0) the water pulls the tape 17.45 mm inwards, at its ends 17.3 mm
    assert dry.past_mm([[802.5, 0]])[0] == pytest.approx(17.4, abs=0.25)


def test_the_doubt_of_a_line_is_that_of_pointing_at_it() -> None:
    """Monte Carlo: the spread of the line's middle over 4,000 noisy pointings."""
    ends = VIEW.to_pixels([[800.0, -150.0, 0.0], [800.0, 150.0, 0.0]])
    stated = line_in_view(VIEW, "finish", *ends, u_px=0.7).u_mm
    rng = np.random.default_rng(3)
    pointed = VIEW.to_plane((ends + rng.normal(0, 0.7, (4000, 2, 2))).reshape(-1, 2))
    assert stated == pytest.approx(pointed[:, 0].std(), rel=0.05)


def test_tape_and_camera_agree_or_not() -> None:
    """E_n of ISO 13528: |x − X| / sqrt(U² + U²), at most 1 is agreement."""
    tape = Quantity.of(1000.0, "mm", u=1.0, source="tape")
    near = agreement(tape, Quantity.of(1002.0, "mm", u=1.5, source="camera"))
    far = agreement(tape, Quantity.of(1008.0, "mm", u=1.5, source="camera"))
    assert near.agrees
    assert not far.agrees
    assert far.ratio_to_expanded == pytest.approx(8 / math.hypot(1.96, 2.94), rel=1e-3)


def test_what_two_measurements_share_does_not_excuse_their_difference() -> None:
    shared = Quantity.of(0.0, "mm", u=50.0, source="start line place")
    tape = Quantity.of(1000.0, "mm", u=1.0, source="tape") + shared
    assert not agreement(tape, Quantity.of(1010.0, "mm", u=1.0, source="camera") + shared).agrees


def test_two_bare_numbers_cannot_be_compared() -> None:
    with pytest.raises(ValueError, match="state one to compare them"):
        agreement(Quantity(1.0, "mm"), Quantity(2.0, "mm"))
