from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.light import measure_delay
from calibration.light_patch import Region, Times, blocks, find_light, read_light
from calibration.light_pattern import Switches
from tests.calibration.light_session import Session, play

WHERE = (133, 70)
SIZE = (240, 160)


def film(
    *, glow: float = 1.0, colour: tuple[float, float, float] = (60, 90, 120), session: Session | None = None
) -> tuple[Switches, Times, NDArray[np.uint8]]:
    """Pictures of a light of that colour (BGR levels) over pale ground, through JPEG; a lamp elsewhere flickers."""
    played = session or Session(length_s=18, line_s=0, noise=0, drift=0)
    switches, seen = play(played)
    lit = np.clip((seen.brightness - 60) / 100, 0, 1)
    rng = np.random.default_rng(5)
    v, u = np.mgrid[: SIZE[1], : SIZE[0]]
    blob = glow * np.exp(-((u - WHERE[0]) ** 2 + (v - WHERE[1]) ** 2) / 18.0)
    lamp = np.exp(-((u - 30) ** 2 + (v - 30) ** 2) / 200.0)
    pictures = []
    for on in lit:
        light = 90 + on * blob[..., None] * colour + rng.uniform(0, 60) * lamp[..., None]
        noisy = np.clip(light + rng.normal(0, 1.5, (*light.shape[:2], 3)), 0, 255).astype(np.uint8)
        packed = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 85])[1]
        pictures.append(cv2.imdecode(packed, cv2.IMREAD_COLOR))
    return switches, Times(seen.t_ns, seen.exposure_ns, seen.line_ns), np.array(pictures, np.uint8)


@pytest.fixture(scope="module")
def plain() -> tuple[Switches, Times, NDArray[np.uint8]]:
    return film()


def test_the_light_is_found_among_other_things_that_change(plain: tuple[Switches, Times, NDArray[np.uint8]]) -> None:
    switches, times, pictures = plain
    found = find_light(switches, times, np.array([blocks(picture) for picture in pictures]))
    assert found.u_px == pytest.approx(WHERE[0], abs=6)
    assert found.v_px == pytest.approx(WHERE[1], abs=6)


def test_its_row_and_brightness_are_read_and_give_the_delay(plain: tuple[Switches, Times, NDArray[np.uint8]]) -> None:
    switches, times, pictures = plain
    cut = [Region(*WHERE, 20).cut(picture) for picture in pictures]
    seen = read_light(switches, times, np.array([piece for piece, _ in cut]), top_px=cut[0][1])
    assert seen.row_px == pytest.approx(WHERE[1], abs=0.4)
    assert not seen.clipped.any()
    found = measure_delay(switches, seen)
    assert found.delay.value == pytest.approx(0.080, abs=3e-4)


def test_where_the_middle_is_cut_off_at_the_top_the_halo_is_read() -> None:
    switches, times, pictures = film(glow=3.0)
    assert (pictures[:, WHERE[1], WHERE[0]] >= 250).any()
    cut = [Region(*WHERE, 20).cut(picture) for picture in pictures]
    seen = read_light(switches, times, np.array([piece for piece, _ in cut]), top_px=cut[0][1])
    assert seen.clipped.mean() < 0.01
    found = measure_delay(switches, seen)
    assert found.delay.value == pytest.approx(0.080, abs=4e-4)
    assert abs(found.bend) < 0.15  # a light that is cut off looks like a bent response


def test_a_light_that_is_cut_off_everywhere_is_told_and_refused() -> None:
    session = Session(length_s=18, line_s=0, noise=0, drift=0)
    switches, seen = play(session)
    lit = (seen.brightness - 60) / 100
    crops = np.where(lit[:, None, None, None] > 0.02, 255, 90) * np.ones((1, 9, 9, 3))
    times = Times(seen.t_ns, seen.exposure_ns, seen.line_ns)
    read = read_light(switches, times, crops.astype(np.uint8), top_px=0)
    with pytest.raises(CalibrationError, match="too bright in 100 % of the pictures"):
        measure_delay(switches, read)


def test_rows_that_begin_too_far_apart_are_not_read_together() -> None:
    switches, times, pictures = film(session=Session(length_s=18, line_s=0, noise=0, drift=0, exposure_s=2e-3))
    lines = Times(times.t_ns, times.exposure_ns, np.full(len(times.t_ns), 250_000))
    cut = [Region(*WHERE, 20).cut(picture) for picture in pictures]
    crops = np.array([piece for piece, _ in cut])
    near = read_light(switches, lines, crops, top_px=cut[0][1])
    every = read_light(switches, times, crops, top_px=cut[0][1])
    assert near.row_px == pytest.approx(WHERE[1], abs=1.5)
    assert near.brightness.std() > 1.08 * every.brightness.std()  # only the brightest rows


def test_where_nothing_follows_the_switches_that_is_said(plain: tuple[Switches, Times, NDArray[np.uint8]]) -> None:
    switches, times, pictures = plain
    small = np.array([blocks(picture[100:]) for picture in pictures])
    with pytest.raises(CalibrationError, match="no place in the picture follows the switches"):
        find_light(switches, times, small)


def test_too_few_pictures_are_not_searched(plain: tuple[Switches, Times, NDArray[np.uint8]]) -> None:
    switches, times, pictures = plain
    few = Times(times.t_ns[:20], times.exposure_ns[:20], times.line_ns[:20])
    with pytest.raises(CalibrationError, match="found 20 pictures"):
        find_light(switches, few, np.array([blocks(picture) for picture in pictures[:20]]))


def test_a_region_is_cut_at_the_edges_and_refused_outside() -> None:
    image = np.zeros((160, 240, 3), np.uint8)
    piece, top = Region(3, 158, 10).cut(image)
    assert piece.shape == (12, 14, 3)
    assert top == 148
    with pytest.raises(ValueError, match=r"region 500,20,10: lies outside the picture \(240x160\)"):
        Region(500, 20, 10).cut(image)
