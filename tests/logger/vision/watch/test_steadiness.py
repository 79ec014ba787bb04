from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.vision.watch.steadiness import Watch, watch
from tests.logger.vision.yard import seen, shifted, yard

WATER = np.array([[80.0, 70.0], [560.0, 70.0], [560.0, 290.0], [80.0, 290.0]])
MIDDLE = np.array([320.0, 180.0])


def watched() -> Watch:
    found = watch({n: seen(yard(), seed=n) for n in range(12)}, WATER)
    assert found is not None
    return found


def test_a_camera_that_stands_still_is_called_still_and_pictures_stay_what_they_are() -> None:
    eye = watched()
    for n in range(100, 140):
        picture = seen(yard() * (1 + 0.05 * np.sin(n)), seed=n)
        assert eye.look(n, picture).is_still
        assert eye.put_back(n, picture) is picture


@pytest.mark.parametrize("shift", [(0.6, -0.4), (3.0, 2.0), (-6.5, 5.5), (8.0, -8.0)])
def test_a_move_is_found_to_a_twentieth_of_a_pixel(shift: tuple[float, float]) -> None:
    move = watched().look(0, seen(shifted(yard(), *shift), seed=50))
    assert move.is_known
    assert not move.is_still
    off = move.at(MIDDLE) - shift
    u = np.sqrt(np.diag(move.covariance_at(MIDDLE)))
    assert np.abs(off).max() < 0.05
    assert (np.abs(off) < 3 * u + 0.02).all()
    assert u.max() < 0.08


def test_a_swing_is_followed_and_its_end_is_rest_again() -> None:
    eye = watched()
    for n in range(60):
        swing = 6 * np.exp(-n / 8) * np.sin(1.3 * n)
        move = eye.look(n, seen(shifted(yard(), swing, -0.5 * swing), seed=n))
        assert move.is_known
        assert np.abs(move.at(MIDDLE) - (swing, -0.5 * swing)).max() < 0.15
    assert move.is_still


