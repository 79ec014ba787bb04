from __future__ import annotations

import cv2
import numpy as np

from logger.vision.watch.marks import Marks
from tests.logger.vision.yard import seen, shifted, yard


def marks_of(picture: np.ndarray) -> Marks:
    dry = np.ones(picture.shape, bool)
    dry[60:300, 70:570] = False
    return Marks.chosen(seen(picture, noise=0), dry, 2.0)


def test_windows_lie_where_it_is_dry_on_all_four_sides() -> None:
    centres = marks_of(yard()).centres_px
    assert 12 <= len(centres) <= 24
    assert not ((np.abs(centres[:, 0] - 320) < 242) & (np.abs(centres[:, 1] - 180) < 112)).any()
    for near in (centres[:, 0] < 70, centres[:, 0] > 570, centres[:, 1] < 60, centres[:, 1] > 300):
        assert near.sum() >= 2
    assert (np.diff(centres[:, 1]) >= 0).all()


def test_one_step_reads_most_of_a_small_shift_and_the_next_all_of_it() -> None:
    marks, shift = marks_of(yard()), np.array([0.3, -0.2])
    picture = seen(shifted(yard(), *shift))
    first = marks.read(picture)
    assert first.is_clear.all()
    off = np.abs(first.off_px - first.direction @ shift)
    assert np.median(off) < 0.03
    assert off.max() < 0.2
    near = np.array([0.26, -0.17])
    second = marks.read(picture, np.tile(near, (len(marks.centres_px), 1)))
    off = second.off_px - second.direction @ (shift - near)
    assert np.sqrt((off**2).mean()) < 0.02
    assert (np.abs(off) < 3 * second.u_px).all()


def test_from_where_it_is_expected_a_large_shift_is_read_as_well() -> None:
    marks, shift = marks_of(yard()), np.array([4.4, -3.3])
    readings = marks.read(seen(shifted(yard(), *shift)), np.tile(shift, (len(marks.centres_px), 1)))
    off = np.abs(readings.off_px[readings.is_clear])
    assert np.median(off) < 0.02
    assert off.max() < 0.2
    assert readings.is_clear.mean() > 0.9


def test_brighter_light_a_slope_of_light_and_less_contrast_move_nothing() -> None:
    picture = yard()
    slope = np.linspace(0.85, 1.1, 640, dtype=np.float32)[None]
    readings = marks_of(picture).read(seen(picture * slope * 0.9 + 12))
    assert readings.is_clear.all()
    assert np.abs(np.mean(readings.off_px)) < 0.02
    assert np.abs(readings.off_px).max() < 0.12


def test_windows_as_they_usually_look_are_read_better_than_as_one_noisy_picture_shows_them() -> None:
    dry = np.ones(yard().shape, bool)
    dry[60:300, 70:570] = False
    pictures = [seen(yard(), noise=6, seed=n) for n in range(9)]
    once = Marks.chosen(pictures[0], dry, 6.0)
    usual = once.averaged(pictures)
    new = seen(yard(), noise=6, seed=99)
    assert np.std(usual.read(new).off_px) < 0.8 * np.std(once.read(new).off_px)
    kept = np.arange(len(usual.centres_px)) % 2 == 0
    assert np.array_equal(usual.only(kept).centres_px, usual.centres_px[kept])


def test_a_covered_window_says_so() -> None:
    picture, marks = yard(), marks_of(yard())
    u, v = marks.centres_px[0]
    covered = picture.copy()
    covered[max(v - 20, 0) : v + 20, max(u - 20, 0) : u + 20] = np.random.default_rng(0).uniform(0, 255, (1, 1))
    readings = marks.read(seen(covered))
    here = (np.abs(readings.at_px - (u, v)) < 1).all(axis=1)
    assert not readings.is_clear[here].any()
    assert readings.is_clear.sum() > 0.6 * len(readings.is_clear)


def test_only_windows_in_the_rows_at_hand_are_read() -> None:
    readings = marks_of(yard()).read(seen(yard())[:176])
    assert len(readings.off_px) > 4
    assert readings.at_px[:, 1].max() < 176 - 8


def test_the_search_finds_a_shift_of_many_pixels_roughly() -> None:
    shift = np.array([-9.0, 7.0])
    readings = marks_of(yard()).search(seen(shifted(yard(), *shift)))
    off = np.abs(readings.off_px - readings.direction @ shift)[readings.is_clear]
    assert len(off) > 10
    assert np.median(off) < 0.6
    assert (off < 1.5).mean() > 0.8


def test_colour_is_read_as_its_brightness() -> None:
    marks, picture = marks_of(yard()), seen(shifted(yard(), 0.3, 0.1))
    grey, colour = marks.read(picture), marks.read(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))
    np.testing.assert_allclose(colour.off_px, grey.off_px, atol=1e-3)
