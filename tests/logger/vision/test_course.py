from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.course import Course

ALONG = Course(pose=np.array([100.0, 20.0, 0.1]), speed=np.array([300.0, 0.0, 0.5]), t_s=2.0, shown=1.0)


def test_a_course_is_carried_on_both_ways_in_time() -> None:
    assert ALONG.at(2.1) == pytest.approx([130.0, 20.0, 0.15])
    assert ALONG.at(1.9) == pytest.approx([70.0, 20.0, 0.05])


def test_a_course_is_the_same_if_all_of_it_is() -> None:
    assert ALONG.is_same(replace(ALONG, pose=ALONG.pose.copy()))
    others = [{"pose": ALONG.pose + 1e-9}, {"speed": ALONG.speed + 1e-9}, {"t_s": 2.1}, {"shown": 0.9}]
    assert not any(ALONG.is_same(replace(ALONG, **other)) for other in others)


def test_the_longer_ago_the_more_room_and_the_more_ways() -> None:
    assert ALONG.room_mm(2.0, step_mm=4.0) == 4.0
    soon, late = (ALONG.room_mm(t_s, step_mm=4.0) for t_s in (2.05, 2.2))
    assert late - 4.0 == pytest.approx(16 * (soon - 4.0))
    assert len(ALONG.ways(2.2, [], step_mm=4.0)) > len(ALONG.ways(2.05, [], step_mm=4.0)) > 1


def test_a_boat_may_have_stopped_and_others_count_only_where_it_can_be() -> None:
    near, far = np.array([150.0, 20.0, 0.1]), np.array([900.0, 20.0, 0.1])
    ways = ALONG.ways(2.1, [near, far], step_mm=4.0)
    assert any(way is near for way in ways)
    assert not any(way is far for way in ways)
    assert any(np.array_equal(way, ALONG.pose) for way in ways)
    assert all(way[1] == pytest.approx(20.0) for way in ways), "it goes on along its way"
