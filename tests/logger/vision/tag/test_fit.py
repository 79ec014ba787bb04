from __future__ import annotations

import numpy as np
import pytest

from logger.vision.plane import Plane
from logger.vision.tag.fit import Motion, Patch, TagFit, fit
from logger.vision.tag.look import Print
from tests.logger.vision.tag.print_painted import DISC, SQUARE, empty, paint, plane

ON = plane()
STEP_MM = ON.step_mm(ON.foot_mm)
PLACE, HEADING = np.array([743.3, -112.7]), 0.43


def fitted(picture, tag, *, start=(2.0, -1.5), turn=0.06, smear=None, motion=None, on: Plane = ON):
    look = Print(tag).look(blur_mm=0.67 * STEP_MM, smear_mm=smear)
    patch = Patch(picture, on, PLACE + start, 2.0 * tag.size_mm)
    more = {} if motion is None else {"motion": motion}
    return fit(patch, look, place_mm=PLACE + start, heading_rad=HEADING + turn, steps_count=10, **more)


def off_mm(found: TagFit) -> float:
    return float(np.hypot(*(found.place_mm - PLACE)))


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_a_print_is_placed_to_a_twentieth_of_a_pixel(tag) -> None:
    found = fitted(paint(empty(), ON, tag, place_mm=PLACE, heading_rad=HEADING), tag)
    assert found is not None
    assert found.good
    assert off_mm(found) < 0.05 * STEP_MM
    assert found.match_share > 0.97
    if tag.kind == "square":
        assert found.heading_rad == pytest.approx(HEADING, abs=0.006)
    assert found.row_px == pytest.approx(ON.pixels(PLACE)[1], abs=1.0)


def test_errors_are_as_large_as_their_covariance_says() -> None:
    ratio = []
    for seed in range(24):
        picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, noise=5.0, seed=seed)
        found = fitted(picture, SQUARE)
        assert found is not None
        error = np.array([*(found.place_mm - PLACE), found.heading_rad - HEADING])
        ratio.append(error @ np.linalg.inv(found.covariance) @ error / 3)
    assert 0.1 < np.mean(ratio) < 1.6  # wide on purpose: noise of a JPEG is correlated, that of this picture is not


def test_smear_that_hides_every_cell_is_followed_if_it_is_known() -> None:
    smear = np.array([9.0, 4.0])  # 10 mm, six pixels
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, smear_mm=smear)
    c, s = np.cos(HEADING), np.sin(HEADING)
    own = np.array([c * smear[0] + s * smear[1], c * smear[1] - s * smear[0]])
    known, ignored = fitted(picture, SQUARE, smear=own), fitted(picture, SQUARE)
    assert known is not None
    assert known.good
    assert off_mm(known) < 0.1 * STEP_MM
    assert ignored is None or ignored.match_share < known.match_share - 0.03


def test_a_sail_over_a_third_of_it_hardly_moves_it() -> None:
    picture = paint(
        empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING, cover=lambda down, across: abs(down - across) < 0.09
    )
    found = fitted(picture, SQUARE)
    assert found is not None
    assert found.good
    assert off_mm(found) < 0.25 * STEP_MM
    assert found.agreeing < 0.9


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_another_quarter_turn_is_refused(quarter: int) -> None:
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING)
    found = fitted(picture, SQUARE, turn=quarter * np.pi / 2)
    assert found is not None
    assert not found.good
    assert found.lead < 0


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_an_even_floor_is_no_print(tag) -> None:
    rng = np.random.default_rng(3)
    floor = np.clip(empty().astype(float) + rng.normal(0, 4, (720, 1280)), 0, 255).astype(np.uint8)
    found = fitted(floor, tag)
    assert found is None or not found.shows_partly


def test_rows_exposed_one_after_the_other_do_not_turn_it() -> None:
    """A print under way is sheared: each row is `line_s` later. The painted one stands still, so it is undone here."""
    picture = paint(empty(), ON, SQUARE, place_mm=PLACE, heading_rad=HEADING)
    sheared = fitted(picture, SQUARE, motion=Motion((1500.0, 0.0), 30e-6))
    still = fitted(picture, SQUARE)
    assert sheared is not None
    assert still is not None
    assert abs(sheared.heading_rad - still.heading_rad) > 0.004  # it does use it
    assert sheared.match_share < still.match_share


def test_outside_the_picture_nothing_is_found() -> None:
    look = Print(SQUARE).look(blur_mm=1.0)
    far = np.array([9000.0, 0.0])
    assert fit(Patch(empty(), ON, far, 60.0), look, place_mm=far, heading_rad=0.0) is None
