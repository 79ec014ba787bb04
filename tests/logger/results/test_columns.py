from __future__ import annotations

import re

import pytest

from logger.results import columns

UNIT_OF_ENDING = {
    "_m_per_s2": "m/s2", "_m_per_s": "m/s", "_per_s": "/s", "_per_m": "/m", "_per_min": "/min",
    "_mm": "mm", "_ns": "ns", "_s": "s", "_deg": "deg", "_g": "g",
}  # fmt: skip


@pytest.mark.parametrize("name", columns.COLUMNS)
def test_a_name_ends_in_its_unit(name: str) -> None:
    endings = [unit for ending, unit in UNIT_OF_ENDING.items() if name.endswith(ending)]
    assert columns.COLUMNS[name].unit in ([endings[0]] if endings else ["", "1"])


@pytest.mark.parametrize("column", columns.COLUMNS.values(), ids=lambda c: c.name)
def test_each_has_words_and_one_or_more_whole_sentences(column: columns.Column) -> None:
    assert column.words
    assert re.fullmatch(r"[A-Za-z01].*\.", column.meaning)
    assert 0 <= column.decimals <= 6


def test_the_order_of_results_and_of_the_track_is_fixed() -> None:
    assert columns.RESULTS == (
        "time_s", "time_from_go_s", "speed_mean_m_per_s", "speed_at_line_m_per_s", "speed_max_m_per_s", "drift_mm",
        "path_mm", "straightness", "sideways_mm", "heading_swing_deg", "stuck_s", "distance_mm", "coast_time_s",
        "deceleration_m_per_s2", "drag_linear_per_s", "drag_quadratic_per_m", "ports_count", "port_dwell_s",
        "rings_count", "cargo_count", "cargo_per_min", "obstacle_touches_count",
        "weights_count",
    )  # fmt: skip
    assert columns.TRACK == (
        "t_ns", "t_s", "x_mm", "y_mm", "heading_deg", "u_x_mm", "u_y_mm", "speed_m_per_s", "u_speed_m_per_s", "quality",
    )  # fmt: skip
