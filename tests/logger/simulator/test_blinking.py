from __future__ import annotations

import gc

import cv2
import numpy as np
import pytest

from logger.simulator.blinking import HEIGHT_PX, BlinkingTub, BlinkWishes, set_up, standing

MS = 1_000_000


def row_levels(tub: BlinkingTub, number: int) -> np.ndarray:
    """Mean level of the light's columns, one for each row."""
    picture = cv2.imdecode(np.frombuffer(tub.shot(number).jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
    u = tub.wishes.u_px
    return np.asarray(picture[:, u - 2 : u + 3].mean(axis=1))


def test_a_light_that_is_on_is_seen_where_it_is() -> None:
    tub = BlinkingTub(BlinkWishes(), begins_ns=0)
    dark = row_levels(tub, 0)
    tub.switch(True, 10 * MS)
    bright = row_levels(tub, 2)
    assert int(np.argmax(bright - dark)) == pytest.approx(tub.wishes.v_px, abs=2)
    assert (bright - dark).max() > 40
    assert np.abs(bright - dark)[150:].max() < 6


def test_a_light_that_was_on_for_half_the_exposure_is_half_as_bright() -> None:
    """Light adds up; a pixel value is its 1/2.2th power, as the tub's camera makes it."""
    wishes = BlinkWishes(line_ns=0, exposure_ns=8 * MS, period_ns=100 * MS)
    tub = BlinkingTub(wishes, begins_ns=0)
    tub.switch(True, 104 * MS)
    levels = [row_levels(tub, number)[wishes.v_px] for number in (0, 1, 2)]
    off, half, on = ((level / 255) ** 2.2 for level in levels)
    assert (half - off) / (on - off) == pytest.approx(0.5, abs=0.04)


def test_the_shutter_rolls_from_row_to_row() -> None:
    wishes = BlinkWishes(line_ns=500_000, exposure_ns=1 * MS, period_ns=200 * MS)
    tub = BlinkingTub(wishes, begins_ns=0)
    tub.switch(True, 200 * MS + wishes.v_px * wishes.line_ns)  # when the exposure of the light's own row begins
    early, late = row_levels(tub, 0), row_levels(tub, 1)
    assert np.abs((late - early)[wishes.v_px - 8 : wishes.v_px - 3]).max() < 8
    assert (late - early)[wishes.v_px + 1] > 40


def test_stamps_are_late_and_never_go_back() -> None:
    tub = BlinkingTub(BlinkWishes(delay_ns=70 * MS, jitter_ns=20 * MS), begins_ns=5_000 * MS)
    stamps = [tub.stamp_ns(number) for number in range(200)]
    late = np.array(stamps) - np.array([5_000 * MS + number * tub.wishes.period_ns for number in range(200)])
    assert late.mean() == pytest.approx(70 * MS, abs=4 * MS)
    assert stamps == sorted(stamps)
    assert all(tub.due_ns(number) >= stamps[number] for number in range(200))


def test_a_picture_is_due_when_its_last_row_is_exposed() -> None:
    tub = BlinkingTub(BlinkWishes(delay_ns=0), begins_ns=0)
    assert tub.due_ns(0) == HEIGHT_PX * 20_000 + 8 * MS


def test_so_many_pictures_are_lost() -> None:
    tub = BlinkingTub(BlinkWishes(dropped_share=0.2), begins_ns=0)
    assert sum(tub.is_dropped(number) for number in range(1000)) == pytest.approx(200, abs=50)


def test_the_same_seed_paints_the_same_picture() -> None:
    assert BlinkingTub(BlinkWishes(seed=4), begins_ns=0).shot(3) != BlinkingTub(BlinkWishes(seed=5), begins_ns=0).shot(
        3
    )
    one, other = (BlinkingTub(BlinkWishes(seed=4), begins_ns=0).shot(3) for _ in range(2))
    assert one.jpeg == other.jpeg
    assert one.t_ns == other.t_ns


def test_a_tub_stands_for_as_long_as_somebody_holds_it() -> None:
    tub = BlinkingTub(BlinkWishes(), begins_ns=0)
    set_up("of this test", tub)
    assert standing("of this test") is tub
    del tub
    gc.collect()
    assert standing("of this test") is None