def test_a_turn_about_the_middle_moves_the_edges_and_not_the_middle() -> None:
    turn = cv2.getRotationMatrix2D((320.0, 180.0), -0.25, 1.0)  # degrees; minus: from columns toward rows
    turned = cv2.warpAffine(yard(), turn, (640, 360), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    move = watched().look(0, seen(np.asarray(turned)))
    assert np.abs(move.at(MIDDLE)).max() < 0.15
    places = np.array([[100.0, 180.0], [540.0, 180.0], [320.0, 80.0]])
    true = places @ turn[:, :2].T + turn[:, 2] - places
    assert np.abs(move.at(places) - true).max() < 0.2


def test_rows_that_are_exposed_one_after_the_other_while_it_swings_are_each_put_where_they_belong() -> None:
    # the lowest row is seen 20 ms after the first, in which a swing of 6 px at 40 rad/s moves by up to 4.8 px
    slanted = np.array([[1.0, 4.8 / 360, 0.5], [0.0, 1.0, 0.0]])
    swung = cv2.warpAffine(yard(), slanted, (640, 360), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    move = watched().look(0, seen(np.asarray(swung)))
    for row in (90.0, 180.0, 270.0):
        assert np.abs(move.at(np.array([320.0, row])) - (0.5 + 4.8 / 360 * row, 0.0)).max() < 0.15


def test_a_hand_over_a_quarter_of_the_marks_does_not_pull() -> None:
    picture = shifted(yard(), 2.0, -1.0)
    rng = np.random.default_rng(5)
    picture[:, :100] = rng.uniform(90, 160) + 20 * np.sin(np.arange(100) / 7.0)
    move = watched().look(0, seen(picture))
    assert move.is_known
    assert np.abs(move.at(MIDDLE) - (2.0, -1.0)).max() < 0.15


def test_marks_that_look_right_but_do_not_go_along_do_not_pull() -> None:
    picture, dragged = shifted(yard(), 2.0, -1.0), shifted(yard(), 2.8, -0.2)
    for part in ((slice(8, 60), slice(270, 330)), (slice(300, 345), slice(390, 450))):
        picture[part] = dragged[part]
    move = watched().look(0, seen(picture))
    assert move.is_known
    assert np.abs(move.at(MIDDLE) - (2.0, -1.0)).max() < 0.06


def test_a_few_marks_left_are_not_enough() -> None:
    picture = shifted(yard(), 1.5, 1.0)
    picture[:, 110:] = 90 + 20 * np.sin(np.arange(530) / 7.0)
    assert not watched().look(0, seen(picture)).is_known


def test_where_most_marks_are_covered_nothing_is_known() -> None:
    rng = np.random.default_rng(6)
    move = watched().look(0, rng.integers(0, 255, (360, 640)).astype(np.uint8))
    assert not move.is_known
    assert not move.is_still
    assert np.sqrt(move.covariance_at(MIDDLE)[0, 0]) > 1


def test_a_move_farther_than_is_looked_for_is_not_taken_for_a_small_one() -> None:
    move = watched().look(0, seen(shifted(yard(), 25.0, 18.0)))
    assert not move.is_known


def test_how_the_camera_stood_first_is_how_it_should_stand() -> None:
    # knocked after a third: most of the film shows the camera where it should not be
    pictures = {n: seen(yard() if n < 4 else shifted(yard(), 2.5, -1.5), seed=n) for n in range(12)}
    eye = watch(pictures, WATER)
    assert eye is not None
    assert eye.look(0, pictures[0]).is_still
    assert np.abs(eye.look(11, pictures[11]).at(MIDDLE) - (2.5, -1.5)).max() < 0.06


def test_marks_on_a_hand_that_was_there_at_first_are_given_up() -> None:
    held = yard()
    held[20:150, 150:210] = 15
    pictures = {n: seen(held if n < 4 else yard(), seed=n) for n in range(12)}
    eye = watch(pictures, WATER)
    assert eye is not None
    for n in range(20, 30):
        assert eye.look(n, seen(yard(), seed=n)).is_still
    move = eye.look(30, seen(shifted(yard(), 2.0, 1.0)))
    assert np.abs(move.at(MIDDLE) - (2.0, 1.0)).max() < 0.06


def test_a_picture_is_put_back_about_the_water() -> None:
    eye, picture = watched(), shifted(yard(), 3.25, -2.5)
    eye.look(7, seen(picture, noise=0))
    back = eye.put_back(7, seen(picture, noise=0))
    apart = np.abs(back.astype(float) - yard())[45:315, 45:595]
    away = np.abs(seen(picture, noise=0).astype(float) - yard())[45:315, 45:595]
    assert apart.mean() < 0.1 * away.mean()


def test_a_picture_of_water_only_has_no_marks() -> None:
    pictures = {n: seen(np.full((360, 640), 120.0, np.float32), seed=n) for n in range(6)}
    assert watch(pictures, WATER) is None


def test_upper_rows_are_looked_at_and_more_rows_again() -> None:
    eye, picture = watched(), seen(shifted(yard(), 1.5, 1.0))
    assert not eye.look(3, picture[:176]).is_still
    whole = eye.look(3, picture)
    assert np.abs(whole.at(MIDDLE) - (1.5, 1.0)).max() < 0.06
    assert eye.move(3) is whole


@pytest.mark.parametrize("shift", [(0.25, 0.0), (0.0, 0.25), (-0.18, 0.18)])
def test_a_small_lasting_move_is_not_taken_for_rest(shift: tuple[float, float]) -> None:
    eye = watched()
    for n in range(20):
        eye.look(n, seen(yard(), seed=n))
    for n in range(20, 30):
        move = eye.look(n, seen(shifted(yard(), *shift), seed=n))
        assert not move.is_still
        assert np.abs(move.at(MIDDLE) - shift).max() < 0.08


def test_behind_a_hand_over_half_of_the_marks_a_camera_that_stands_is_seen_to_stand() -> None:
    eye, wanted = watched(), 0
    for n in range(30):
        picture = yard() * (0.9 + 0.1 * np.sin(n))
        picture[:, 40 + 4 * n : 300 + 4 * n] = 90 + 40 * np.sin(np.arange(260) / 7.0)
        wanted += eye.needs_more(n, seen(picture, seed=n)[:176])
        assert eye.look(n, seen(picture, seed=n)).is_still
    assert wanted < 4


def test_no_more_rows_are_wanted_while_it_stands_even_where_it_was_put_aside() -> None:
    eye = watched()
    assert not any(eye.needs_more(n, seen(yard(), noise=5, seed=n)[:176]) for n in range(30))
    knocked = [seen(shifted(yard(), 2.3, -1.4), seed=n) for n in range(30, 60)]
    assert eye.needs_more(30, knocked[0][:176])
    whole = eye.look(30, knocked[0])
    assert not eye.needs_more(30, knocked[0][:176])
    wanted = 0
    for n, picture in enumerate(knocked[1:], 31):
        wanted += eye.needs_more(n, picture[:176])
        eye.look(n, picture)
        assert np.abs(eye.move(n).at(MIDDLE) - (2.3, -1.4)).max() < 0.06
    assert wanted < 5
    assert sum(eye.move(n) is whole for n in range(31, 60)) > 20
    assert eye.needs_more(60, seen(yard())[:176])


def test_a_few_rows_without_enough_marks_want_more() -> None:
    eye = watched()
    assert eye.needs_more(0, seen(yard())[:20])
    assert not eye.needs_more(1, seen(yard()))


def test_rows_above_which_no_marks_tell_of_the_columns_are_not_enough() -> None:
    """A yard whose upper rim shows only that it moves up or down."""
    bare = np.full((360, 640), 60.0, np.float32)
    bare[30:330, :] = 200
    bare[50:310, :] = 120
    for u in (60, 150, 250, 380, 470, 560):
        bare[316:328, u - 6 : u + 6] = 30
    bare = np.asarray(cv2.GaussianBlur(bare, (0, 0), 0.8), np.float32)
    eye = watch({n: seen(bare, seed=n) for n in range(12)}, WATER)
    assert eye is not None
    assert 316 < eye.rows_px < 360
    assert watched().rows_px < 200
    for n in range(100, 110):
        assert eye.needs_more(n, seen(bare, seed=n)[:176])
        assert not eye.needs_more(n, seen(bare, seed=n)[: eye.rows_px])
        assert eye.move(n).is_still
