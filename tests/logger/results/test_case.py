from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.results.case import case_of
from logger.vision.track import BRIDGED, NotFound


def test_zero_is_the_first_thing_that_is_known_and_the_end_the_last(shop: Any) -> None:
    rig = shop.rig()
    case = case_of(
        shop.recording(rig, edges=shop.edges("A", (2.0, 3.0)), events=[(1.0, "armed"), (4.0, "note")]), rig, None
    )
    assert (case.origin_ns, case.ends_ns, case.from_ns) == (shop.ns(1.0), shop.ns(4.0), shop.ns(1.0))
    assert case_of(shop.recording(rig), rig, None).origin_ns == 0


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (None, "There are no pictures of this run."),
        (NotFound("glare"), "The camera did not find the boat: glare."),
    ],
)
def test_why_there_is_no_motion(shop: Any, seen: Any, why: str) -> None:
    case = case_of(shop.recording(shop.rig()), shop.rig(), seen)
    assert case.motion is None
    assert case.why_no_motion == why


def test_a_handful_of_pictures_makes_no_motion(shop: Any) -> None:
    track = shop.track(lambda t: 100 * t)
    quality = np.full(len(track.t_ns), BRIDGED, np.uint8)
    quality[:4] = 0
    case = case_of(shop.recording(shop.rig()), shop.rig(), replace(track, quality=quality))
    assert case.why_no_motion == "The camera saw the boat in only 4 pictures."


def test_the_seed_is_the_runs_own(shop: Any) -> None:
    rig = shop.rig()
    seeds = [case_of(shop.recording(rig, run_id=name), rig, None).seed for name in ("run-1", "run-1", "run-2")]
    assert seeds[0] == seeds[1] != seeds[2]
