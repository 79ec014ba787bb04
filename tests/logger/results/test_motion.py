from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.results.motion import VX, VY, X, Y, smooth
from logger.vision.track import BRIDGED, DOUBTFUL


def wave(t: Any) -> Any:
    return 150 * t + 20 * np.sin(t)


def test_place_and_velocity_are_found_within_their_doubt(shop: Any) -> None:
    motion = smooth(shop.track(wave, until_s=12))
    t = motion.time_s
    for index, truth in ((X, wave(t)), (VX, 150 + 20 * np.cos(t))):
        z = (motion.state[:, index] - truth) / np.sqrt(motion.covariance[:, index, index])
        assert np.sqrt(np.mean(z**2)) < 1.3
        assert np.abs(z).max() < 4.5
    assert np.abs(motion.state[:, VX] - 150 - 20 * np.cos(t))[30:-30].max() < 2.0


def test_between_frames_the_motion_goes_on_smoothly(shop: Any) -> None:
    motion = smooth(shop.track(wave))
    own = motion.time_s
    assert np.allclose(motion.states_at(own), motion.state, atol=1e-6)
    assert np.allclose(motion.covariances_at(own), motion.covariance, rtol=1e-6, atol=1e-9)
    middle = (own[40] + own[41]) / 2
    assert motion.states_at(middle)[0, X] == pytest.approx(wave(middle), abs=0.5)
    before, after = motion.states_at([middle - 1e-4, middle + 1e-4])
    assert (after[X] - before[X]) / 2e-4 == pytest.approx(motion.states_at(middle)[0, VX], rel=1e-6)


def test_beyond_its_ends_a_motion_is_held(shop: Any) -> None:
    motion = smooth(shop.track(wave))
    assert np.allclose(motion.states_at([-5.0, 100.0]), motion.state[[0, -1]], atol=1e-6)


def test_a_gap_widens_the_doubt(shop: Any) -> None:
    track = shop.track(wave)
    quality = track.quality.copy()
    quality[100:130] = BRIDGED
    u_x = np.sqrt(smooth(replace(track, quality=quality)).covariance[:, X, X])
    assert u_x[115] > 3 * u_x[60]


def test_what_is_only_bridged_has_no_say_and_what_is_doubtful_little(shop: Any) -> None:
    track = shop.track(wave)
    wrong = track.x_mm.copy()
    wrong[115] += 40.0
    for quality, most in ((BRIDGED, 0.0), (DOUBTFUL, 0.3)):
        marks = track.quality.copy()
        marks[115] = quality
        off = smooth(replace(track, x_mm=wrong, quality=marks)).state[115, X] - wave(115 / 30)
        assert abs(off) < most + 0.5
    assert abs(smooth(replace(track, x_mm=wrong)).state[115, X] - wave(115 / 30)) > 1.0


def test_a_tracker_that_says_too_little_noise_is_found_out(shop: Any) -> None:
    honest = smooth(shop.track(wave, noise_mm=0.6))
    modest = smooth(shop.track(wave, noise_mm=0.6, said_mm=0.2))
    assert honest.noise == pytest.approx(1.0, abs=0.25)
    assert modest.noise / honest.noise == pytest.approx(9.0, rel=0.1)
    assert np.allclose(honest.covariance[100].diagonal(), modest.covariance[100].diagonal(), rtol=0.25)


def test_a_tracker_that_says_too_much_noise_is_not_talked_out_of_it(shop: Any) -> None:
    """What does not show as scatter may be shared by neighbours: the curve stays sharp, the doubt stays."""
    timid, honest = (smooth(shop.track(wave, noise_mm=0.2, said_mm=said)) for said in (0.6, 0.2))
    assert timid.noise < 0.2
    assert timid.state[100, X] == pytest.approx(honest.state[100, X], abs=0.02)
    for index in (X, VX):
        ratio = np.sqrt(timid.covariance[100, index, index] / honest.covariance[100, index, index])
        assert 1.9 < ratio < 3.5
    drawn = np.array([m.state[100, X] for m in timid.draws(200, seed=3)])
    assert drawn.std() == pytest.approx(np.sqrt(timid.covariance[100, X, X]), rel=0.15)


