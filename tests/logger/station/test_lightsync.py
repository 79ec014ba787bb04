from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Self

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import CalibrationError
from calibration.light import measure_delay
from calibration.light_patch import Region
from logger.drivers.interface import Stop
from logger.drivers.simulated_light import (
    BlinkingCameraOptions,
    SimulatedBlinkingCamera,
    SimulatedLight,
    SimulatedLightOptions,
)
from logger.errors import DriverError, InputError
from logger.records import Fault, Quiet
from logger.station.lightsync import Watched, random_gaps_s, watch
from tests.logger.drivers.blinking_world import TubClock


def watched(options: BlinkingCameraOptions, *, length_s: float = 14, region: Region | None = None) -> Watched:
    clock = TubClock()
    camera = SimulatedBlinkingCamera(options, name="camera", clock=clock.now_ns, wait=clock.idle)
    light = SimulatedLight(SimulatedLightOptions(options.tub), name="light", clock=clock.now_ns)
    rng = np.random.default_rng(11)
    with camera, light:
        return watch(camera, light, length_s=length_s, region=region, rng=rng, wait=clock.pass_s)


@pytest.fixture(scope="module")
def found() -> Watched:
    return watched(BlinkingCameraOptions(tub="session", delay_s=0.31, frame_rate_hz=25, dropped_share=0.05))


def test_light_and_camera_together_give_the_true_delay(found: Watched) -> None:
    sync = measure_delay(found.switches, found.glimpses)
    assert sync.delay.value == pytest.approx(0.31, abs=max(sync.delay.U, 5e-5))
    assert sync.delay.U < 5e-4
    assert sync.exposure.value == pytest.approx(0.008, abs=4e-4)


def test_the_light_is_found_by_itself(found: Watched) -> None:
    assert (found.region.u_px, found.region.v_px) == (pytest.approx(210, abs=8), pytest.approx(90, abs=8))
    assert found.glimpses.row_px == pytest.approx(90, abs=0.5)
    assert found.faults == ()


def test_what_the_pictures_do_not_say_the_rig_does() -> None:
    """So the delay belongs to the same exposure and rows as a recording's (frames.csv leaves open what nobody said)."""
    clock = TubClock()
    options = BlinkingCameraOptions(tub="untold", delay_s=0.05, frame_rate_hz=25, says_exposure=False, line_s=0.0)
    camera = SimulatedBlinkingCamera(options, name="camera", clock=clock.now_ns, wait=clock.idle)
    light = SimulatedLight(SimulatedLightOptions(options.tub), name="light", clock=clock.now_ns)
    rng = np.random.default_rng(3)
    with camera, light:
        seen = watch(
            camera, light, length_s=10, exposure_ns=8_000_000, line_ns=9_000, rng=rng, wait=clock.pass_s
        ).glimpses
    assert set(seen.exposure_ns.tolist()) == {8_000_000}
    assert set(seen.line_ns.tolist()) == {9_000}


def test_only_the_pictures_after_that_are_kept_and_the_switches_that_they_can_show(found: Watched) -> None:
    t = found.glimpses.t_ns
    assert (t[-1] - t[0]) / 1e9 == pytest.approx(14 + 1.5, abs=2)
    assert found.switches.before_ns[0] > t[0] - 3e9
    assert found.switches.before_ns[-1] < t[-1] - 1e9
    assert not found.switches.on[-1]  # the light is left dark


def test_a_place_that_is_given_is_not_looked_for() -> None:
    region = Region(214, 92, 18)
    seen = watched(BlinkingCameraOptions(tub="given", frame_rate_hz=20), length_s=11, region=region)
    assert seen.region == region
    assert seen.glimpses.row_px == pytest.approx(90, abs=0.5)
    assert measure_delay(seen.switches, seen.glimpses).delay.value == pytest.approx(0.045, abs=5e-4)


@given(st.integers(0, 2**32), st.floats(10, 60))
@settings(max_examples=50)
def test_no_second_has_more_than_three_flashes(seed: int, length_s: float) -> None:
    """WCAG 2.2, success criterion 2.3.1 "three flashes or below threshold": a flash is a pair of opposing changes."""
    gaps = random_gaps_s(np.random.default_rng(seed), length_s)
    moments = np.cumsum(gaps)
    in_a_second = [int(np.count_nonzero((moments >= m) & (moments < m + 1))) for m in moments]
    assert max(in_a_second) <= 6
    assert min(gaps) > 1 / 6
    assert sum(gaps) == pytest.approx(length_s, rel=0.3)
    assert len(gaps) % 2 == 0


def test_half_a_minute_brings_at_least_forty_switches() -> None:
    assert len(random_gaps_s(np.random.default_rng(1), 25)) >= 40


def test_the_waits_fill_the_time_between_two_pictures_evenly() -> None:
    """Kolmogorov and Smirnov's test, SciPy's: phases of the switches within a period of 30, 50 or 60 Hz are uniform."""
    from scipy.stats import kstest

    moments = np.cumsum(random_gaps_s(np.random.default_rng(2), 60))
    for rate_hz in (30, 50, 60):
        assert kstest((moments * rate_hz) % 1, "uniform").pvalue > 0.01


# --- what goes wrong ---


def test_a_light_that_is_not_in_the_picture_is_told() -> None:
    with pytest.raises(CalibrationError, match="no place in the picture follows the switches"):
        watched(BlinkingCameraOptions(tub="dark", glow_levels=0.0, frame_rate_hz=10))


def test_a_region_outside_the_picture_is_wrong_input() -> None:
    with pytest.raises(InputError, match="region 900,90,10: lies outside the picture"):
        watched(BlinkingCameraOptions(tub="outside"), region=Region(900, 90, 10))


def test_a_camera_that_is_pulled_out_ends_it() -> None:
    with pytest.raises(DriverError, match="camera: it was pulled out; plug it in again"):
        watched(BlinkingCameraOptions(tub="pulled", unplugged_after_s=3, frame_rate_hz=10))


def test_too_short_a_session_is_refused() -> None:
    with pytest.raises(InputError, match="found 5 s; at least 10 s are wanted"):
        watched(BlinkingCameraOptions(tub="short"), length_s=5)


class Blind:
    """A camera that says nothing but that it lives, or falls over."""

    name = "blind"

    def __init__(self, fault: Exception | None = None, grumble: bool = False) -> None:
        self._fault, self._grumble = fault, grumble

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def records(self, stop: Stop) -> Iterator[Any]:
        yield Quiet(1, self.name)
        if self._grumble:
            yield Fault(2, self.name, "it is dark", "take the cap off", lasting=True)
        if self._fault is not None:
            raise self._fault


class Lamp:
    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def switch(self, on: bool) -> tuple[int, int]:
        return 0, 1


def test_a_camera_that_falls_over_is_not_waited_for() -> None:
    with pytest.raises(ZeroDivisionError, match="by zero"):
        watch(
            Blind(ZeroDivisionError("by zero")), Lamp(), length_s=10, rng=np.random.default_rng(1), wait=lambda _: None
        )


def test_a_camera_that_says_it_is_broken_ends_it_in_its_own_words() -> None:
    with pytest.raises(DriverError, match="blind: it is dark; take the cap off"):
        watch(Blind(grumble=True), Lamp(), length_s=10, rng=np.random.default_rng(1), wait=lambda _: None)
