from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger.config import Line
from logger.results import lines


def test_the_normal_points_the_way_the_boats_go_whichever_end_is_named_first(shop: Any) -> None:
    rig = shop.rig()
    finish = rig.line("finish")
    turned = Line("finish", "finish", finish.b_mm, finish.a_mm)
    for line in (finish, turned):
        met = lines.ahead(line, rig)
        assert met.normal == pytest.approx([1, 0])
        assert met.past_mm(np.array([[1210.0, 44.0], [0.0, 0.0]])) == pytest.approx([10, -1200])
        assert met.along_mm(np.array([1200.0, 44.0])) == pytest.approx(44)
        assert met.half_length_mm == 300


def test_a_run_from_right_to_left_has_its_normals_that_way(shop: Any) -> None:
    rig = shop.rig(
        lines=(Line("start", "start", (900.0, 0.0), (900.0, 400.0)), Line("finish", "finish", (0.0, 0.0), (0.0, 400.0)))
    )
    assert lines.ahead(rig.lines[0], rig).normal == pytest.approx([-1, 0])
    assert lines.distance_between(*rig.lines, rig).value == pytest.approx(900)


def test_without_a_second_line_forward_is_along_x(shop: Any) -> None:
    rig = shop.rig(lines=(Line("start", "start", (0.0, 0.0), (0.0, 400.0)),), gates=False)
    assert lines.travel(rig) == pytest.approx([1, 0])


def test_the_distance_carries_both_lines_places_with_opposite_signs(shop: Any) -> None:
    rig = shop.rig()
    distance = lines.distance_between(*rig.lines, rig)
    assert distance.value == 1200
    assert {s.name: c for s, c in distance.contributions.items()} == {
        "start line place": -0.5,
        "finish line place": 0.5,
    }


@pytest.mark.parametrize(("kind", "name"), [("straight", "finish"), ("drift", "mark"), ("course", "finish")])
def test_a_drift_run_is_timed_to_the_mark_line(shop: Any, kind: Any, name: str) -> None:
    mark = Line("mark", "mark", (700.0, -300.0), (700.0, 300.0))
    rig = shop.rig()
    rig = shop.rig(lines=(*rig.lines, mark))
    assert lines.end_line(rig, kind).name == name  # type: ignore[union-attr]
    assert lines.start_line(rig) is rig.lines[0]
