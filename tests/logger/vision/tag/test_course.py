from __future__ import annotations

import numpy as np

from logger.vision.tag.course import headings_of_travel

T_NS = (np.arange(150) * 33_333_333).astype(np.int64)


def travelled(way: np.ndarray):
    return headings_of_travel(T_NS, way, np.tile(np.eye(2) * 0.1**2, (len(way), 1, 1)))


def test_a_curve_is_headed_along_itself() -> None:
    turn = np.linspace(0, 1.2, 150)
    heading, u = travelled(1000 * np.column_stack([np.sin(turn), 1 - np.cos(turn)]))
    assert np.abs(heading - turn)[10:-10].max() < 0.01
    assert np.degrees(u[10:-10]).max() < 6


def test_at_rest_the_heading_is_held_and_its_doubt_grows() -> None:
    x = np.concatenate([np.zeros(60), np.linspace(0, 600, 90)])
    heading, u = travelled(np.column_stack([0.6 * x, 0.8 * x]))
    assert np.abs(heading - np.arctan2(0.8, 0.6)).max() < 0.02
    assert u[0] > u[30] > u[70]
    assert np.degrees(u[0]) > 9


def test_a_boat_thrown_back_by_the_wall_keeps_its_bow() -> None:
    x = np.concatenate([np.linspace(0, 600, 80), np.linspace(600, 450, 70)])
    heading, _ = travelled(np.column_stack([x, 0 * x]))
    assert np.abs(heading).max() < 0.1


def test_a_boat_that_never_moves_has_no_heading() -> None:
    heading, u = travelled(np.zeros((150, 2)))
    assert (heading == 0).all()
    assert (u > 3).all()
