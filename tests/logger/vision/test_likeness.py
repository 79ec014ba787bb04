from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from logger.vision.ground import SHRINK, ground
from logger.vision.likeness import Likeness
from logger.vision.sightings import Sighting
from tests.logger.vision.conftest import Painted


def test_a_thing_of_the_boats_size_counts_more_than_a_stronger_one_of_another(painted: Painted) -> None:
    """The boat is an upright ellipse of the card's size, the sleeve is twice as wide; drawn by OpenCV."""
    plane, boat = painted.plane, painted.recording.card.boat
    known = ground(painted.rig, plane, boat)
    empty = np.full((720 // SHRINK, 1280 // SHRINK), 150, np.float32)
    small = empty.astype(np.uint8)
    spots = plane.pixels(plane.foot_mm + np.array([[-300.0, 0.0], [200.0, 0.0]])) / SHRINK
    half = np.array([boat.length_mm, boat.width_mm], np.float64) / 2 / plane.step_mm(plane.foot_mm) / SHRINK
    for (u, v), wider, grey in ((spots[0], 1.0, 110), (spots[1], 2.0, 20)):
        size = (round(half[0]), round(half[1] * wider))
        cv2.ellipse(small, (round(u), round(v)), size, 0, 0, 360, grey, -1)
    seen = [Sighting(float(u), float(v), strength) for (u, v), strength in zip(spots, (1.0, 2.0), strict=True)]
    judge = Likeness(plane, known, empty, 1.0)
    like, unlike = judge.weighed(small, seen)
    assert like.strength > 0.7
    assert unlike.strength < 0.7 * like.strength
    nothing = judge.weighed(small, [Sighting(20.0, 20.0, 1.0)])
    assert nothing[0].strength < 0.1
    unknown = replace(judge, ground=replace(known, told_mm=(None, None)))
    assert unknown.weighed(small, seen) == seen
