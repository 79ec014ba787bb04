from __future__ import annotations

import numpy as np
import pytest

from logger.study.series import Series


def test_values_between_moments_lie_on_a_straight_line_and_stay_at_the_ends(series: Series) -> None:
    middle = (series.t_s[10] + series.t_s[11]) / 2
    assert series.at(middle, series.x_mm) == pytest.approx((series.x_mm[10] + series.x_mm[11]) / 2)
    assert series.at(-99.0, series.x_mm) == series.x_mm[0]


def test_the_outline_is_turned_anticlockwise_and_carried_to_the_boat() -> None:
    upwards = Series(
        t_s=np.array([0.0, 1.0]), zero="go", x_mm=np.array([100.0, 100.0]), y_mm=np.array([20.0, 20.0]),
        heading_rad=np.full(2, np.pi / 2), along_m=np.zeros(2), u_along_m=np.zeros(2), speed_m_per_s=np.zeros(2),
        u_speed_m_per_s=np.zeros(2), seen=np.ones(2, bool), outline_mm=np.array([(80.0, 0.0), (-80.0, 30.0)]),
    )  # fmt: skip
    assert upwards.bow_at(0.5) == pytest.approx((100.0, 100.0))
    assert upwards.outline_at(0.5) == pytest.approx(np.array([(100.0, 100.0), (70.0, -60.0)]))