def test_a_systematic_shift_passes_straight_through(shop: Any) -> None:
    """Linear in the positions: the shifted track with the same weights is the motion plus the smoothed shift."""
    n = 240
    scale = np.column_stack([np.linspace(-1, 2, n), np.full(n, 0.5)])
    motion = smooth(shop.track(wave, shifts_mm={"camera height": scale}))
    moved = motion.shifted("camera height")
    assert np.allclose(moved.state[:, X] - motion.state[:, X], scale[:, 0], atol=0.01)
    assert np.allclose(moved.state[:, VX] - motion.state[:, VX], 3 / (n - 1) * 30, atol=0.02)
    at = motion.shifted_places_at(4.0)["camera height"]
    assert at == pytest.approx([-1 + 3 * 120 / (n - 1), 0.5], abs=0.01)


def test_draws_of_pushes_as_large_as_allowed_for_have_the_covariance_of_the_motion(shop: Any) -> None:
    motion = smooth(shop.track(wave))
    allowed = replace(motion.solved.roughness, found=np.tile(motion.solved.roughness.density[:, None], 2))
    loose = replace(motion, solved=replace(motion.solved, roughness=allowed))
    drawn = np.array([m.state for m in loose.draws(400, seed=7)])
    assert np.array_equal(drawn[3], [m.state for m in loose.draws(400, seed=7)][3])
    for index in (X, VX, Y, VY):
        ratio = drawn[:, 60, index].std() / np.sqrt(motion.covariance[60, index, index])
        assert ratio == pytest.approx(1.0, abs=0.12)
    # neighbours move together, far moments do not
    assert np.corrcoef(drawn[:, 100, X], drawn[:, 101, X])[0, 1] > 0.6
    assert abs(np.corrcoef(drawn[:, 60, X], drawn[:, 180, X])[0, 1]) < 0.2


def test_a_draw_has_no_draws_of_its_own(shop: Any) -> None:
    motion = smooth(shop.track(wave))
    draw = next(iter(motion.draws(1, seed=1)))
    with pytest.raises(ValueError, match="draws of a draw"):
        next(iter(draw.draws(1, seed=1)))


@pytest.mark.parametrize("index", [X, VX])
def test_draws_scatter_as_the_same_run_does_when_it_is_measured_again(shop: Any, index: int) -> None:
    """Of a smooth run: 120 times with fresh noise, against what it says of itself; never much less than that."""
    found, told = [], []
    for seed in range(120):
        motion = smooth(shop.track(lambda t: 200 * t - 12 * t * t, until_s=5, seed=seed))
        found.append(motion.state[75, index])
        if seed % 12 == 0:
            told.append(np.std([m.state[75, index] for m in motion.draws(200, seed=seed)]))
    assert 0.85 < np.sqrt(np.mean(np.square(told))) / np.std(found) < 1.5


def test_too_few_fixes_are_refused(shop: Any) -> None:
    with pytest.raises(ValueError, match="5 measured fixes; at least 6"):
        smooth(shop.track(wave, until_s=5 / 30 - 1e-9))


@settings(max_examples=10)
@given(st.floats(-3, 3))
def test_turning_the_tank_turns_the_motion_and_nothing_else(shop: Any, angle: float) -> None:
    track = shop.track(wave, aside=lambda t: 30 * np.cos(t / 2))
    c, s = np.cos(angle), np.sin(angle)
    turned = replace(
        track,
        x_mm=c * track.x_mm - s * track.y_mm,
        y_mm=s * track.x_mm + c * track.y_mm,
        heading_rad=track.heading_rad + angle,
    )
    here, there = smooth(track), smooth(turned)
    assert np.allclose(there.speed_mm_per_s, here.speed_mm_per_s, atol=1e-4)
    assert np.allclose(there.place_mm @ [[c, -s], [s, c]], here.place_mm, atol=1e-4)
    assert np.allclose(there.heading_rad - angle, here.heading_rad, atol=1e-9)


def test_shifting_time_changes_nothing(shop: Any) -> None:
    track = shop.track(wave)
    later = replace(track, t_ns=track.t_ns + 987_654_321_012)
    assert np.array_equal(smooth(later).state, smooth(track).state)
