from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.patches import Patches, look, sharp, take

SIZE = 200


def square(across_px: float, down_px: float, *, softness_px: float = 0.7, gain: float = 1.0) -> np.ndarray:
    """A bright square, turned a little, with edges whose light is known exactly everywhere (normal distribution)."""
    v, u = np.indices((SIZE, SIZE)).astype(float)
    c, s = np.cos(0.03), np.sin(0.03)
    x = (u - across_px - 100) * c + (v - down_px - 100) * s
    y = -(u - across_px - 100) * s + (v - down_px - 100) * c
    sides = [ndtr((30 + way) / softness_px) for way in (x, -x, y, -y)]
    return (gain * (40 + 150 * np.prod(sides, 0))).round().astype(np.uint8)


def looked(patches: Patches, picture: np.ndarray, at_px: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """By how much readings along columns, and along rows, are off where the pieces were expected."""
    count = len(patches.centres_px)
    seen = look(patches, sharp(picture), patches.centres_px + at_px, np.tile(np.eye(2), (count, 1, 1)))
    along = [np.abs(seen.direction[:, axis]) > 0.95 for axis in (0, 1)]
    signs = [np.sign(seen.direction[chosen, axis]) for axis, chosen in enumerate(along)]
    return seen.off_px[along[0]] * signs[0], seen.off_px[along[1]] * signs[1]


def test_a_move_between_the_pixels_is_read_to_a_hundredth() -> None:
    """Truth: the edges are drawn from the formula at both places; nothing is resampled."""
    patches = take(sharp(square(0, 0)))
    for share in np.linspace(0, 1, 6):
        across, down = looked(patches, square(share, 0.6 * share), (share, 0.6 * share))
        assert len(across) >= 2
        assert len(down) >= 2
        assert np.abs([*across, *down]).max() < 0.01


def test_what_is_off_is_read_in_its_own_direction() -> None:
    patches = take(sharp(square(0, 0)))
    across, down = looked(patches, square(0.3, -0.2), (0.0, 0.0))
    # one look is a first step only, good to some 15 %
    assert across == pytest.approx(0.3, abs=0.05)
    assert down == pytest.approx(-0.2, abs=0.05)


def test_half_the_light_moves_nothing() -> None:
    patches = take(sharp(square(0, 0)))
    dark = square(0.25, 0.5, gain=0.5)
    assert np.abs(np.concatenate(looked(patches, dark, (0.25, 0.5)))).max() < 0.02


def test_an_edge_says_nothing_of_the_way_along_it() -> None:
    _, u = np.indices((SIZE, SIZE)).astype(float)
    edge = (40 + 150 * ndtr((u - 100) / 0.7)).round().astype(np.uint8)
    patches = take(sharp(edge))
    assert len(patches.centres_px) >= 3
    seen = look(patches, sharp(edge), patches.centres_px, np.tile(np.eye(2), (len(patches.centres_px), 1, 1)))
    assert np.abs(seen.direction[:, 0]).min() > 0.99
    assert seen.likeness.min() > 0.99


def test_an_even_picture_has_no_pieces() -> None:
    noise = np.random.default_rng(5).normal(128, 1.0, (SIZE, SIZE)).round().astype(np.uint8)
    assert len(take(sharp(noise)).centres_px) == 0
    assert len(take(sharp(np.full((SIZE, SIZE), 128, np.uint8))).centres_px) == 0


@pytest.mark.parametrize("noise_levels", [4.0, 8.0])
def test_the_noise_is_found_and_says_how_well_a_reading_is_known(noise_levels: float) -> None:
    """White noise of a known size, softened by a blur of 0.8 px: its standard deviation falls by 1/(2·√π·0.8)."""
    rng, plain = np.random.default_rng(11), square(0, 0).astype(float)
    noisy = [np.clip(plain + rng.normal(0, noise_levels, plain.shape), 0, 255).astype(np.uint8) for _ in range(41)]
    patches = take(sharp(noisy[0]))
    # a blur that is not much wider than a pixel is not quite the integral
    assert patches.noise_levels == pytest.approx(noise_levels / (2 * np.sqrt(np.pi) * 0.8), rel=0.15)
    stretch = np.tile(np.eye(2), (len(patches.centres_px), 1, 1))
    readings = [look(patches, sharp(other), patches.centres_px, stretch) for other in noisy[1:]]
    first = readings[0]
    clear = first.u_px < 0.2
    scatter = np.std([r.off_px[clear] for r in readings], axis=0)
    # of the two pictures' noise only the second one's is new each time
    assert np.median(scatter / (first.u_px[clear] / np.sqrt(2))) == pytest.approx(1.0, rel=0.3)


def test_what_has_left_the_picture_is_not_read() -> None:
    patches = take(sharp(square(0, 0)))
    stretch = np.tile(np.eye(2), (len(patches.centres_px), 1, 1))
    gone = look(patches, sharp(square(0, 0)), patches.centres_px + np.array([500.0, 0.0]), stretch)
    assert len(gone.off_px) == 0
