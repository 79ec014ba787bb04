"""Sudden changes of speed in made-up courses: found when they were and as large as they were; nothing else is one."""

from __future__ import annotations

import numpy as np
import pytest

from logger.vision.touch.pushes import pushes

T_S = np.arange(0.0, 4.0, 1 / 30)


def course(x_mm: np.ndarray, *, noise_mm: float = 0.2, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.column_stack([x_mm, 0.1 * x_mm]) + rng.normal(0, noise_mm, (len(x_mm), 2))


def pushed(t_s: np.ndarray, *, at_s: float, lasts_s: float, by: float, speed: float = 250.0) -> np.ndarray:
    """A boat that slows down by drag and gets a push of even force."""
    steps = np.linspace(0.0, t_s[-1], 20_000)
    rate = by / lasts_s * ((steps >= at_s) & (steps < at_s + lasts_s))
    velocity = speed - 30.0 * steps + np.cumsum(rate) * steps[1]
    return np.interp(t_s, steps, np.cumsum(velocity) * steps[1])


@pytest.mark.parametrize(("by", "lasts_s"), [(60.0, 0.15), (-90.0, 0.3), (60.0, 0.4)])
def test_a_push_is_found_when_it_was_and_as_large_as_it_was(by: float, lasts_s: float) -> None:
    (found,) = clearest(course(pushed(T_S, at_s=1.7, lasts_s=lasts_s, by=by)))
    assert found.from_s == pytest.approx(1.7, abs=0.1)
    assert found.to_s == pytest.approx(1.7 + lasts_s, abs=0.12)
    # the course has a tenth of it sideways
    assert found.change_mm_per_s == pytest.approx([by, 0.1 * by], rel=0.2, abs=3)


def clearest(place_mm: np.ndarray, t_s: np.ndarray = T_S) -> list:
    found = pushes(t_s, place_mm)
    return sorted(found, key=lambda push: -push.clearness)[:1]


@pytest.mark.parametrize("seed", range(6))
def test_noise_and_drag_are_no_push(seed: int) -> None:
    assert pushes(T_S, course(250 * T_S - 20 * T_S**2, seed=seed, noise_mm=0.4)) == []


def test_the_power_that_is_cut_is_no_push() -> None:
    after = np.clip(T_S - 2.0, 0, None)
    assert pushes(T_S, course(300 * T_S - 60 * after**2)) == []


def test_a_place_that_was_misread_for_a_while_is_no_push() -> None:
    """A straw that hides the stern draws the fit aside and lets it come back; or it stays aside."""
    aside = 3.0 * ((T_S > 1.5) & (T_S < 1.8))
    jumped = 3.0 * (T_S > 2.0)
    assert pushes(T_S, course(250 * T_S + aside)) == []
    assert pushes(T_S, course(250 * T_S + jumped)) == []


def test_a_push_soon_after_the_power_is_cut_is_found() -> None:
    after = np.clip(T_S - 1.5, 0, None)
    place = course(pushed(T_S, at_s=1.85, lasts_s=0.2, by=-60.0) - 60 * after**2)
    (found,) = clearest(place)
    assert found.change_mm_per_s[0] < -40
    # cut and push are 0.35 s apart: when the one ended and the other began is told less well
    assert (found.from_s, found.to_s) == pytest.approx((1.85, 2.05), abs=0.25)


def test_lost_pictures_hide_no_push_and_make_none() -> None:
    kept = np.random.default_rng(3).random(len(T_S)) > 0.2
    kept[60:66] = False
    t_s = T_S[kept]
    (found,) = clearest(course(pushed(t_s, at_s=2.6, lasts_s=0.2, by=70.0)), t_s)
    assert found.from_s == pytest.approx(2.6, abs=0.1)
    assert pushes(t_s, course(250 * t_s)) == []


def test_a_boat_unseen_before_or_after_tells_nothing() -> None:
    place = pushed(T_S, at_s=0.05, lasts_s=0.1, by=100.0)
    assert all(push.from_s > 0.1 for push in pushes(T_S, course(place)))
    assert pushes(T_S[:4], course(T_S[:4])) == []
